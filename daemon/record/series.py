"""A run's readings for a chart or an export, from the coarsest level that fills the screen.

Whole spans (eight hours, hours, ten minutes, minutes) cost a row each, however many samples they
had; only a close look unpacks samples. What is not closed yet at one level is made up from the
finer ones.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from sqlalchemy import Connection, Table, select

from daemon.record.codec import decode_columns
from daemon.record.entries import Sample
from daemon.record.spans import LEVELS, from_row, last_sealed, read_summaries
from daemon.record.summary import (
    SECONDS_PER_MINUTE,
    Band,
    Columns,
    Summary,
    combine,
    summarise_columns,
)
from daemon.record.tables import block, journal, minute

FILL = 6
"""A level fills the screen when it has at least one span for every `FILL` points asked for."""

_ROUNDING_S = 1e-5  # a sample's stored time may be this much after the minute it was taken in


@dataclass(frozen=True, slots=True)
class Bands:
    """One channel along a series, in its unit; None where it was not read."""

    least: tuple[float | None, ...]
    mean: tuple[float | None, ...]
    greatest: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Series:
    """A run's readings, point by point; all tuples have the same length.

    `level` names where they come from: "eight_hours", "hour", "ten_minutes", "minute" or "sample".
    A point stands for the samples from `first_s` to `last_s`, s from the run's start; `charge_ah`
    is the run's charge at `last_s`. Means are weighted by time, see `daemon.record.summary`.
    """

    level: str
    first_s: tuple[float, ...]
    last_s: tuple[float, ...]
    current_a: Bands
    voltage_v: Bands
    set_current_a: Bands
    charge_ah: tuple[float, ...]
    temperature_c: Bands


def series(connection: Connection, run_id: int, from_s: float, to_s: float, points: int) -> Series:
    """The run from `from_s` to `to_s` (s from its start) in at most `points` points.

    At the levels of spans, a span that overlaps the ends is there whole. A time without samples has
    no point, so a run that does not exist has none. Raises ValueError unless
    0 <= from_s < to_s and points >= 1.
    """
    if not 0 <= from_s < to_s:
        raise ValueError(f"from_s must be at least 0 and below to_s, got {from_s} and {to_s}")
    if points < 1:
        raise ValueError(f"points must be at least 1, got {points}")
    minutes_asked = (to_s - from_s) / SECONDS_PER_MINUTE
    for place, (table, minutes) in enumerate(LEVELS):
        if minutes_asked / minutes * FILL >= points:
            summaries = _from_spans(connection, run_id, from_s, to_s, LEVELS[place:])
            return _series(table.name, _merged(summaries, points))
    return _series("sample", _from_samples(connection, run_id, from_s, to_s, points))


def samples(connection: Connection, run_id: int, from_s: float, to_s: float) -> Iterator[Sample]:
    """Every sample of the run with from_s <= elapsed_s < to_s, in order, a minute at a time."""
    for columns in _columns(connection, run_id, from_s, to_s):
        for row in zip(*columns, strict=True):
            sample = Sample(run_id, *row)
            if from_s <= sample.elapsed_s < to_s:
                yield sample


def _from_spans(
    connection: Connection,
    run_id: int,
    from_s: float,
    to_s: float,
    levels: Sequence[tuple[Table, int]],
) -> list[Summary]:
    """A summary for each span of the first of `levels`; what is not closed there, from the rest."""
    coarse = levels[0][1]
    first_minute = int(from_s / SECONDS_PER_MINUTE // coarse) * coarse
    last_minute = int(to_s // SECONDS_PER_MINUTE)
    pieces: list[tuple[int, Summary]] = []
    for table, minutes in levels:
        if first_minute > last_minute:
            break
        first, last = first_minute // minutes, last_minute // minutes
        rows = read_summaries(connection, table, run_id, first, last)
        pieces += [(row[0] * minutes // coarse, from_row(row)) for row in rows]
        if rows:
            first_minute = (rows[-1][0] + 1) * minutes
    pieces += _journal_piece(connection, run_id, first_minute, to_s, coarse)
    return [
        combine([summary for _, summary in group])
        for _, group in groupby(pieces, lambda piece: piece[0])
    ]


def _journal_piece(
    connection: Connection, run_id: int, first_minute: int, to_s: float, coarse: int
) -> list[tuple[int, Summary]]:
    """The unfinished minute as one summary with its span's number, if it lies before `to_s`."""
    columns = _joined(_journalled(connection, run_id))
    times = columns[0]
    if not times or times[0] >= to_s or times[-1] < first_minute * SECONDS_PER_MINUTE:
        return []
    before = last_sealed(connection, run_id)
    if before is not None:
        columns = _joined([tuple([value] for value in before[1:]), columns])  # type: ignore[list-item]
    number = max(int(times[0] // SECONDS_PER_MINUTE), first_minute)
    return [(number // coarse, summarise_columns(columns, skip=0 if before is None else 1))]


def _from_samples(
    connection: Connection, run_id: int, from_s: float, to_s: float, points: int
) -> list[Summary]:
    """Summaries of equal lengths of time; at most `points`, none for a time without samples."""
    columns = _joined(_columns(connection, run_id, from_s, to_s))
    times = columns[0]
    first, end = bisect_left(times, from_s), bisect_left(times, to_s)
    if end - first <= points:
        edges = list(range(first, end + 1))
    else:
        width_s = (to_s - from_s) / points
        edges = [bisect_left(times, from_s + k * width_s, first, end) for k in range(points)]
        edges.append(end)
    summaries = []
    for begin, stop in pairwise(edges):
        if stop > begin:
            skip = min(begin, 1)
            piece = tuple(column[begin - skip : stop] for column in columns)
            summaries.append(summarise_columns(piece, skip))  # type: ignore[arg-type]
    return summaries


def _columns(connection: Connection, run_id: int, from_s: float, to_s: float) -> Iterator[Columns]:
    """The blocks and journal rows that may hold samples of this time, in order."""
    first = int(max(0.0, from_s - _ROUNDING_S) // SECONDS_PER_MINUTE)
    blobs = connection.execute(
        select(block.c.samples)
        .join(minute, minute.c.block_id == block.c.id)
        .where(minute.c.run_id == run_id)
        .where(minute.c.number.between(first, int(to_s // SECONDS_PER_MINUTE)))
        .order_by(minute.c.number),
        execution_options={"yield_per": 64},
    ).scalars()
    yield from map(decode_columns, blobs)
    yield from (c for c in _journalled(connection, run_id) if c[0][0] < to_s)


def _journalled(connection: Connection, run_id: int) -> Iterator[Columns]:
    blobs = connection.execute(
        select(journal.c.samples).where(journal.c.run_id == run_id).order_by(journal.c.id)
    ).scalars()
    return map(decode_columns, blobs)


def _joined(pieces: Iterable[Columns]) -> Columns:
    """Pieces one after the other; six empty columns without any."""
    joined: tuple[list[float | None], ...] = ([], [], [], [], [], [])
    for piece in pieces:
        for column, more in zip(joined, piece, strict=True):
            column += more
    return joined  # type: ignore[return-value]


def _merged(summaries: list[Summary], points: int) -> list[Summary]:
    """Neighbours combined until there are at most `points`."""
    together = -(-len(summaries) // points)
    if together <= 1:
        return summaries
    return [combine(summaries[k : k + together]) for k in range(0, len(summaries), together)]


def _series(level: str, summaries: list[Summary]) -> Series:
    return Series(
        level=level,
        first_s=tuple(s.first_s for s in summaries),
        last_s=tuple(s.last_s for s in summaries),
        current_a=_bands([s.current for s in summaries]),
        voltage_v=_bands([s.voltage for s in summaries]),
        set_current_a=_bands([s.set_current for s in summaries]),
        charge_ah=tuple(s.charge_nah / 1e9 for s in summaries),
        temperature_c=_bands([s.temperature for s in summaries]),
    )


def _bands(bands: list[Band]) -> Bands:
    return Bands(
        least=tuple(b.least for b in bands),
        mean=tuple(b.mean for b in bands),
        greatest=tuple(b.greatest for b in bands),
    )
