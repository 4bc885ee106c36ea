"""Sessions: who has signed in, on which browser, and until when.

A browser holds a random token; here stands its hash alone, so that this file opens nothing. They
survive the page's restart and the machine's. The wall clock ages them, and one that was set back
ends those that it makes younger than new.
"""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from daemon.access.errors import UnreadableError
from daemon.access.operators import Operator
from daemon.access.private_file import Watched, locked, read_private, write_private
from daemon.access.secret import new_secret, sha256

IDLE_S = 12 * 3600.0
"""Real s without a look or a press: a night at the tank. What a page's script asks is no look."""

LONGEST_S = 7 * 86_400.0
"""Real s from signing in on; NIST SP 800-63B-4, 2.1.3, allows 30 days at most."""

SEEN_EVERY_S = 300.0
"""Real s between two notes of a look, which are writes to a card."""

CLOCK_SLACK_S = 300.0
"""Real s by which a clock may be set back without ending sessions."""

MOST = 50
"""Sessions at a time; the oldest ends for one more."""


class Session(BaseModel):
    """One browser that has signed in. Moments in ms of UTC; `mark` is the operator's."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    token_sha256: str
    name: str
    mark: str
    where: str
    began_utc_ms: int
    seen_utc_ms: int

    def lives(self, utc_ms: int) -> bool:
        """Whether it has neither been idle nor lasted for too long."""
        lasted_s = (utc_ms - self.began_utc_ms) / 1000
        idle_s = (utc_ms - self.seen_utc_ms) / 1000
        return -CLOCK_SLACK_S <= lasted_s < LONGEST_S and -CLOCK_SLACK_S <= idle_s < IDLE_S


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")

    sessions: tuple[Session, ...]


def sessions_at(record: Path) -> Path:
    """Where the sessions of the page over this record are kept."""
    return record.with_name(f"{record.name}.sessions")


class Sessions:
    """Those in the file at `path`; `utc_ms` is the wall clock. Safe to share between threads.

    A file that cannot be used holds none: everybody signs in anew. What changes it raises OSError.
    """

    def __init__(self, path: Path, utc_ms: Callable[[], int]) -> None:
        self.path = path
        self._utc_ms = utc_ms
        self._kept = Watched(path, self._read)

    def living(self) -> tuple[Session, ...]:
        """Those that have not run out, the oldest first."""
        return tuple(each for each in self._kept.now() if each.lives(self._utc_ms()))

    def find(self, token: str) -> Session | None:
        """The session of a browser's token; None where it has none that lives."""
        wanted = sha256(token)
        return next((each for each in self.living() if each.token_sha256 == wanted), None)

    def begin(self, operator: Operator, where: str) -> str:
        """Begin one for an operator, from an address; gives its new token."""
        token, now = new_secret(), self._utc_ms()
        made = Session(
            token_sha256=sha256(token), name=operator.name, mark=operator.mark, where=where,
            began_utc_ms=now, seen_utc_ms=now,
        )  # fmt: skip
        self._change(lambda known: (*known, made)[-MOST:])
        return token

    def look(self, session: Session) -> None:
        """Note now and then, and in nobody's way, that its operator has looked or pressed."""
        now = self._utc_ms()
        if now - session.seen_utc_ms < SEEN_EVERY_S * 1000:
            return
        seen = session.model_copy(update={"seen_utc_ms": now})
        # A full disk or a command that changes it just now: then at the next look.
        with suppress(OSError):
            self._change(
                lambda known: tuple(
                    seen if each.token_sha256 == seen.token_sha256 else each for each in known
                ),
                wait=False,
            )

    def end(self, token: str) -> None:
        """End the session of a token, if it has one."""
        ended = sha256(token)
        if any(each.token_sha256 == ended for each in self.living()):
            self._change(lambda known: tuple(x for x in known if x.token_sha256 != ended))

    def end_all(self, name: str | None = None) -> int:
        """End those of one operator, or all; how many lived."""
        lived = len([each for each in self.living() if name in (None, each.name)])
        self._change(lambda known: tuple(x for x in known if name not in (None, x.name)))
        return lived

    def _change(
        self, change: Callable[[tuple[Session, ...]], tuple[Session, ...]], *, wait: bool = True
    ) -> None:
        with locked(self.path.parent, wait=wait):
            now = self._utc_ms()
            living = tuple(each for each in self._read() if each.lives(now))
            write_private(self.path, _File(sessions=change(living)).model_dump_json())

    def _read(self) -> tuple[Session, ...]:
        try:
            text = read_private(self.path)
            return () if text is None else _File.model_validate_json(text).sessions
        except (UnreadableError, ValidationError):
            return ()
