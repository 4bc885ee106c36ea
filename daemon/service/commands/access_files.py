"""The files of who may what, as the commands that change them need them, and the word on it.

They are changed past the daemon, which need not run; the page reads them anew at its next look.
What was changed stands in the audit: the daemon keeps it there, at its next start if it is not
there now.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.service.commands.asking import WHERE
from daemon.service.commands.command import RefusedError, errors, who

if TYPE_CHECKING:  # pydantic takes its time, and `serve` has to have the output off first
    from daemon.access.operators import Operators
    from daemon.access.sessions import Sessions
    from daemon.access.tokens import Tokens
    from daemon.api.socket.access import AccessAct
    from daemon.service.settings.file import Settings


class AccessFiles:
    """The files of the tank with these settings."""

    def __init__(self, path: Path) -> None:
        from daemon.access.operators import Operators, operators_at
        from daemon.access.sessions import Sessions, sessions_at
        from daemon.access.tokens import Tokens, tokens_at
        from daemon.access.untold import Untold, untold_at
        from daemon.clock import SystemClock, to_ms
        from daemon.service.settings.file import read_settings

        with errors():
            self.settings: Settings = read_settings(path)
        clock = SystemClock()
        self.utc_ms: Callable[[], int] = lambda: to_ms(clock.utc())
        record = self.settings.record.path
        self.operators: Operators = Operators(operators_at(record))
        self.sessions: Sessions = Sessions(sessions_at(record), self.utc_ms)
        self.tokens: Tokens = Tokens(tokens_at(record))
        self._untold = Untold(untold_at(record))

    @contextmanager
    def troubles(self, changed: Path) -> Iterator[None]:
        """Say what is wrong with the files, if anything is; `changed` is the one at hand."""
        from daemon.access.errors import UnreadableError

        try:
            yield
        except UnreadableError as error:
            raise RefusedError(str(error)) from error
        except OSError as error:
            raise RefusedError(
                f"{changed}: cannot be changed: {error.strerror or error}"
            ) from error

    def keep(self, what: AccessAct, about: str) -> None:
        """Have it stand in the audit that this was done. Raises `RefusedError` if it does not."""
        from daemon.access.errors import UnreadableError
        from daemon.access.untold import Change
        from daemon.api.socket.access import AccessRequest
        from daemon.api.socket.client import Client, DaemonUnreachableError

        by, where = who()[:120], _where()
        asked = AccessRequest(ask=what, about=about, who=by, where=where)
        try:
            if Client(self.settings.daemon.socket).ask(asked).ok:
                return
        except DaemonUnreachableError:
            pass
        change = Change(utc_ms=self.utc_ms(), who=by, where=where, what=what, about=about)
        try:
            self._untold.add(change)
        except (UnreadableError, OSError) as error:
            raise RefusedError(f"this was done, and the audit cannot be told: {error}") from error


def day(utc_ms: int) -> str:
    """The day of a moment on this machine's clock: `2026-03-02`."""
    return f"{datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone():%Y-%m-%d}"


def _where() -> str:
    # Under sudo the user is root: who has used it is in its own word.
    behind = os.environ.get("SUDO_USER")
    return f"{WHERE}, by sudo of {behind}"[:120] if behind else WHERE
