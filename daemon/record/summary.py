"""Pure: what a span of samples comes to, and what spans come to together.

Means are weighted by time. Each interval between two samples belongs to the later one; a channel's
integral over an interval is its trapezoid, and counts where both ends have a value and lie no
further apart than the gap limit. This is how charge is counted, so over a span without gaps the
mean current times its covered seconds, over 3600, is the charge of that span. A channel with
values but no such interval (its first reading) has their plain mean, which covers 0 s.
"""

from collections.abc import Iterable, Sequence
from operator import add, mul, sub
from typing import NamedTuple

from daemon.record.entries import Sample

SECONDS_PER_MINUTE = 60
GAP_LIMIT_S = 5.0
"""Two samples further apart than this are not joined, s."""


Columns = tuple[
    Sequence[float],
    Sequence[float | None],
    Sequence[float | None],
    Sequence[float],
    Sequence[float],
    Sequence[float | None],
]
"""`Sample`'s fields after the run: time s, current A, voltage V, set current A, A·h, °C."""


class Band(NamedTuple):
    """One channel over a span, in the channel's unit; None throughout when it was never read.

    `covered_s` is the time that the mean speaks for, s.
    """

    least: float | None = None
    mean: float | None = None
    greatest: float | None = None
    covered_s: float = 0.0


class Summary(NamedTuple):
    """A span of one run: its samples' number and first and last time, bands, and charge at its end.

    `charge_nah` is the run's charge so far in whole n A·h, so that differences add up exactly.
    """

    samples: int
    first_s: float
    last_s: float
    current: Band
    voltage: Band
    set_current: Band
    charge_nah: int
    temperature: Band = Band()


def nah(charge_ah: float) -> int:
    """A·h as whole n A·h (3.6 µC), the unit in which charge is posted: sums of it are exact."""
    return round(charge_ah * 1e9)


def summarise(
    samples: Sequence[Sample], before: Sample | None, gap_limit_s: float = GAP_LIMIT_S
) -> Summary:
    """Sum up at least one sample; `before` is the run's sample just before them, if there is one.

    Raises ValueError without samples.
    """
    joined = [*([before] if before else []), *samples]
    return summarise_columns(columns_of(joined), len(joined) - len(samples), gap_limit_s)


def columns_of(samples: Sequence[Sample]) -> Columns:
    """Samples as columns, without the run; raises ValueError without any."""
    _, *columns = zip(*samples, strict=True)
    return tuple(columns)  # type: ignore[return-value]


def summarise_columns(columns: Columns, skip: int = 0, gap_limit_s: float = GAP_LIMIT_S) -> Summary:
    """The same for samples as columns, of which the first `skip` (0 or 1) lie before the span."""
    times, current, voltage, set_current, charge, temperature = columns
    steps = list(map(sub, times[1:], times))
    joined = max(steps, default=0.0) <= gap_limit_s
    return Summary(
        samples=len(times) - skip,
        first_s=times[skip],
        last_s=times[-1],
        current=_band(current, skip, steps, joined, gap_limit_s),
        voltage=_band(voltage, skip, steps, joined, gap_limit_s),
        set_current=_band(set_current, skip, steps, joined, gap_limit_s),
        charge_nah=nah(charge[-1]),
        temperature=_band(temperature, skip, steps, joined, gap_limit_s),
    )


def combine(summaries: Sequence[Summary]) -> Summary:
    """The summary of consecutive spans of one run together; raises ValueError without any."""
    if not summaries:
        raise ValueError("no summaries to combine")
    if len(summaries) == 1:
        return summaries[0]
    return Summary(
        samples=sum(s.samples for s in summaries),
        first_s=summaries[0].first_s,
        last_s=summaries[-1].last_s,
        current=_combined(s.current for s in summaries),
        voltage=_combined(s.voltage for s in summaries),
        set_current=_combined(s.set_current for s in summaries),
        charge_nah=summaries[-1].charge_nah,
        temperature=_combined(s.temperature for s in summaries),
    )


def _band(
    values: Sequence[float | None],
    skip: int,
    steps: Sequence[float],
    joined: bool,
    gap_limit_s: float,
) -> Band:
    # A skipped value belongs to the span before: it opens an interval and counts no further.
    own = values[skip:]
    if joined and None not in values:
        return _full_band(own, values, steps)  # type: ignore[arg-type]
    present = [v for v in own if v is not None]
    if not present:
        return Band()
    doubled = covered = 0.0
    for a, b, step in zip(values, values[1:], steps, strict=False):
        if a is not None and b is not None and step <= gap_limit_s:
            doubled += (a + b) * step
            covered += step
    mean = doubled / 2 / covered if covered > 0 else sum(present) / len(present)
    return Band(min(present), mean, max(present), covered)


def _full_band(own: Sequence[float], values: Sequence[float], steps: Sequence[float]) -> Band:
    """The same where nothing is missing, which is nearly always: several times as fast."""
    covered = sum(steps)
    if covered > 0:
        mean = sum(map(mul, map(add, values[1:], values), steps)) / 2 / covered
    else:
        mean = sum(own) / len(own)
    return Band(min(own), mean, max(own), covered)


def _combined(bands: Iterable[Band]) -> Band:
    least: list[float] = []
    greatest: list[float] = []
    means: list[float] = []
    integral = covered = 0.0
    for band in bands:
        if band.least is None or band.mean is None or band.greatest is None:
            continue
        least.append(band.least)
        greatest.append(band.greatest)
        means.append(band.mean)
        integral += band.mean * band.covered_s
        covered += band.covered_s
    if not means:
        return Band()
    mean = integral / covered if covered > 0 else sum(means) / len(means)
    return Band(min(least), mean, max(greatest), covered)
