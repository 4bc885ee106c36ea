"""The operators: who may act on the page, kept beside the record, in a file of their own.

The record is what anyone who may look is shown; nothing of this is in it.
"""

import hmac
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from daemon.access.errors import BadOperatorError, UnreadableError
from daemon.access.names import ALLOWED, LONGEST_NAME, kept_name, same
from daemon.access.passwords import Hashed, hashed
from daemon.access.private_file import Watched, locked, read_private, write_private


@dataclass(frozen=True, slots=True)
class Operator:
    """A person who may act: by which name, since when (ms of UTC), and what is kept of a password.

    `mark` is another one with each new password; sessions are tied to it.
    """

    name: str
    since_utc_ms: int
    password: Hashed

    @property
    def mark(self) -> str:
        """What tells this password from the one before, and gives nothing of it away."""
        return hmac.digest(self.password.key, b"mark", "sha256").hex()


class _Kept(BaseModel):
    model_config = ConfigDict(extra="forbid")

    name: str = Field(min_length=1, max_length=LONGEST_NAME)
    since_utc_ms: int
    salt: str = Field(pattern="^([0-9a-f]{2}){16,64}$")
    key: str = Field(pattern="^([0-9a-f]{2}){32}$")
    # Bounds far above ours: a spoiled file costs an error, and not the machine's memory.
    cost: int = Field(ge=2**10, le=2**20)
    block: int = Field(ge=1, le=32)
    lanes: int = Field(ge=1, le=32)


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")

    operators: tuple[_Kept, ...]


def operators_at(record: Path) -> Path:
    """Where the operators of the tank with this record are kept."""
    return record.with_name(f"{record.name}.operators")


class Operators:
    """Those in the file at `path`, read anew when it has changed. Safe to share between threads."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._kept = Watched(path, self._read)

    def all(self) -> tuple[Operator, ...]:
        """All of them, in the order in which they came. Raises `UnreadableError`."""
        return self._kept.now()

    def find(self, name: str) -> Operator | None:
        """The one of this name, whatever its case; None where there is none."""
        wanted = same(name)
        return next((each for each in self.all() if same(each.name) == wanted), None)

    def add(self, name: str, password: str, utc_ms: int) -> bool:
        """Make an operator, or give one a new password; whether there was none of this name.

        Raises `BadOperatorError`, `UnreadableError`, OSError.
        """
        told = _name(name)
        made = Operator(told, utc_ms, hashed(password))
        with locked(self.path.parent):
            before = self._read()
            others = tuple(each for each in before if same(each.name) != same(told))
            self._write((*others, made))
        return len(others) == len(before)

    def remove(self, name: str) -> None:
        """Take an operator's right away. Raises `BadOperatorError`, `UnreadableError`, OSError."""
        with locked(self.path.parent):
            before = self._read()
            left = tuple(each for each in before if same(each.name) != same(name))
            if len(left) == len(before):
                known = ", ".join(each.name for each in before) or "nobody"
                raise BadOperatorError(f"{name!r} is no operator: {known} is")
            self._write(left)

    def _read(self) -> tuple[Operator, ...]:
        text = read_private(self.path)
        if text is None:
            return ()
        try:
            kept = _File.model_validate_json(text)
        except ValidationError as error:
            raise UnreadableError(
                f"{self.path}: holds no operators as tankhand keeps them"
            ) from error
        return tuple(
            Operator(
                each.name, each.since_utc_ms,
                Hashed(
                    bytes.fromhex(each.salt), bytes.fromhex(each.key),
                    each.cost, each.block, each.lanes,
                ),
            )
            for each in kept.operators
        )  # fmt: skip

    def _write(self, operators: tuple[Operator, ...]) -> None:
        kept = tuple(
            _Kept(
                name=each.name,
                since_utc_ms=each.since_utc_ms,
                salt=each.password.salt.hex(),
                key=each.password.key.hex(),
                cost=each.password.cost,
                block=each.password.block,
                lanes=each.password.lanes,
            )
            for each in operators
        )
        write_private(self.path, _File(operators=kept).model_dump_json())


def _name(text: str) -> str:
    """The name as it is kept. Raises `BadOperatorError`."""
    name = kept_name(text)
    if name is None:
        raise BadOperatorError(f"{text!r} is no operator's name: {ALLOWED}")
    return name
