"""The person at the terminal, and what is said where there is none or the system refuses."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from install.__main__ import main
from tests.install.conftest import ROOT


@pytest.mark.parametrize(
    ("typed", "goes"),
    [("y\n", True), ("Yes\n", True), ("\n", False), ("sure\n", False), ("\x04", False)],
)
def test_only_a_plain_yes_is_one(tmp_path: Path, typed: str, goes: bool) -> None:
    releases = tmp_path / "opt" / "tankhand" / "releases"
    releases.mkdir(parents=True)
    keyboard, terminal = os.openpty()
    try:
        os.write(keyboard, typed.encode())
        done = subprocess.run(
            [sys.executable, "-B", "-m", "install", "uninstall", "--root", str(tmp_path)],
            cwd=ROOT, stdin=terminal, capture_output=True, text=True, check=False,
        )  # fmt: skip
    finally:
        os.close(keyboard)
        os.close(terminal)
    assert f"remove   {releases}" in done.stdout
    assert "Do this? [y/N]" in done.stdout
    assert releases.exists() is not goes
    assert done.returncode == (0 if goes else 1)
    assert done.stderr == ("" if goes else "go: nothing was changed\n")


def test_what_the_system_refuses_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["install", "--yes", "--root", "/dev/null/x"]) == 1
    assert capsys.readouterr().err == "go: /dev/null/x/etc/tankhand: Not a directory\n"


def test_whoever_breaks_it_off_while_packages_are_fetched_is_told_what_holds(
    tmp_path: Path, mocker: MockerFixture, capsys: pytest.CaptureFixture[str]
) -> None:
    mocker.patch("install.release._environment", side_effect=KeyboardInterrupt)
    assert main(["install", "--yes", "--root", str(tmp_path)]) == 1
    assert capsys.readouterr().err == (
        "go: broken off. The same command again does what is left to do\n"
    )
    assert list((tmp_path / "opt" / "tankhand" / "releases").iterdir()) == []
