"""The process that measures: its answers, its limits, and what is refused before it starts."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh

from daemon.bath.errors import PartError
from daemon.bath.parts import apart
from daemon.bath.parts.asked import Asked, Found, Question

ROOT = Path(__file__).parents[3]


def test_what_is_found_is_what_the_mesh_is(by_hand):
    found = apart.measured(by_hand.stl(), Asked("stl", level_mm=10.0))
    assert isinstance(found, Found)
    assert found.wet_mm2 == pytest.approx(400 + 800)
    assert found.extents_mm == (20.0, 20.0, 20.0)
    assert found.picture.startswith(b"\x89PNG")


def test_what_has_to_be_asked_comes_back(written):
    asked = apart.measured(written(trimesh.creation.box([4, 2, 1])), Asked("stl"))
    assert isinstance(asked, Question)
    assert asked.choices == ("mm", "cm", "in")


def test_an_error_comes_back(by_hand):
    with pytest.raises(PartError, match="promises 12 triangles"):
        apart.measured(by_hand.stl()[:-50], Asked("stl"))


def test_memory_is_bounded(by_hand):
    with pytest.raises(PartError, match=r"memory|cannot be measured"):
        apart.measured(by_hand.stl(), Asked("stl"), most_memory_bytes=150 * 2**20)


def test_time_is_bounded(written):
    many = written(trimesh.creation.icosphere(6, radius=40))
    with pytest.raises(PartError, match="more than 1 s of the processor"):
        apart.measured(many, Asked("stl"), most_processor_s=1)


def test_a_large_file_is_refused_before_it_is_read(tmp_path, monkeypatch):
    path = tmp_path / "large.stl"
    with path.open("wb") as file:
        os.truncate(file.fileno(), 300 * 2**20)
    monkeypatch.setattr(Path, "open", lambda *_: pytest.fail("was opened"))
    with pytest.raises(PartError, match="300 MB, at most 64 MB"):
        apart.read_file(path)


def test_what_grows_while_it_is_read_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "grows.stl"
    path.write_bytes(b"\0" * 200)
    monkeypatch.setattr(apart, "MOST_BYTES", 100)
    monkeypatch.setattr(Path, "stat", lambda *_a, **_k: os.stat_result((0o100644, *[0] * 9)))
    with pytest.raises(PartError, match="at most"):
        apart.read_file(path)


def test_large_data_is_refused_too(monkeypatch):
    monkeypatch.setattr(apart, "MOST_BYTES", 100)
    with pytest.raises(PartError, match="at most"):
        apart.measured(b"\0" * 101, Asked("stl"))


@pytest.mark.parametrize("name", ["", "no.stl", "pipe.stl"])
def test_what_is_no_file_is_refused(tmp_path, name):
    os.mkfifo(tmp_path / "pipe.stl")
    with pytest.raises(PartError, match="no such file"):
        apart.read_file(tmp_path / name)


@pytest.mark.parametrize("name", ["part.step", "part", "part.stl.gz"])
def test_other_kinds_of_files_are_refused(name):
    with pytest.raises(PartError, match=r"ends in \.stl, \.obj, \.ply, \.3mf"):
        apart.kind_of(Path(name))


def test_the_ends_of_names_may_be_capitals():
    assert apart.kind_of(Path("PART.STL")) == "stl"


WITHOUT_SCIPY = """
import sys
sys.modules["scipy"] = None
import trimesh
from daemon.bath.parts.asked import Asked
from daemon.bath.parts.mesh import measured
ball = trimesh.creation.icosphere(2, radius=40)
for kind in ("stl", "obj", "ply", "3mf"):
    data = ball.export(file_type=kind)
    found = measured(data.encode() if isinstance(data, str) else data, Asked(kind, level_mm=30.0))
    assert found.displaced_mm3 > 0, kind
"""


def test_it_works_with_what_is_installed_without_the_tests_packages():
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT_SCIPY], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


LOADS = """
import runpy, sys
import daemon.service.supervision.guard, daemon.service.commands.cli
sys.argv = ["loop", "--settings", "no-such-file"]
try:
    runpy.run_module("daemon.service.main", run_name="__main__")
except SystemExit:
    pass
from daemon.units import parse
assert parse("1 ASF", "A/dm²") > 0
names = ("numpy", "trimesh", "lxml", "networkx")
loaded = [name for name in names if sys.modules.get(name) is not None]
assert not loaded, loaded
"""


def test_neither_the_loop_nor_the_guard_loads_arrays_or_meshes():
    done = subprocess.run(
        [sys.executable, "-c", LOADS], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
