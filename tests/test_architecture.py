"""The arrows between rooms, held by import-linter; the size of modules, and their docstrings."""

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
ROOMS = ("daemon", "drivers", "hardware", "install", "web")
MODULES = sorted(path for room in ROOMS for path in (ROOT / room).rglob("*.py"))
LONGEST = 400


def _lint(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)


def test_imports_run_in_one_direction() -> None:
    done = _lint(ROOT)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The rooms in a folder where they may be spoiled."""
    folder = tmp_path_factory.mktemp("rooms")
    shutil.copy(ROOT / "pyproject.toml", folder)
    for room in ROOMS:
        shutil.copytree(ROOT / room, folder / room, ignore=shutil.ignore_patterns("__pycache__"))
    return folder


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("drivers/errors.py", "import daemon.clock"),
        ("daemon/chemistry/constants.py", "import daemon.control.charge"),
        ("daemon/control/charge.py", "import time"),
        ("daemon/record/errors.py", "import daemon.api.errors"),
        ("daemon/api/errors.py", "import daemon.service.cycle.wall"),
        ("daemon/api/socket/message.py", "import daemon.api.plans.file"),
        ("daemon/service/settings/table.py", "import daemon.service.assembly"),
        ("web/text.py", "import daemon.service.cycle.wall"),
        ("web/text.py", "import drivers.scpi.line"),
        ("drivers/errors.py", "import hardware.circuits.walk"),
        ("web/text.py", "import hardware.circuits.walk"),
        ("install/errors.py", "import daemon.clock"),
    ],
)
def test_an_import_against_the_arrows_is_found(copy: Path, module: str, line: str) -> None:
    path = copy / module
    kept = path.read_text(encoding="utf-8")
    path.write_text(f"{kept}\n{line}\n", encoding="utf-8")
    try:
        done = _lint(copy)
    finally:
        path.write_text(kept, encoding="utf-8")
    assert done.returncode == 1, done.stdout + done.stderr
    assert line.removeprefix("import ") in done.stdout


def _name(path: Path) -> str:
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_a_module_says_what_it_is(path: Path) -> None:
    said = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    assert said
    assert said[0].isupper() or said.startswith("`")


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_a_module_is_short_enough_to_be_read_at_once(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST
