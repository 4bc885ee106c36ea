"""A machine of stand-ins: a folder for `/`, programs that write down how they were called."""

import json
import os
import shutil
import socket
import tempfile
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from install.__main__ import Ask, Site, install
from install.asking import look_at
from install.change_over import Change
from install.machine import Machine
from install.places import Places
from install.release import Release, make, release_of

ROOT = Path(__file__).parent.parent.parent

# State and calls of the service lie beside the programs. What `on_start` holds decides a start.
SYSTEMCTL = """
case $1 in
is-active) cat "$here/state"; [ "$(cat "$here/state")" = active ] ;;
start) sh -e "$here/on_start" || { echo "Job for tankhand.service failed" >&2; exit 1; }
       echo active >"$here/state" ;;
stop|disable) sh -e "$here/on_stop" && echo inactive >"$here/state" ;;
esac
"""
PROGRAMS = {
    "systemctl": SYSTEMCTL,
    "runuser": 'shift 3; exec "$@"',
    "id": "echo tankhand dialout gpio",
    "getent": "",
    "udevadm": "",
    "chown": "",
    "groupadd": "",
    "useradd": "",
    "usermod": "",
}
# What is asked of a release, on a record that is one line of text: "step" and its number.
PROGRAM = """
record={record}
case "$3 $4" in
*cli\\ effects) ! grep lissen "$6" >&2 ;;
*cli\\ backup) grep -q ^step $record || {{ echo "$record: not a record" >&2; exit 1; }}
               cp $record "$5"; echo "backed up  $5" ;;
*cli\\ restore) [ -e "$6" ] || {{ echo "$6: not there" >&2; exit 1; }}
                mv $record $record.replaced; cp "$6" $record; echo "put aside  $record.replaced" ;;
*record_step*) grep ^step "$4" ;;
*) exit 9 ;;
esac
"""
AT_REST = {"state": "idle", "proving": None, "pumps": [], "reading_age_s": 0.2, "rate": 1.0}


class Tank:
    """The machine's folder, its programs, its record, and a daemon that answers at the socket."""

    def __init__(self, folder: Path, path: pytest.MonkeyPatch) -> None:
        self.folder = folder
        self.places = Places(folder / "root")
        self.status: dict[str, Any] | None = dict(AT_REST)
        self.socket = folder / "s"
        self._bin = folder / "bin"
        self._bin.mkdir()
        for name, script in PROGRAMS.items():
            self.program(name, script)
        self.service("inactive")
        self.on("start", "")
        self.on("stop", "")
        path.setenv("PATH", f"{self._bin}:{os.environ['PATH']}")

    def program(self, name: str, script: str) -> None:
        head = f'#!/bin/sh\nhere={self._bin}\necho "{name} $*" >>"$here/log"\n'
        (self._bin / name).write_text(head + script + "\n", encoding="utf-8")
        (self._bin / name).chmod(0o755)

    def service(self, state: str) -> None:
        (self._bin / "state").write_text(f"{state}\n", encoding="utf-8")

    def on(self, act: str, script: str) -> None:
        """What happens at the service's start or stop; a failing line fails it."""
        (self._bin / f"on_{act}").write_text(f"{script}\n", encoding="utf-8")

    @property
    def is_up(self) -> bool:
        return (self._bin / "state").read_text(encoding="utf-8") == "active\n"

    @property
    def calls(self) -> list[str]:
        """What was called since this was last asked, but for questions."""
        log = self._bin / "log"
        found = log.read_text(encoding="utf-8").splitlines() if log.exists() else []
        log.unlink(missing_ok=True)
        return [one for one in found if not one.startswith(("systemctl is-active", "getent", "id"))]

    def settings(self, extra: str = "") -> Path:
        """Settings as a person has filled them in, with the record and socket of this machine."""
        path = self.places.settings
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(
            '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "Bath"\n'
            f'[record]\npath = "{self.record}"\n[daemon]\nsocket = "{self.socket}"\n{extra}',
            encoding="utf-8",
        )
        return path

    @property
    def record(self) -> Path:
        return self.places.state / "record.sqlite"

    def make_record(self) -> None:
        self.record.parent.mkdir(parents=True, exist_ok=True)
        self.record.write_text("step 1\n", encoding="utf-8")

    def clone(self, version: str) -> Path:
        """A clone that has little in it, whose release, made already, is a stand-in too."""
        clone = self.folder / f"clone-{version}"
        shutil.copytree(
            ROOT / "hardware", clone / "hardware",
            ignore=lambda folder, names: [n for n in names if (Path(folder) / n).is_dir()],
        )  # fmt: skip
        project = f'[project]\nname = "tankhand"\nversion = "{version}"\n'
        (clone / "pyproject.toml").write_text(project, encoding="utf-8")
        unit = clone / "hardware" / "tankhand.service"
        unit.write_text(f"{unit.read_text(encoding='utf-8')}# {version}\n", encoding="utf-8")
        release = self.release(clone)
        release.python.parent.mkdir(parents=True)
        shutil.copytree(clone / "hardware", release.source / "hardware")
        self.python(release, PROGRAM.format(record=self.record))
        (release.folder / "whole").touch()
        make(release, clone, self.places, pins=False)  # nothing is left to make
        return clone

    def python(self, release: Release, script: str) -> None:
        release.python.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
        release.python.chmod(0o755)

    def release(self, clone: Path) -> Release:
        return release_of(clone, self.places, pins=False)

    def site(self, clone: Path, *, yes: bool = True) -> Site:
        python = Path("/usr/bin/python3")
        return Site(self.places, Machine(), clone, yes=yes, python=python)

    def install(self, clone: Path, *, yes: bool = True, ask: Ask | None = None) -> None:
        install(self.site(clone, yes=yes), ask)

    @property
    def in_use(self) -> str:
        return self.places.current.readlink().name

    def answer(self, connection: socket.socket) -> None:
        asked = connection.makefile("rb").readline()
        assert json.loads(asked) == {"ask": "status"}
        if self.status is not None:
            connection.sendall(json.dumps({"ok": True, "status": self.status}).encode() + b"\n")


@pytest.fixture
def tank(monkeypatch: pytest.MonkeyPatch) -> Iterator[Tank]:
    # Not tmp_path: a socket's name may have 107 characters.
    with tempfile.TemporaryDirectory() as folder:
        made = Tank(Path(folder), monkeypatch)
        with socket.socket(socket.AF_UNIX) as listening:
            listening.bind(str(made.socket))
            listening.listen()
            thread = threading.Thread(target=_serve, args=(made, listening))
            thread.start()
            yield made
            listening.shutdown(socket.SHUT_RDWR)
            thread.join()


def _serve(tank: Tank, listening: socket.socket) -> None:
    with suppress(OSError):
        while True:
            connection, _ = listening.accept()
            with connection:
                tank.answer(connection)


@pytest.fixture
def running(tank: Tank) -> Tank:
    """Release 1 in use, its daemon up, a record, nothing called yet."""
    settings = tank.settings()
    tank.places.backups.mkdir(parents=True)
    release = tank.release(tank.clone("1"))
    Change(tank.places, Machine(), release, look_at(settings)).run()
    tank.make_record()
    tank.service("active")
    assert tank.calls
    return tank
