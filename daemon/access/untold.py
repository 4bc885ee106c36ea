"""What has changed of who may what while no daemon was there to keep it in the audit.

It waits in a file beside the record, and the next daemon takes it in: so the operator who is made
before the first start stands in the audit too.
"""

from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from daemon.access.errors import UnreadableError
from daemon.access.private_file import locked, read_private, write_private


class Change(BaseModel):
    """Something that was done, as the audit has it: when (ms of UTC), by whom, from where, what."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    utc_ms: int
    who: str
    where: str
    what: str
    about: str


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")

    changes: tuple[Change, ...]


def untold_at(record: Path) -> Path:
    """Where it waits for the audit of this record."""
    return record.with_name(f"{record.name}.untold")


class Untold:
    """What waits in the file at `path`. All of it raises `UnreadableError` and OSError."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def all(self) -> tuple[Change, ...]:
        """What waits, the oldest first."""
        text = read_private(self.path)
        if text is None:
            return ()
        try:
            return _File.model_validate_json(text).changes
        except ValidationError as error:
            raise UnreadableError(f"{self.path}: holds nothing as tankhand keeps it") from error

    def add(self, change: Change) -> None:
        """Have one more wait, on the disk."""
        with locked(self.path.parent):
            write_private(self.path, _File(changes=(*self.all(), change)).model_dump_json())

    def told(self, changes: tuple[Change, ...]) -> None:
        """Forget those that the audit has now; what has come since then waits on."""
        with locked(self.path.parent):
            left = self.all()[len(changes) :]
            if left:
                write_private(self.path, _File(changes=left).model_dump_json())
            else:
                self.path.unlink(missing_ok=True)
