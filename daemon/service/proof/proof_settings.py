"""The settings of the proof test: how often it is due, and whether a run waits for it."""

from datetime import UTC, datetime

from pydantic import Field, StrictBool

from daemon.api.quantities import DurationS
from daemon.record.proofs import Proof
from daemon.service.settings.table import Table

SECONDS_PER_DAY = 86_400.0


class ProofTable(Table):
    """How long a proof test holds, and whether a run may start without one that does.

    A quarter of a year is common practice for interlocks that are used little; the interval wants
    to be shorter where faults were found.
    """

    every: DurationS = Field(
        default=90 * SECONDS_PER_DAY, description="how long a proof test holds"
    )
    required: StrictBool = Field(default=False, description="whether a run waits for one")

    def due(self, newest: Proof | None) -> datetime | None:
        """By when the next has to be done, UTC; None if none ever passed."""
        if newest is None:
            return None
        return datetime.fromtimestamp(newest.made.utc_ms / 1000 + self.every, UTC)

    def overdue(self, newest: Proof | None, utc: datetime) -> str | None:
        """Why a proof test is due, in words; None if it is not. `newest` is the last that passed.

        A wall clock that is not set yet may say that it is not due: it is an hour's matter of a
        quarter's.
        """
        if newest is None:
            return "the ways to stop were never proved here"
        age_s = utc.timestamp() - newest.made.utc_ms / 1000
        if age_s <= self.every:
            return None
        days, every = age_s / SECONDS_PER_DAY, self.every / SECONDS_PER_DAY
        return f"the last was {days:.0f} days ago, one every {every:g} days is wanted"
