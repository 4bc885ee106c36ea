"""Making a release, by the command itself, with pip, below a folder."""

import os
import re
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from install.errors import InstallError
from install.places import Places
from install.release import release_of
from tests.install.conftest import ROOT, Tank


def environment() -> dict[str, str]:
    """Without the network: what packages need is lent by the environment of the tests."""
    own = {
        "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}",
        "PYTHONPATH": sysconfig.get_path("purelib"),
        "PIP_NO_COMPILE": "1",
        "PIP_NO_DEPS": "1",
        "PIP_NO_INDEX": "1",
        "PIP_NO_BUILD_ISOLATION": "0",  # pip's own way to say that there is none
    }
    return os.environ | own


def go(*words: str, env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["sh", str(ROOT / "go"), *words],
        env=env or environment(), capture_output=True, text=True, check=False,
        stdin=subprocess.DEVNULL,
    )  # fmt: skip


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Installed below a folder, in which an earlier attempt had been cut off."""
    root = tmp_path_factory.mktemp("image")
    half = release_of(ROOT, Places(root), pins=False).folder
    half.mkdir(parents=True)
    (half / "half").touch()
    done = go("install", "--yes", "--no-pins", "--root", str(root))
    assert done.returncode == 0, done.stdout + done.stderr
    (root / "said").write_text(done.stdout, encoding="utf-8")
    return root


def test_what_was_made_is_whole_and_runs(root: Path) -> None:
    places = Places(root)
    release = places.current.resolve()
    assert not (release / "half").exists()
    code = "import daemon, web; print(daemon.__file__, *map(str, web.__path__))"
    done = subprocess.run(
        [release / "venv/bin/python", "-P", "-c", code],
        env=environment(), capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.count(str(release)) == 2
    for name in ("go", "README.md", "hardware/service.md", "web/static/page.css"):
        assert (release / "source" / name).is_file()
    assert not (release / "source" / "build").exists()
    (packages,) = release.glob("venv/lib/*/site-packages")
    assert (packages / "web/static/page.css").is_file()


def test_its_scripts_name_their_python_as_it_will_be_called(root: Path) -> None:
    places = Places(root)
    script = places.current.resolve() / "venv" / "bin" / "tankhand"
    first = script.read_text(encoding="utf-8").splitlines()[0]
    assert first == f"#!/opt/tankhand/releases/{places.current.resolve().name}/venv/bin/python"
    assert places.at(str(places.command.readlink())).resolve() == script


def test_below_a_folder_it_says_what_to_call_there(root: Path) -> None:
    said = (root / "said").read_text(encoding="utf-8")
    calls = re.findall(r"^to do there: (.*)$", said, re.MULTILINE)
    assert "chown tankhand:tankhand /var/lib/tankhand" in calls
    assert "systemctl daemon-reload" in calls
    assert not any(str(root) in call for call in calls)


def test_what_the_unit_starts_is_where_it_says(root: Path) -> None:
    places = Places(root)
    started = re.findall(r"^Exec\w+=(\S+)", places.unit.read_text(encoding="utf-8"), re.MULTILINE)
    assert len(started) == 2
    for path in started:
        assert os.access(places.at(path), os.X_OK)


# Makes an environment whose pip gets nothing.
POOR_PYTHON = """#!/bin/sh
mkdir -p "$3/bin"
printf '#!/bin/sh\\necho "no network" >&2\\nexit 1\\n' >"$3/bin/python"
chmod +x "$3/bin/python"
"""


@pytest.mark.parametrize(
    ("python", "said"),
    [(POOR_PYTHON, "pip could not install"), ("#!/bin/sh\nexit 1\n", "cannot make .*venv")],
)
def test_packages_that_cannot_be_had_leave_the_old_release_running(
    running: Tank, mocker: MockerFixture, python: str, said: str
) -> None:
    before = running.in_use
    clone = running.clone("2")
    (clone / "README.md").write_text("changed", encoding="utf-8")
    stand_in = running.folder / "python3"
    stand_in.write_text(python, encoding="utf-8")
    stand_in.chmod(0o755)
    mocker.patch("sys.executable", str(stand_in))
    with pytest.raises(InstallError, match=said):
        running.install(clone)
    assert running.calls == []
    assert (running.in_use, running.is_up) == (before, True)
    assert not running.release(clone).folder.exists()


def test_the_same_files_have_the_same_stamp(tank: Tank) -> None:
    clone = tank.clone("1")
    first = tank.release(clone).name
    assert re.fullmatch(r"1-[0-9a-f]{8}", first)
    (clone / "daemon" / "__pycache__").mkdir(parents=True)
    (clone / "daemon" / "__pycache__" / "x.pyc").touch()
    (clone / "record.sqlite").touch()
    assert tank.release(clone).name == first
    assert release_of(clone, tank.places, pins=True).name != first
    (clone / "daemon" / "new.py").touch()
    assert tank.release(clone).name != first


def test_what_is_no_clone_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InstallError, match="not tankhand's sources"):
        release_of(tmp_path, Places(tmp_path), pins=False)


def test_it_runs_where_nothing_is_installed_yet(tmp_path: Path) -> None:
    """The standard library is enough, and the clone is left as it is."""
    done = subprocess.run(
        [sys.executable, "-S", "-B", "-m", "install", "uninstall", "--root", str(tmp_path)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert "there is nothing to remove" in done.stdout


def test_a_wrong_word_is_told() -> None:
    done = go("install", "--rot", "x")
    assert done.returncode == 2
    assert "--rot" in done.stderr
