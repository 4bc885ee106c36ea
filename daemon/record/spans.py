"""Seals a run's minutes: block, summaries and ledger entry, all in the caller's transaction."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

from sqlalchemy import Connection, Row, Select, Table, bindparam, delete, insert, select

from daemon.record import ledger
from daemon.record.codec import decode, encode
from daemon.record.entries import Sample
from daemon.record.errors import UnencodableSampleError
from daemon.record.summary import SECONDS_PER_MINUTE, Band, Summary, combine, nah, summarise
from daemon.record.tables import block, eight_hours, hour, journal, minute, ten_minutes

LEVELS: tuple[tuple[Table, int], ...] = (
    (eight_hours, 480),
    (hour, 60),
    (ten_minutes, 10),
    (minute, 1),
)
"""The tables of spans and how many minutes each spans, coarsest first."""

SUMMARY_COLUMNS = tuple(c.name for c in hour.columns if c.name not in {"run_id", "number"})
"""What a table of spans holds besides its key."""


def minute_of(sample: Sample) -> int:
    """The number of the run's minute in which the sample lies; 0 is the first.

    Raises UnencodableSampleError when its time is no finite number.
    """
    try:
        return int(sample.elapsed_s // SECONDS_PER_MINUTE)
    except (ValueError, OverflowError) as error:
        raise UnencodableSampleError(f"elapsed_s is {sample.elapsed_s}") from error


@dataclass(slots=True)
class OpenRun:
    """A run under way, as far as it is not sealed.

    `samples` are those of minute `minute`, of which the last `fresh` are in no journal row yet;
    `before` is the last sample before them; `posted_nah` is what the ledger has of the run.
    """

    run_id: int
    bath_id: int
    minute: int = 0
    samples: list[Sample] = field(default_factory=list)
    fresh: int = 0
    before: Sample | None = None
    posted_nah: int = 0

    def copy(self) -> "OpenRun":
        """One that can change without this one changing."""
        return replace(self, samples=list(self.samples))


def seal(connection: Connection, run: OpenRun, following: int | None, utc_ms: int) -> None:
    """Close the run's minute; `following` is the one it goes on with, None at its end.

    Nothing is written for a minute without samples. Raises UnencodableSampleError.
    """
    if run.samples:
        _write_minute(connection, run)
        for table, minutes in LEVELS[:-1]:
            if following is None or following // minutes != run.minute // minutes:
                _close_span(connection, table, minutes, run.run_id, run.minute // minutes)
        _post(connection, run, utc_ms)
        connection.execute(delete(journal).where(journal.c.run_id == run.run_id))
        run.before = run.samples[-1]
        run.samples, run.fresh = [], 0
    if following is not None:
        run.minute = following


def last_sealed(connection: Connection, run_id: int) -> Sample | None:
    """The last sample of the run's last sealed minute, None before there is one."""
    newest = connection.execute(
        select(block.c.samples)
        .join(minute, minute.c.block_id == block.c.id)
        .where(minute.c.run_id == run_id)
        .order_by(minute.c.number.desc())
        .limit(1)
    ).scalar_one_or_none()
    return None if newest is None else decode(newest, run_id)[-1]


def to_row(summary: Summary) -> dict[str, Any]:
    """A summary as the columns of a table of spans, without key."""
    bands = (summary.current, summary.voltage, summary.set_current, summary.temperature)
    values = (
        summary.samples,
        summary.first_s,
        summary.last_s,
        *(v for band in bands for v in (band.least, band.mean, band.greatest, band.covered_s)),
        summary.charge_nah,
    )
    return dict(zip(SUMMARY_COLUMNS, values, strict=True))


def read_summaries(
    connection: Connection, table: Table, run_id: int, first: int, last: int
) -> Sequence[Row[Any]]:
    """A run's spans from number `first` to `last`, in order: number, then the summary."""
    asked = {"run": run_id, "first": first, "last": last}
    return connection.execute(_select_summaries(table), asked).all()


@cache
def _select_summaries(table: Table) -> Select[Any]:
    # Kept, since for a few rows putting the statement together takes longer than reading them.
    columns = (table.c.number, *(table.c[name] for name in SUMMARY_COLUMNS))
    between = table.c.number.between(bindparam("first"), bindparam("last"))
    return (
        select(*columns).where(table.c.run_id == bindparam("run"), between).order_by(table.c.number)
    )


def from_row(row: Sequence[Any]) -> Summary:
    """The summary in a row of `read_summaries`."""
    _, samples, first_s, last_s, *values, charge_nah = row
    least, mean, greatest, covered_s = values[::4], values[1::4], values[2::4], values[3::4]
    # A channel that older rows do not have covers nothing in them.
    covered_s = [each or 0.0 for each in covered_s]
    current, voltage, set_current, temperature = map(Band, least, mean, greatest, covered_s)
    return Summary(samples, first_s, last_s, current, voltage, set_current, charge_nah, temperature)


def _write_minute(connection: Connection, run: OpenRun) -> None:
    add_block = insert(block).values(samples=encode(run.samples)).returning(block.c.id)
    block_id = connection.execute(add_block).scalar_one()
    row = to_row(summarise(run.samples, run.before))
    connection.execute(
        insert(minute).values(run_id=run.run_id, number=run.minute, block_id=block_id, **row)
    )


def _post(connection: Connection, run: OpenRun, utc_ms: int) -> None:
    """Post the minute's charge: the difference of two whole numbers, so that nothing drifts."""
    last = run.samples[-1]
    charge_nah = nah(last.charge_ah)
    if charge_nah != run.posted_nah:
        text = f"run {run.run_id} to {last.elapsed_s:.2f} s"
        added_nah = charge_nah - run.posted_nah
        ledger.post(connection, run.bath_id, run.run_id, utc_ms, ledger.CHARGE, added_nah, text)
        run.posted_nah = charge_nah


def _close_span(
    connection: Connection, table: Table, minutes: int, run_id: int, number: int
) -> None:
    """Write a longer span's row from its minutes; a span is written once, when it is over."""
    first = number * minutes
    rows = read_summaries(connection, minute, run_id, first, first + minutes - 1)
    summary = combine([from_row(row) for row in rows])
    connection.execute(insert(table).values(run_id=run_id, number=number, **to_row(summary)))
