"""Parts as people write them: what is read, what is asked, what a plan gets."""

import pytest
import trimesh

from daemon.api.errors import InputError
from daemon.api.parts.form import read_part_form
from daemon.api.parts.report import area_report, plan_lines
from daemon.api.parts.texts import part_text, read_shape
from daemon.api.parts.worked_out import KeptArea, Sources, file_at, worked_out
from daemon.api.unanswered import UnansweredError
from daemon.bath.parts import apart, mesh, visibility
from daemon.chemistry.uncertainty import Budget, Share
from daemon.units import parse

KEPT = {"lamp foot": KeptArea(3, 1.8, 0.09, 20.0)}


@pytest.fixture
def work(tmp_path, monkeypatch):
    """Works a form out; meshes are measured here, with a coarse look at what is hidden."""
    monkeypatch.setattr(visibility, "SIZE", 48)
    monkeypatch.setattr(visibility, "FINEST", 6)

    def file(text):
        path = tmp_path / text
        return file_at(path) if path.is_file() or path.suffix == ".stl" else None

    sources = Sources(file, KEPT.get, lambda: tuple(KEPT), mesh.measured)

    def work_out(*parts, **said):
        tree = {name.replace("_", "-"): value for name, value in said.items()}
        return worked_out(read_part_form({"parts": parts, **tree}), sources)

    return work_out


@pytest.fixture
def box(tmp_path):
    """A box of 60 x 40 x 20 mm in a file: 0.88 dm²."""
    (tmp_path / "box.stl").write_bytes(trimesh.creation.box([60, 40, 20]).export(file_type="stl"))


def rows(report):
    return {row.name: row.text for row in report.rows}


@pytest.mark.parametrize(
    ("text", "dm2"),
    [
        ("box 60 x 40 x 20 mm", 0.88),
        ("box 60x40x20 mm", 0.88),
        ("box 60 × 40 × 20 mm", 0.88),
        ("Box 60, 40, 20 mm", 0.88),
        ("box 6 cm x 40 x 20 mm", 0.88),
        ("box 6 x 4 cm x 20 mm", 0.88),
        ("box 2 x 1.5 x 1 in", 0.0645160 * (2 * (3 + 1.5 + 2))),
    ],
)
def test_a_shape_in_a_text(text, dm2):
    assert read_shape(text, 0.2).whole.value == pytest.approx(dm2, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("box 60 x 40 x 20", "length x width x height.*a number without a unit"),
        ("box 60 x 40 mm", "expected length x width x height, got 2"),
        ("box", "expected length x width x height, got 0"),
        ("box 60 x 40 x 20 kg", "expected a length"),
        ("box 60 x 40 x 2,5 mm", "got 4 dimensions"),
        ("sphere wide", "expected a length"),
        ("shell 40 g x 1.2 mm", "shell 40 g x 1.2 mm x 1.24 g/cm³"),
        ("shell 40 g x 1.2 g x 1.24 g/cm³", "mass x wall x density.*expected a length"),
    ],
)
def test_a_shape_that_cannot_be(text, said):
    with pytest.raises(InputError, match=said):
        read_shape(text, 0.2)


@pytest.mark.parametrize(
    ("text", "copies", "what"),
    [
        ("4 x rod 3 x 120 mm", 4, "rod 3 x 120 mm"),
        ("12× lamp foot", 12, "lamp foot"),
        ("  lamp foot ", 1, "lamp foot"),
        ("3 lamps", 1, "3 lamps"),
        ("2x4 beam", 1, "2x4 beam"),
    ],
)
def test_how_many_of_what(text, copies, what):
    found = part_text(text)
    assert (found.copies, found.what) == (copies, what)


@pytest.mark.parametrize("text", ["", "  ", "0 x rod 3 x 120 mm", "99999 x rod 3 x 120 mm"])
def test_how_many_cannot_be_any_number(text):
    with pytest.raises(InputError):
        part_text(text)


def test_a_mesh_a_shape_and_a_kept_part_on_one_rack(work, box):
    done = work("2 x box.stl", "box 60 x 40 x 20 mm", "3 x lamp foot", layers="0 %")
    assert done.area.value == pytest.approx(2 * 0.88 + 0.88 + 3 * 1.8)
    assert [item.copies for item in done.items] == [2, 1, 3]
    report = area_report(done)
    assert "6 parts together" in rows(report)["area"]


def test_masked_copies_and_current(work, box):
    done = work("box.stl", copies="4", masked="10 %", current_density="2 A/dm²")
    assert done.area.value == pytest.approx(0.9 * 4 * 0.88)
    # 3.168 dm² at 2 A/dm².
    assert rows(area_report(done))["current"] == "6.336 A at 2 A/dm²"


def test_a_kept_part_is_taken_as_it_was_kept(work):
    done = work("lamp foot", masked="50 %", layers="50 %")
    assert done.area.value == 1.8
    assert done.area.expanded(0.95) == pytest.approx(0.09)


