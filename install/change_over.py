"""From one release to the next, and back if the next one does not get ready.

The old daemon is stopped in good order and the record backed up before anything is switched. What
fails from then on, Ctrl-C and a terminal that goes away included, is undone.
"""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType

from install.asking import Look, is_ready, refuse_if_busy, service_runs
from install.errors import InstallError
from install.files import link, write
from install.machine import Machine, reload, say
from install.places import RULES_FILE, SERVICE, UNIT_FILE, Places
from install.release import Release

CLI = "daemon.service.commands.cli"

_SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


@dataclass(frozen=True, slots=True)
class Written:
    """What is in the places that a change of release writes to: bytes, a link's end, or None."""

    files: dict[Path, bytes | None]
    links: dict[Path, str | None]

    def write(self) -> None:
        """Have it so."""
        for path, text in self.files.items():
            write(path, text)
        for path, to in self.links.items():
            link(path, to)


@dataclass(slots=True)
class Change:
    """A change to the release `new`, with a record and a socket as `look` says."""

    places: Places
    machine: Machine
    new: Release
    look: Look
    _backup: Path | None = field(default=None, init=False)
    _step: str = field(default="", init=False)
    _started: bool = field(default=False, init=False)

    def is_due(self) -> bool:
        """Whether the new release is not in use yet, or its unit or rules are not those there."""
        return self._found() != self._wanted()

    def run(self) -> bool:
        """Do it; whether the service runs again. Raises InstallError with what then holds."""
        if self.machine.is_here:
            refuse_if_busy(self.machine, self.look, starts_again=True)
        ran = service_runs(self.machine)
        before = self._found()
        with _signals(_interrupt):
            try:
                if ran:
                    say("stopping the service")
                    self.machine.run("systemctl", "stop", SERVICE)
                self._keep_record()
                self._switch(self._wanted())
                if ran:
                    say("starting the new release; until it is ready this may take minutes")
                    self._start()
            except (InstallError, OSError, KeyboardInterrupt) as error:
                with _signals(signal.SIG_IGN):
                    raise InstallError(self._go_back(before, error, ran=ran)) from error
        return ran

    def _wanted(self) -> Written:
        hardware = self.new.source / "hardware"
        return Written(
            {
                self.places.unit: (hardware / UNIT_FILE).read_bytes(),
                self.places.rules: (hardware / RULES_FILE).read_bytes(),
            },
            {
                self.places.current: f"releases/{self.new.name}",
                self.places.command: "/opt/tankhand/current/venv/bin/tankhand",
            },
        )

    def _found(self) -> Written:
        files = (self.places.unit, self.places.rules)
        links = (self.places.current, self.places.command)
        return Written(
            {path: path.read_bytes() if path.exists() else None for path in files},
            {path: str(path.readlink()) if path.is_symlink() else None for path in links},
        )

    def _keep_record(self) -> None:
        """Back the record up, by the new release: it is the one that may change it."""
        if not self.machine.is_here or not self.look.record.exists():
            return
        to = self.places.backups / f"record-{datetime.now(UTC):%Y-%m-%dT%H%M%SZ}.sqlite"
        say(self._tankhand("backup", str(to)))
        self._backup = to
        self._step = self._step_of_record()

    def _step_of_record(self) -> str:
        return self._as_owner("install.record_step", str(self.look.record))

    def _tankhand(self, *words: str) -> str:
        settings = ("--settings", str(self.look.settings))
        return self._as_owner(CLI, *words, *settings)

    def _as_owner(self, module: str, *words: str) -> str:
        """Run a module of the new release as the record's owner."""
        python = (str(self.new.python), "-P", "-m")
        return self.machine.run("runuser", "-u", SERVICE, "--", *python, module, *words)

    def _switch(self, to: Written) -> None:
        to.write()
        reload(self.machine)

    def _start(self) -> None:
        """Start the service: systemd comes back once the daemon has said that it is ready."""
        self._started = True
        self.machine.run("systemctl", "start", SERVICE)
        why_not = is_ready(self.look)
        if why_not is not None:
            raise InstallError(why_not)

    def _go_back(self, before: Written, error: BaseException, *, ran: bool) -> str:
        """Undo what was done; all of it in words."""
        old = before.links[self.places.current]
        told = [f"{self.new.name} is not in use: {str(error) or 'it was interrupted'}"]
        try:
            if self._started:
                self.machine.run("systemctl", "stop", SERVICE)
            self._switch(before)
            name = old.removeprefix("releases/") if old else "what was there"
            told.append(f"{name} is in use as before")
            told += self._restored()
        except (InstallError, OSError) as trouble:
            told.append(f"GOING BACK FAILED TOO: {trouble}. The service was not started")
            told += [f"the record's backup is {self._backup}"] if self._backup else []
            return ". ".join(told)
        if ran:
            told.append(self._started_again())
        return ". ".join(told)

    def _restored(self) -> Iterator[str]:
        """Put the record back if the new release has changed its tables; say so."""
        if not self._started or self._backup is None:
            return
        try:
            changed = self._step_of_record() != self._step
        except InstallError:
            changed = True  # not to be read any more
        if not changed:
            yield "The record's tables were not changed, so it stays as it is"
            return
        said = self._tankhand("restore", "--replace", str(self._backup))
        yield (
            f"The new release had changed the record's tables, so the backup {self._backup} is the "
            f"record again ({'; '.join(said.splitlines())})"
        )

    def _started_again(self) -> str:
        try:
            self.machine.run("systemctl", "start", SERVICE)
            why_not = is_ready(self.look)
        except InstallError as trouble:
            why_not = str(trouble)
        if why_not is None:
            return "The service runs again"
        return f"The service does NOT run: {why_not}. journalctl -u {SERVICE} says more"


def check_settings(release: Release, settings: Path) -> None:
    """See that the release takes the settings, before anything is stopped. Raises InstallError."""
    machine = Machine()
    words = (str(release.python), "-P", "-m", CLI, "effects", "--settings", str(settings))
    asked = machine.ask(*words)
    if asked.code != 0:
        raise InstallError(
            f"the new release does not take the settings: {asked.text}. Nothing was switched"
        )


def _interrupt(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
    """Break off, once: what undoes the change is not to be broken off itself."""
    for each in _SIGNALS:
        signal.signal(each, signal.SIG_IGN)
    raise KeyboardInterrupt(f"by {signal.Signals(number).name}")


@contextmanager
def _signals(handler: "signal._HANDLER") -> Iterator[None]:
    """Have the signals that would end us go to `handler`."""
    before = {number: signal.signal(number, handler) for number in _SIGNALS}
    try:
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, old)
