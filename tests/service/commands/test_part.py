"""`tankhand part` and `classes` as they are given at a terminal."""

import pytest
import trimesh
from click.testing import CliRunner

from daemon.api.plans.file import read_plan
from daemon.bath.parts import apart
from daemon.record.writer import Writer
from daemon.service.commands.cli import main

AT_A_TERMINAL = "daemon.service.commands.questioning.at_a_terminal"


def call(*words, **settings):
    """Exit code, stdout and stderr."""
    result = CliRunner().invoke(main, [*map(str, words)], **settings)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_mesh_and_its_picture(folder):
    (folder / "box.stl").write_bytes(trimesh.creation.box([60, 40, 20]).export(file_type="stl"))
    code, out, err = call("part", "box.stl", "--picture", "box.png")
    assert (code, err) == (0, "")
    assert "box.stl: 12 triangles, 60 x 40 x 20 mm, closed" in out
    assert (folder / "box.png").read_bytes().startswith(b"\x89PNG")


def test_its_lines_go_into_a_plan(folder):
    code, out, _ = call("part", "2 x box 60 x 40 x 20 mm")
    assert code == 0
    plan = out[out.index("area = ") :].replace(" " * 11, "") + (
        'title = "t"\ntarget = "25 µm"\nvoltage_ceiling = "4 V"\n'
        'caps = { charge = "9 Ah", duration = "9 h" }\n[[stage]]\nname = "s"\ncurrent = "1 A"\n'
    )
    assert read_plan(plan, "plan").area_dm2 == pytest.approx(1.76)


def test_without_a_terminal_a_question_is_an_error(folder):
    code, out, err = call("part", "tube 20 x 16 x 50 mm")
    assert code == 2
    assert "with it 0.588" in out
    assert "plan " not in out
    assert "does copper grow on the bore" in err
    assert "--inner" in err


def test_at_a_terminal_it_is_asked(folder, mocker):
    mocker.patch(AT_A_TERMINAL, return_value=True)
    code, out, _ = call("part", "tube 20 x 16 x 50 mm", input="maybe\nleave-out\n")
    assert code == 0
    assert "does copper grow on the bore" in out
    assert 'area = "0.3368 dm²"' in out


def test_a_mesh_is_measured_once_however_much_is_asked(folder, mocker):
    (folder / "tube.stl").write_bytes(
        trimesh.creation.annulus(0.4, 0.5, 2.5, sections=12).export(file_type="stl")
    )
    mocker.patch(AT_A_TERMINAL, return_value=True)
    measured = mocker.spy(apart, "measured")
    code, out, _ = call("part", "tube.stl", input="cm\ninclude\n")
    assert code == 0
    assert "25" in out
    # Once to find that the unit has to be asked for, once with it.
    assert measured.call_count == 2


@pytest.mark.parametrize(
    "words",
    [
        ("part",),
        ("part", "no.stl"),
        ("part", "box 60 mm"),
        ("part", "box 60 x 40 x 20 mm", "--copies", "none"),
        ("part", "box 60 x 40 x 20 mm", "--picture", "p.png"),
        ("classes", "--thinnest", "0 %"),
    ],
)
def test_what_cannot_be_used_is_refused(folder, words):
    code, _, err = call(*words)
    assert code == 2
    assert err


def test_a_picture_that_cannot_be_written(folder):
    (folder / "box.stl").write_bytes(trimesh.creation.box([60, 40, 20]).export(file_type="stl"))
    code, _, err = call("part", "box.stl", "--picture", "no/such/folder.png")
    assert code == 2
    assert "cannot be written" in err


def test_classes_have_targets(folder):
    code, out, _ = call("classes", "--thinnest", "50 %")
    assert code == 0
    assert 'class 25, at least 25 µm: target = "50 µm"' in out


SETTINGS = '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "bath A"\n'


@pytest.fixture
def settings(folder, monkeypatch):
    path = folder / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    monkeypatch.setenv("TANKHAND_SETTINGS", str(path))
    return path


@pytest.fixture
def daemon(settings, folder, serve_bath):
    writer = Writer(folder / "record.sqlite", threaded=False)
    serve_bath(settings, writer)
    yield writer
    writer.close()


def test_a_part_is_kept_listed_and_used_again(daemon, folder):
    (folder / "box.stl").write_bytes(trimesh.creation.box([60, 40, 20]).export(file_type="stl"))
    code, out, err = call("part", "box.stl", "--layers", "0 %", "--keep", "lamp foot")
    assert (code, err) == (0, "")
    assert out.splitlines()[-1] == "part 1"
    code, out, _ = call("part", "2 x lamp foot", "box 20 x 20 x 20 mm", "--layers", "0 %")
    assert code == 0
    assert "2 of lamp foot, kept as part 1" in out
    assert 'area = "2 dm²"' in out
    code, out, _ = call("parts")
    assert code == 0
    assert out.startswith("lamp foot  0.88 dm², 48 cm³; box.stl; part 1, ")
    code, _, _ = call("parts", "lamp foot", "--picture", "again.png")
    assert code == 0
    assert (folder / "again.png").read_bytes().startswith(b"\x89PNG")


def test_a_part_that_is_kept_again_takes_the_place_of_the_other(daemon):
    call("part", "box 60 x 40 x 20 mm", "--keep", "foot")
    code, out, _ = call("part", "2 x box 60 x 40 x 20 mm", "--keep", "foot")
    assert code == 0
    assert out.splitlines()[-2:] == ["part 2", "note       takes the place of part 1"]
    _, out, _ = call("parts")
    assert out.count("foot") == 1
    assert "1.76 ± " in out
    assert "part 2 in place of 1" in out.replace(",", "")


@pytest.mark.parametrize(
    "name", ["", " foot", "foot\nknob", "box 3", "2 x foot", "foot.STL", "n" * 101, "shell"]
)
def test_a_name_by_which_nothing_could_be_called_is_refused(daemon, name):
    code, out, err = call("part", "box 60 x 40 x 20 mm", "--keep", name)
    assert (code, "part 1" in out) == (2, False)
    assert "name" in err
    assert call("parts")[1] == "no part is kept yet\n"


def test_without_a_daemon_nothing_is_kept(settings):
    code, _, err = call("part", "box 60 x 40 x 20 mm", "--keep", "foot")
    assert code == 1
    assert "nothing was entered" in err


def test_without_a_record_no_part_is_kept_yet(settings):
    assert call("parts") == (0, "no part is kept yet\n", "")
    code, _, err = call("part", "foot")
    assert code == 2
    assert "kept: none" in err


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("parts", "knob"), 1, "no part 'knob' is kept"),
        (("parts", "--picture", "p.png"), 2, "say the NAME"),
        (("parts", "foot", "--picture", "p.png"), 1, "has no picture"),
    ],
)
def test_what_parts_cannot_show(daemon, words, code, said):
    call("part", "box 60 x 40 x 20 mm", "--keep", "foot")
    assert (found := call(*words))[0] == code
    assert said in found[2]
