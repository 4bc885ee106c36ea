"""What the service needs besides the program: groups, a user, folders, settings to begin with."""

import shutil
import sys
import sysconfig
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from install.machine import Machine
from install.places import EXAMPLE_FILE, SERVICE, Places

GROUPS = ("dialout", "gpio")
"""Serial ports, and the Pi's pins."""


READY_MADE = (3, 12)
"""The newest Python that the library for the pins is ready made for (seen on 2026-11-26)."""

BUILDING = ("swig", "gcc", "libc6-dev", "python3-dev")
"""Debian's packages that build it for a newer one."""


@dataclass(frozen=True, slots=True)
class Step:
    """Something that is still to be done: in words, and how."""

    text: str
    act: Callable[[], object]


def steps(places: Places, machine: Machine, clone: Path) -> list[Step]:
    """What is missing, in order; each can be done again without harm."""
    found = [_group(machine, name) for name in GROUPS if _lacks(machine, "group", name)]
    if _lacks(machine, "passwd", SERVICE):
        found.append(_user(machine))
    belongs = machine.ask("id", "-nG", SERVICE).text.split()
    found += [
        Step(f"add      user {SERVICE} to the group {name}", _adding(machine, name))
        for name in GROUPS
        if name not in belongs
    ]
    folders = ((places.etc, "root"), (places.state, SERVICE), (places.backups, SERVICE))
    found += [_folder(machine, path, owner) for path, owner in folders if not path.is_dir()]
    if not places.settings.exists():
        found.append(_settings(places, machine, clone / "hardware" / EXAMPLE_FILE))
    return found


def tools(machine: Machine, version: tuple[int, int] = sys.version_info[:2]) -> list[Step]:
    """What building the library for the pins lacks with this Python; nothing if it need not be."""
    header = Path(sysconfig.get_path("include")) / "Python.h"
    if version <= READY_MADE or (shutil.which("swig") and shutil.which("gcc") and header.is_file()):
        return []

    def act() -> None:
        machine.run("apt-get", "update", "-qq")
        machine.run("apt-get", "install", "-y", "-qq", "--no-install-recommends", *BUILDING)

    return [Step(f"install  {', '.join(BUILDING)}: the library for the pins has to be built", act)]


def _lacks(machine: Machine, kind: str, name: str) -> bool:
    return machine.ask("getent", kind, name).code != 0


def _group(machine: Machine, name: str) -> Step:
    return Step(f"make     group {name}", lambda: machine.run("groupadd", "--system", name))


def _user(machine: Machine) -> Step:
    words = ["useradd", "--system", "--user-group", "--no-create-home"]
    words += ["--home-dir", f"/var/lib/{SERVICE}", "--shell", "/usr/sbin/nologin", SERVICE]
    return Step(f"make     user and group {SERVICE}", lambda: machine.run(*words))


def _adding(machine: Machine, name: str) -> Callable[[], object]:
    return lambda: machine.run("usermod", "--append", "--groups", name, SERVICE)


def _folder(machine: Machine, path: Path, owner: str) -> Step:
    def act() -> None:
        path.mkdir(parents=True, exist_ok=True)
        path.chmod(0o750)
        machine.run("chown", f"{owner}:{SERVICE}", str(path))

    return Step(f"make     {path}, for {owner} and the group {SERVICE}", act)


def _settings(places: Places, machine: Machine, example: Path) -> Step:
    def act() -> None:
        shutil.copy(example, places.settings)
        places.settings.chmod(0o640)  # addresses of messages are secrets
        machine.run("chown", f"root:{SERVICE}", str(places.settings))

    return Step(f"write    {places.settings}, an example to be filled in", act)
