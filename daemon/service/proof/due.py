"""When a proof test is due, and what an overdue one brings about."""

from dataclasses import dataclass
from datetime import datetime

from daemon.clock import Clock
from daemon.control.protection.alarms import Sign
from daemon.control.protection.causes import PROOF_OVERDUE
from daemon.service.keeping.words import Words
from daemon.service.settings.file import Settings


@dataclass(frozen=True, slots=True)
class Due:
    """wanted: there is something to be proved. required: no run starts while it is overdue.

    at: when the next has to be done by, aware; None if none was ever passed. overdue: why one is
    due now, in words; None if it is not.
    """

    wanted: bool
    required: bool
    every_s: float
    at: datetime | None
    overdue: str | None


class Proving:
    """Whether a proof test is due, where there is something to be proved."""

    def __init__(self, settings: Settings, words: Words, clock: Clock) -> None:
        self._table = settings.proof
        self._wanted = settings.has_pins or settings.proof.required
        self._words = words
        self._clock = clock

    def due(self) -> Due:
        """How it stands now."""
        newest, table = self._words.newest_proof, self._table
        return Due(
            self._wanted,
            table.required,
            table.every,
            table.due(newest),
            table.overdue(newest, self._clock.utc()) if self._wanted else None,
        )

    def sign(self) -> Sign | None:
        """The cause, while one is overdue."""
        why = self.due().overdue
        return None if why is None else Sign(PROOF_OVERDUE, why)

    def keeps_from_starting(self) -> str | None:
        """Why no run may start, in words; None if it may."""
        return self.due().overdue if self._table.required else None
