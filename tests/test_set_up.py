"""`go` on machines that lack something: one clear error, and nothing half done."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

GO = Path(__file__).parent.parent / "go"
TOOLS = ("sh", "dirname", "cat", "id", "cksum", "env")


class Machine:
    """A clone of nothing but `go` and pyproject.toml, and the few programs that are installed."""

    def __init__(self, folder: Path) -> None:
        self.clone = folder / "clone"
        self.clone.mkdir()
        shutil.copy(GO, self.clone)
        shutil.copy(GO.with_name("pyproject.toml"), self.clone)
        self._bin = folder / "bin"
        self._bin.mkdir()
        for tool in TOOLS:
            path = shutil.which(tool)
            assert path is not None
            (self._bin / tool).symlink_to(path)
        self.log = folder / "log"

    def install(self, name: str, script: str) -> None:
        """A stand-in for a program, which logs how it was called."""
        path = self._bin / name
        path.unlink(missing_ok=True)
        path.write_text(f'#!/bin/sh\necho "{name} $*" >>"{self.log}"\n{script}\n', encoding="utf-8")
        path.chmod(0o755)

    def uninstall(self, name: str) -> None:
        (self._bin / name).unlink()

    def go(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            ["/bin/sh", str(self.clone / "go"), *arguments],
            env={"PATH": str(self._bin), "HOME": os.devnull},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
        )

    @property
    def called(self) -> list[str]:
        return self.log.read_text(encoding="utf-8").splitlines() if self.log.exists() else []


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


OLD_PYTHON = 'case $1 in --version) echo "Python 3.9.2";; *) exit 1;; esac'
BARE_PYTHON = 'case "$*" in *ensurepip*) exit 1;; --version) echo "Python 3.11.2";; esac'
ROOT = "echo 0"
NOT_ROOT = "echo 1000"


@pytest.mark.parametrize("arguments", [(), ("help",), ("demoo",)])
def test_without_a_known_word_it_says_which_there_are(
    machine: Machine, arguments: tuple[str, ...]
) -> None:
    done = machine.go(*arguments)
    assert done.returncode == 2
    assert "./go demo" in done.stderr
    assert "./go test" in done.stderr
    assert "sudo ./go install" in done.stderr
    assert "sudo ./go uninstall" in done.stderr
    assert not (machine.clone / ".venv").exists()


@pytest.mark.parametrize("word", ["demo", "test", "install", "uninstall"])
@pytest.mark.parametrize(
    ("script", "found"), [(OLD_PYTHON, "Python 3.9.2"), (None, "python3"), ("exit 1", "found: .")]
)
def test_python_is_missing_or_too_old(
    machine: Machine, word: str, script: str | None, found: str
) -> None:
    if script is not None:
        machine.install("python3", script)
    done = machine.go(word)
    assert done.returncode == 1
    assert "needs Python 3.11 or newer" in done.stderr
    assert found in done.stderr
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.parametrize("word", ["demo", "install"])
def test_venv_is_missing_and_there_is_no_apt(machine: Machine, word: str) -> None:
    machine.install("python3", BARE_PYTHON)
    done = machine.go(word)
    assert done.returncode == 1
    assert "missing: python3-venv" in done.stderr
    assert "no apt-get here" in done.stderr


def test_venv_is_missing_and_there_is_no_right_to_install_it(machine: Machine) -> None:
    machine.install("python3", BARE_PYTHON)
    machine.install("id", NOT_ROOT)
    machine.install("apt-get", "")
    done = machine.go("demo")
    assert done.returncode == 1
    assert "As root, run: apt-get update && apt-get install -y" in done.stderr
    assert done.stderr.rstrip().endswith("python3-venv")
    assert not any(call.startswith("apt-get") for call in machine.called)


def test_apt_cannot_install(machine: Machine) -> None:
    machine.install("python3", BARE_PYTHON)
    machine.install("id", ROOT)
    machine.install("apt-get", 'echo "E: no network" >&2; exit 100')
    done = machine.go("demo")
    assert done.returncode == 1
    assert "E: no network" in done.stderr
    assert "As root, run: apt-get update" in done.stderr


def test_a_person_installs_through_sudo(machine: Machine) -> None:
    machine.install("python3", BARE_PYTHON)
    machine.install("id", NOT_ROOT)
    machine.install("sudo", "exit 0")
    machine.install("apt-get", "exit 1")
    machine.go("demo")
    sudo = [call for call in machine.called if call.startswith("sudo")]
    assert sudo[0].endswith("apt-get update -qq")
    assert sudo[1].endswith("--no-install-recommends python3-venv")


# Makes a virtual environment in which pip and pytest are stand-ins too.
MAKING_PYTHON = """
case "$*" in
*"-m venv"*)
    for last; do :; done
    /bin/mkdir -p "$last/bin"
    /bin/cp "$0" "$last/bin/python"
    printf '#!/bin/sh\\necho "pytest $*"\\n' >"$last/bin/pytest"
    printf '#!/bin/sh\\necho "tankhand $*"\\n' >"$last/bin/tankhand"
    /bin/chmod +x "$last/bin/pytest" "$last/bin/tankhand"
    ;;