def test_what_hangs_above_the_liquid_is_told(work, box):
    report = area_report(work("box.stl", liquid="15 mm", up="z"))
    # 2400 + 200·15 mm², and 200·5 + 2400 above.
    assert rows(report)["in liquid"] == "0.54 dm², and 0.34 dm² above it"
    assert "level ± 2 mm" in rows(report)["taken"]


def test_what_a_shape_does_not_do_is_told(work):
    report = area_report(work("box 60 x 40 x 20 mm", liquid="15 mm"))
    assert "not worked out" in report.warnings[0]


def test_nothing_in_the_liquid_is_refused(work, box):
    with pytest.raises(InputError, match="must be above 0 mm"):
        work("box.stl", liquid="0 mm")


def test_inner_walls_are_asked_about_and_both_areas_told(work):
    done = work("tube 20 x 16 x 50 mm")
    with pytest.raises(UnansweredError) as caught:
        area_report(done)
    assert caught.value.question.about == "inner"
    assert caught.value.question.choices == ("include", "leave-out")
    assert caught.value.report is not None
    # π·(2 + 1.6)·5 + π/2·1.44 = 58.81 cm², and 25.13 of them in the bore.
    assert "with it 0.588 ±" in rows(caught.value.report)["inner"]
    assert "without 0.337 ±" in rows(caught.value.report)["inner"]
    assert "area" not in rows(caught.value.report)


@pytest.mark.parametrize(("choice", "cm2"), [("include", 58.811), ("leave-out", 33.679)])
def test_inner_walls_as_chosen(work, choice, cm2):
    done = work("tube 20 x 16 x 50 mm", inner=choice)
    assert 100 * done.area.value == pytest.approx(cm2, rel=1e-4)


def test_a_unit_that_cannot_be_known_is_asked_about(work, tmp_path):
    small = trimesh.creation.box([4, 2, 1]).export(file_type="stl")
    (tmp_path / "small.stl").write_bytes(small)
    with pytest.raises(UnansweredError, match=r"in \(102 mm\).*--unit") as caught:
        work("small.stl")
    assert caught.value.question.about == "unit"
    assert work("small.stl", unit="inch").area.value == pytest.approx(28 * 0.0645160)


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ("no.stl", "no.stl: there is no such file"),
        ("lamp feet", "is no mesh file that is there, no shape and no kept part; kept: lamp foot"),
        ("tube 16 x 20 x 50 mm", "inner diameter"),
    ],
)
def test_what_is_no_part(work, part, said):
    with pytest.raises(InputError, match=said):
        work(part)


def test_a_damaged_file_is_told_with_its_name(work, tmp_path):
    (tmp_path / "bad.stl").write_bytes(b"hello")
    with pytest.raises(InputError, match=r"bad\.stl: not an STL file"):
        work("bad.stl")


@pytest.mark.parametrize(
    ("said", "key"),
    [
        ({"copies": "0"}, "copies"),
        ({"copies": "1.5"}, "copies"),
        ({"unit": "yd"}, "unit"),
        ({"scale": "0"}, "scale"),
        ({"scale": "2000"}, "scale"),
        ({"up": "w"}, "up"),
        ({"inner": "perhaps"}, "inner"),
        ({"masked": "120 %"}, "masked"),
        ({"masked": "100 %"}, "masked"),
        ({"layers": "-1 %"}, "layers"),
        ({"liquid": "60"}, "liquid"),
        ({"current_density": "2 A"}, "current-density"),
    ],
)
def test_what_cannot_be_said_of_a_part(work, said, key):
    with pytest.raises(InputError, match=key):
        work("box 60 x 40 x 20 mm", **said)


@pytest.mark.parametrize("share", [0.0, 0.0004, 0.0123, 0.0299, 0.1, 0.9])
def test_a_plan_s_lines_are_never_surer_than_the_area(share):
    area = Budget(1.8333, (Share("any", 1.8333 * share / 1.959964),) if share else ())
    line, doubt = (each.split('"')[1] for each in plan_lines(area))
    assert parse(line, "dm²") == pytest.approx(1.8333, rel=1e-3)
    assert share <= parse(doubt, "") + 1e-9 <= max(0.0011, 1.1 * share) + 1e-9


def test_a_mesh_not_closed_is_warned_of(work, tmp_path):
    sheet = trimesh.Trimesh([[0, 0, 0], [50, 0, 0], [50, 50, 0]], [[0, 1, 2]])
    (tmp_path / "sheet.stl").write_bytes(sheet.export(file_type="stl"))
    report = area_report(work("sheet.stl"))
    assert any("not closed, 3 open edges" in text for text in report.warnings)
    assert "volume" not in rows(report)


def test_the_usual_way_to_measure_is_a_process_of_its_own():
    assert Sources(lambda _: None).measure is apart.measured
