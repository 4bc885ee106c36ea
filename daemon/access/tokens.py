"""Tokens for machines: what a program shows in place of a password, kept beside the record.

A token is shown once, when it is made. Here stands its hash alone, so that this file opens nothing.
"""

import hmac
from pathlib import Path
from typing import Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from daemon.access.errors import BadTokenError, UnreadableError
from daemon.access.names import ALLOWED, LONGEST_NAME, kept_name, same
from daemon.access.private_file import Watched, locked, read_private, write_private
from daemon.access.secret import new_secret, sha256

TokenRight = Literal["read", "acknowledge", "command"]
"""What a token may do, each more than the one before: look, acknowledge alarms too, do all."""

TOKEN_RIGHTS: tuple[TokenRight, ...] = get_args(TokenRight)

MARK = "tankhand_"
"""How each begins, so that people and programs that look for secrets know one by its looks."""

MOST = 100
"""Tokens at a time; each request is held against all of them."""

CLOCK_SLACK_MS = 300_000
"""ms by which a clock may stand before a token's making and the token still hold."""


class Token(BaseModel):
    """A machine's token: its name, what it may do, and since when; moments in ms of UTC.

    From `ends_utc_ms` on it is worth nothing; None where it does not end by itself.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(min_length=1, max_length=LONGEST_NAME)
    right: TokenRight
    since_utc_ms: int
    ends_utc_ms: int | None
    sha256: str = Field(pattern="^[0-9a-f]{64}$")

    def holds(self, utc_ms: int) -> bool:
        """Whether it is worth something at that moment.

        One that ends needs a clock that goes right: a moment before it was made proves that it was
        set back.
        """
        if self.ends_utc_ms is None:
            return True
        return self.since_utc_ms - CLOCK_SLACK_MS <= utc_ms < self.ends_utc_ms


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")

    tokens: tuple[Token, ...]


def tokens_at(record: Path) -> Path:
    """Where the tokens of the tank with this record are kept."""
    return record.with_name(f"{record.name}.tokens")


class Tokens:
    """Those in the file at `path`, read anew when it has changed. Safe to share between threads."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._kept = Watched(path, self._read)

    def all(self) -> tuple[Token, ...]:
        """All of them, in the order in which they came. Raises `UnreadableError`."""
        return self._kept.now()

    def find(self, shown: str, utc_ms: int) -> Token | None:
        """The token that a machine has shown; None where it is none that holds at that moment.

        It takes as long whichever it is. Raises `UnreadableError`.
        """
        wanted, found = sha256(shown), None
        for each in self.all():
            if hmac.compare_digest(each.sha256, wanted):
                found = each
        return found if found is not None and found.holds(utc_ms) else None

    def add(self, name: str, right: TokenRight, utc_ms: int, ends_utc_ms: int | None = None) -> str:
        """Make a token and give it, which nothing does a second time.

        Raises `BadTokenError`, `UnreadableError`, OSError.
        """
        told = kept_name(name)
        if told is None:
            raise BadTokenError(f"{name!r} is no token's name: {ALLOWED}")
        shown = MARK + new_secret()
        made = Token(
            name=told,
            right=right,
            since_utc_ms=utc_ms,
            ends_utc_ms=ends_utc_ms,
            sha256=sha256(shown),
        )
        with locked(self.path.parent):
            before = self._read()
            if any(same(each.name) == same(told) for each in before):
                raise BadTokenError(
                    f"there is a token {told!r} already: revoke it first, or take another name"
                )
            if len(before) >= MOST:
                raise BadTokenError(f"there are {MOST} tokens, which is the most: revoke one first")
            self._write((*before, made))
        return shown

    def revoke(self, name: str) -> Token:
        """End a token, and give what it was. Raises `BadTokenError`, `UnreadableError`, OSError."""
        with locked(self.path.parent):
            before = self._read()
            ended = [each for each in before if same(each.name) == same(name)]
            if not ended:
                known = ", ".join(each.name for each in before) or "none"
                raise BadTokenError(f"{name!r} is no token: there is {known}")
            self._write(tuple(each for each in before if each not in ended))
        return ended[0]

    def _read(self) -> tuple[Token, ...]:
        text = read_private(self.path)
        if text is None:
            return ()
        try:
            return _File.model_validate_json(text).tokens
        except ValidationError as error:
            raise UnreadableError(f"{self.path}: holds no tokens as tankhand keeps them") from error

    def _write(self, tokens: tuple[Token, ...]) -> None:
        write_private(self.path, _File(tokens=tokens).model_dump_json())