--version) echo "Python 3.11.2" ;;
esac
"""


@pytest.fixture
def whole(machine: Machine) -> Machine:
    machine.install("python3", MAKING_PYTHON)
    machine.install("chromium", "")
    machine.install("systemd-analyze", "")
    machine.install("strace", "")
    return machine


def _made(machine: Machine) -> int:
    return sum(" -m venv" in call for call in machine.called)


def test_arguments_are_handed_on(whole: Machine) -> None:
    assert whole.go("demo", "--rate", "500").stdout == "tankhand demo --rate 500\n"
    assert whole.go("test", "tests/control", "-k", "a b").stdout == "pytest tests/control -k a b\n"


@pytest.mark.parametrize("word", ["install", "uninstall"])
def test_the_service_is_left_to_its_own_module_and_the_folder_as_it_is(
    whole: Machine, word: str
) -> None:
    assert whole.go(word, "--root", "a b").returncode == 0
    assert whole.called[-1] == f"python3 -B -m install {word} --root a b"
    assert not (whole.clone / ".venv").exists()


def test_the_environment_is_made_anew_only_when_the_project_file_changed(whole: Machine) -> None:
    for _ in range(2):
        assert whole.go("demo").returncode == 0
        assert whole.go("test", "-q").returncode == 0
    assert _made(whole) == 1
    with (whole.clone / "pyproject.toml").open("a", encoding="utf-8") as file:
        file.write("# changed\n")
    assert whole.go("demo").returncode == 0
    assert _made(whole) == 2


def test_a_set_up_that_broke_off_is_made_anew(whole: Machine) -> None:
    assert whole.go("demo").returncode == 0
    no_pip = '*"-m pip"*) exit 1 ;;'
    whole.install("python3", MAKING_PYTHON.replace("--version)", f"{no_pip}\n--version)"))
    (whole.clone / "pyproject.toml").write_text("", encoding="utf-8")
    broken = whole.go("demo")
    assert broken.returncode == 1
    assert "pip could not install" in broken.stderr
    whole.install("python3", MAKING_PYTHON)
    assert whole.go("demo").returncode == 0
    assert _made(whole) == 3


def test_the_tests_need_a_browser_what_drives_it_and_what_checks_the_unit(whole: Machine) -> None:
    whole.install("id", ROOT)
    whole.install("apt-get", "")
    whole.install("chromium", "")
    assert whole.go("test", "-q").returncode == 0
    assert not any("apt-get" in call for call in whole.called)
    whole.uninstall("chromium")
    whole.uninstall("systemd-analyze")
    whole.uninstall("strace")
    no_library = "*libatomic*) exit 1 ;;"
    whole.install("python3", MAKING_PYTHON.replace("--version)", f"{no_library}\n--version)"))
    (whole.clone / "pyproject.toml").write_text("", encoding="utf-8")
    assert whole.go("test", "-q").returncode == 0
    installed = [call.split("-recommends ")[-1] for call in whole.called if "apt-get" in call]
    assert installed[1::2] == ["chromium fonts-dejavu-core", "libatomic1", "strace", "systemd"]


def test_what_looks_for_barriers_is_there_before_the_tests_or_none_is_run(whole: Machine) -> None:
    assert whole.go("test", "-q").returncode == 0
    assert any(call.endswith("tests/web/axe.py --fetch") for call in whole.called)
    whole.install("python3", MAKING_PYTHON.replace("--version)", "*axe.py*) exit 1 ;;\n--version)"))
    (whole.clone / "pyproject.toml").write_text("", encoding="utf-8")
    done = whole.go("test", "-q")
    assert done.returncode == 1
    assert "the page's tests need it" in done.stderr
    assert "pytest" not in done.stdout


@pytest.mark.parametrize("failing", ["ruff", "mypy", "lint-imports", "pytest"])
def test_any_check_that_fails_fails_the_whole(whole: Machine, failing: str) -> None:
    whole.go("test", "-q")
    for name in ("ruff", "mypy", "lint-imports", "pytest"):
        path = whole.clone / ".venv" / "bin" / name
        path.write_text(f"#!/bin/sh\nexit {3 if name == failing else 0}\n", encoding="utf-8")
        path.chmod(0o755)
    assert whole.go("test").returncode == 3


@pytest.mark.parametrize("failing", ["--numprocesses", "tests/end_to_end"])
def test_whole_daemons_are_tested_by_themselves_and_in_any_case(
    whole: Machine, failing: str
) -> None:
    whole.go("test", "-q")
    for name in ("ruff", "mypy", "lint-imports", "pytest"):
        script = 'echo "$0 $*"\ncase $1 in ' + f"{failing}) exit 3 ;; esac"
        path = whole.clone / ".venv" / "bin" / name
        path.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
        path.chmod(0o755)
    done = whole.go("test")
    assert done.returncode == 3
    among_others, alone = [line for line in done.stdout.splitlines() if "bin/pytest " in line]
    for tests in alone.split()[1:]:
        assert (GO.parent / tests).exists()
        assert f"--ignore {tests} " in among_others + " "
