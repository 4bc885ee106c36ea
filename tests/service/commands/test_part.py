"""`tankhand part` and `classes` as they are given at a terminal."""

import pytest
import trimesh
from click.testing import CliRunner

from daemon.api.plan_file import read_plan
from daemon.bath.parts import apart
from daemon.service.commands.cli import main

AT_A_TERMINAL = "daemon.service.commands.part._at_a_terminal"


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
