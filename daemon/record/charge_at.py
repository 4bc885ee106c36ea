"""The charge that a bath had seen at a moment, as its account knew it then."""

from bisect import bisect_right
from dataclasses import dataclass
from itertools import accumulate

from sqlalchemy import Connection, func, select

from daemon.record import ledger
from daemon.record.series import samples
from daemon.record.summary import nah
from daemon.record.tables import bath, minute, run
from daemon.record.tables import ledger as entries

_BY_READINGS = (ledger.CHARGE, ledger.RUN_ENDED)
"""Kinds of entries that post what a run's readings have counted; their sum is the run's charge."""

_ROUNDING_S = 1e-5  # a sample's stored time may be this much off the moment it was taken at


@dataclass(frozen=True, slots=True)
class Passed:
    """Charge, A·h, that had passed by a moment, and the area, dm², of the parts it went to.

    utc_ms: the end of a run, or the moment of what was posted otherwise, whose area is 0.
    """

    utc_ms: int
    charge_ah: float
    area_dm2: float = 0.0


class ChargeHistory:
    """The bath's charge over time, on a connection that stays open as long as it is asked.

    Of a run that is under way at a moment it is what its readings had counted by then, to the
    reading. What a recount, a correction or a settlement entered later is charge of that later
    moment. A bath that is not there has none. Moments are the wall clock's: if that was set while a
    run was under way, moments of this run are off by as much.
    """

    def __init__(self, connection: Connection, bath_name: str) -> None:
        self._connection = connection
        of_bath = select(bath.c.id).where(bath.c.name == bath_name).scalar_subquery()
        self._runs = connection.execute(
            select(
                run.c.id,
                run.c.started_utc_ms,
                run.c.ended_utc_ms,
                run.c.charge_nah,
                run.c.area_dm2,
            )
            .where(run.c.bath_id == of_bath)
            .order_by(run.c.id)
        ).all()
        # By minutes of runs there are hundreds of thousands; of all others there are few.
        others = connection.execute(
            select(entries.c.utc_ms, entries.c.charge_nah).where(
                entries.c.bath_id == of_bath, entries.c.kind.not_in(_BY_READINGS)
            )
        ).all()
        ended = [
            (row.ended_utc_ms, row.charge_nah) for row in self._runs if row.ended_utc_ms is not None
        ]
        self._others = [Passed(ms, charge / 1e9) for ms, charge in others if charge]
        posted = sorted((int(ms), int(charge)) for ms, charge in (*ended, *others))
        self._posted_ms = [ms for ms, _ in posted]
        self._sums_nah = list(accumulate((charge for _, charge in posted), initial=0))
        self._started_ms = sorted(row.started_utc_ms for row in self._runs)
        self._ended_ms = sorted(ms for ms, _ in ended)

    def at(self, utc_ms: int) -> float:
        """The charge at a moment, ms since 1970 UTC; in A·h."""
        nah_then = self._sums_nah[bisect_right(self._posted_ms, utc_ms)]
        started = bisect_right(self._started_ms, utc_ms)
        if started > bisect_right(self._ended_ms, utc_ms):
            nah_then += sum(
                self._counted_nah(row.id, (utc_ms - row.started_utc_ms) / 1000)
                for row in self._runs
                if row.started_utc_ms <= utc_ms
                and (row.ended_utc_ms is None or utc_ms < row.ended_utc_ms)
            )
        return nah_then / 1e9

    def passed(self, until_utc_ms: int) -> list[Passed]:
        """All that had passed until a moment, in the order of time; its sum is what `at` gives."""
        found = [each for each in self._others if each.utc_ms <= until_utc_ms]
        for row in self._runs:
            if row.ended_utc_ms is not None and row.ended_utc_ms <= until_utc_ms:
                found.append(Passed(row.ended_utc_ms, row.charge_nah / 1e9, row.area_dm2))
            elif row.started_utc_ms <= until_utc_ms:
                # The part is in the bath still, and has carried nothing off.
                counted = self._counted_nah(row.id, (until_utc_ms - row.started_utc_ms) / 1000)
                found.append(Passed(until_utc_ms, counted / 1e9))
        return sorted(found, key=lambda each: each.utc_ms)

    def _counted_nah(self, run_id: int, elapsed_s: float) -> int:
        """What the run had counted so long after its start, n A·h."""
        until_s = elapsed_s + _ROUNDING_S
        from_s = self._connection.execute(
            select(func.max(minute.c.first_s)).where(
                minute.c.run_id == run_id, minute.c.first_s <= until_s
            )
        ).scalar_one()
        charge_ah = 0.0
        # The first reading of the minute may be kept as a little before what its row says.
        from_s = max(0.0, (from_s or 0.0) - 2 * _ROUNDING_S)
        for sample in samples(self._connection, run_id, from_s, until_s):
            charge_ah = sample.charge_ah
        return nah(charge_ah)
