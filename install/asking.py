"""Asking the daemon whether it may be stopped, over its control socket."""

import fcntl
import json
import socket
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from install.errors import InstallError
from install.machine import Machine
from install.places import SERVICE

AT_REST = frozenset({"idle", "stopped", "aborted", "complete"})
"""States without a run under way; see "States" in DEVELOPERS.md."""

QUESTION = b'{"ask": "status"}\n'
PATIENCE_S = 15.0
"""Real s that an answer may take."""

STALE_S = 10.0
"""Real s after which a reading says nothing of the supply now; a slow one is read in one or two."""

_LONGEST = 1 << 20
_RUNS = frozenset({"active", "activating", "reloading", "deactivating"})


@dataclass(frozen=True, slots=True)
class Look:
    """What the settings say of the places that matter here."""

    settings: Path
    record: Path
    socket: Path


def look_at(settings: Path) -> Look:
    """Read the settings as far as needed. Raises InstallError."""
    try:
        tables = tomllib.loads(settings.read_text(encoding="utf-8"))
        record = tables.get("record", {}).get("path", "record.sqlite")
        control = tables.get("daemon", {}).get("socket", "control.sock")
        folder = settings.absolute().parent
        return Look(settings, folder / record, folder / control)
    except (OSError, ValueError, AttributeError, TypeError) as error:
        raise InstallError(f"{settings}: cannot be read: {error}. Nothing was changed") from error


def service_runs(machine: Machine) -> bool:
    """Whether the service is up, or about to be."""
    return machine.ask("systemctl", "is-active", SERVICE).text.split("\n")[-1] in _RUNS


def refuse_if_busy(machine: Machine, look: Look, *, starts_again: bool = False) -> None:
    """Raise InstallError if a daemon runs that is not at rest, or that does not say so.

    starts_again: another one is to follow, which has to read the supply to be ready.
    """
    service = service_runs(machine)
    if not service and not _is_guarded(look.settings):
        return
    try:
        status = _status(look.socket)
    except (OSError, ValueError) as error:
        stop = f"systemctl stop {SERVICE}" if service else "end it by Ctrl-C where it was started"
        raise InstallError(
            f"a daemon runs and gives no answer at {look.socket} ({error}), so it is not known "
            "whether a run is under way. Look at the tank; if it may end: "
            f"{stop}, then try again. Nothing was changed"
        ) from error
    busy = why_busy(status)
    if busy is not None:
        raise InstallError(f"{busy}. Try again when it is over. The daemon was left alone")
    if not service:
        raise InstallError(
            "a daemon runs that is not the service. End it by Ctrl-C where it was started, then "
            "try again. The daemon was left alone"
        )
    if starts_again and not reads_supply(status):
        raise InstallError(
            "the daemon does not read the supply, so no other one would get ready: is it switched "
            f"on? Put that right and try again, or first: systemctl stop {SERVICE}. The daemon was "
            "left alone"
        )


def is_ready(look: Look) -> str | None:
    """None if the daemon answers; otherwise why not."""
    try:
        _status(look.socket)
    except (OSError, ValueError) as error:
        return f"no answer at {look.socket}: {error}"
    return None


def why_busy(status: dict[str, Any]) -> str | None:
    """Why a daemon with this status must not be stopped; None if it may be."""
    state = status.get("state")
    if state not in AT_REST:
        return f"a run is under way (state {state!r})"
    if status.get("proving"):
        return f"a proof test is under way ({status['proving']})"
    if any(pump.get("runs") for pump in status.get("pumps", ())):
        return "a dosing pump runs"
    return None


def reads_supply(status: dict[str, Any]) -> bool:
    """Whether the daemon has a reading that is not old."""
    age_s = status.get("reading_age_s")
    return age_s is not None and age_s / status.get("rate", 1.0) < STALE_S


def _status(path: Path) -> dict[str, Any]:
    """Ask for the status. Raises OSError or ValueError if no proper answer comes."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
        connection.settimeout(PATIENCE_S)
        connection.connect(str(path))
        connection.sendall(QUESTION)
        reply = b""
        while not reply.endswith(b"\n") and len(reply) < _LONGEST:
            part = connection.recv(65536)
            if not part:
                raise ValueError("it hung up")
            reply += part
    answer = json.loads(reply)
    status = answer.get("status") if isinstance(answer, dict) else None
    if not isinstance(status, dict):
        raise ValueError("an answer without a status")  # noqa: TRY004 - one kind for all
    return status


def _is_guarded(settings: Path) -> bool:
    """Whether a daemon runs with these settings: its guard holds their lock."""
    with settings.open("rb") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
    return False
