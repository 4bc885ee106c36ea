"""The machine that is installed on: its programs are called, or what to call there is told."""

import shlex
import subprocess
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from install.errors import InstallError


def say(text: str) -> None:
    """Tell the person. A terminal that is gone holds nothing up."""
    with suppress(OSError):
        sys.stdout.write(f"{text}\n")
        sys.stdout.flush()


@dataclass(frozen=True, slots=True)
class Asked:
    """What a program that changes nothing answered: its exit code, and its words."""

    code: int
    text: str


class Machine:
    """The one that we run on; programs are found by the PATH."""

    is_here = True
    """Whether what is installed can run now."""

    def ask(self, *words: str) -> Asked:
        """Call a program that changes nothing. Raises InstallError if it is missing."""
        try:
            done = subprocess.run(  # noqa: S603 - the system's and our own
                words, capture_output=True, text=True, check=False, cwd="/"
            )
        except OSError as error:
            raise InstallError(f"{words[0]}: {error.strerror or error}") from error
        return Asked(done.returncode, (done.stdout + done.stderr).strip())

    def run(self, *words: str) -> str:
        """Call a program that changes something; what it said. Raises InstallError if it fails."""
        asked = self.ask(*words)
        if asked.code != 0:
            raise InstallError(f"{shlex.join(words)} failed: {asked.text or f'code {asked.code}'}")
        return asked.text


class Elsewhere(Machine):
    """A machine that is not running, whose files lie in a folder: what to call there is told."""

    is_here = False

    def __init__(self, root: Path) -> None:
        self._root = str(root).rstrip("/")

    def ask(self, *words: str) -> Asked:  # noqa: ARG002
        """Nothing is known of it: as if there were no user, group or service yet."""
        return Asked(1, "")

    def run(self, *words: str) -> str:
        """Say what has to be called there."""
        said = [word.removeprefix(self._root) for word in words]
        say(f"to do there: {shlex.join(said)}")
        return ""


def reload(machine: Machine) -> None:
    """Have systemd and udev read what was written. Raises InstallError for systemd alone."""
    machine.run("systemctl", "daemon-reload")
    try:
        machine.run("udevadm", "control", "--reload")
        machine.run("udevadm", "trigger", "--subsystem-match=hwmon", "--subsystem-match=gpio")
    except InstallError as error:
        say(f"{error}. The rules act after a reboot")
