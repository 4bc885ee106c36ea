"""Counting a log's charge in one pass, however long it is: both directions, gaps and doubt apart.

The rules are those of `daemon.control.charge`, made for logs of other loggers: their current may be
negative or a mean, and their clock may have been set back. Charge is A·s here until it is told.
"""

from collections.abc import Iterable
from dataclasses import astuple, dataclass
from enum import StrEnum
from itertools import groupby, pairwise
from operator import itemgetter
from statistics import median

from daemon.chemistry.constants import COULOMBS_PER_AH
from daemon.chemistry.uncertainty import (
    Budget,
    Counted,
    MeterDoubt,
    Share,
    between_readings_as,
    charge_budget,
)

GREATEST_GROUPS = 10_000
"""More groups than this are no groups but a column of readings."""

Reading = tuple[float, float, str]
"""Seconds, A, and the group that the interval before this reading belongs to."""


class CurrentIs(StrEnum):
    """What a logged current says: the current at its stamp, or the mean since the stamp before."""

    SAMPLE = "sample"
    MEAN = "mean"


@dataclass(frozen=True, slots=True)
class Rule:
    """How to count: what the current is, and above which interval, s, nothing is known of it."""

    current_is: CurrentIs
    gap_limit_s: float


@dataclass(frozen=True, slots=True)
class Tally:
    """What a span of a log comes to. Every field adds up, so spans add up to a log.

    in_as and out_as: charge of positive and of negative current, both at least 0, A·s. covered_s:
    the time they were counted over, s; squares_s2: its intervals squared and added, s². steps_a2s2:
    each interval times the change of current over it, squared and added, A²·s². gaps, gap_s: number
    of gaps, and their seconds; gap_in_as, gap_out_as: the most that can have passed in them, A·s.
    repeated: readings with the stamp before once more. behind: readings older than the one before
    by no more than the gap limit. set_back: readings older by more, where counting began anew.
    """

    readings: int = 0
    in_as: float = 0.0
    out_as: float = 0.0
    covered_s: float = 0.0
    squares_s2: float = 0.0
    steps_a2s2: float = 0.0
    gaps: int = 0
    gap_s: float = 0.0
    gap_in_as: float = 0.0
    gap_out_as: float = 0.0
    repeated: int = 0
    behind: int = 0
    set_back: int = 0

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(*(a + b for a, b in zip(astuple(self), astuple(other), strict=True)))

    @property
    def in_ah(self) -> float:
        """Charge of positive current, A·h."""
        return self.in_as / COULOMBS_PER_AH

    @property
    def out_ah(self) -> float:
        """Charge of negative current, A·h, at least 0."""
        return self.out_as / COULOMBS_PER_AH

    @property
    def net_ah(self) -> float:
        """What positive current brought less what negative current took, A·h."""
        return (self.in_as - self.out_as) / COULOMBS_PER_AH

    @property
    def gap_least_ah(self) -> float:
        """The least that can have passed in the gaps, A·h: 0, or all the negative current could."""
        return (0.0 - self.gap_out_as) / COULOMBS_PER_AH  # 0, and not -0

    @property
    def gap_greatest_ah(self) -> float:
        """The most that can have passed in the gaps, A·h."""
        return self.gap_in_as / COULOMBS_PER_AH

    def budget(self, doubt: MeterDoubt) -> Budget:
        """The net charge, A·h, with the middle of its gaps, and how sure it is.

        To the meter's doubt and the gaps' comes what nobody saw between two samples.
        """
        counted = Counted(
            self.net_ah, self.covered_s, self.squares_s2, self.gap_least_ah, self.gap_greatest_ah
        )
        charge = charge_budget(counted, doubt)
        between_as = between_readings_as(self.steps_a2s2, self.squares_s2, doubt.noise_a)
        between = Share("between rows", between_as / COULOMBS_PER_AH)
        return Budget(charge.value, (*charge.shares, between))


def usual_interval_s(readings: Iterable[Reading]) -> float | None:
    """The median of the intervals between readings, s; None when none is newer than another."""
    intervals_s = [b[0] - a[0] for a, b in pairwise(readings) if b[0] > a[0]]
    return median(intervals_s) if intervals_s else None


def tally_groups(readings: Iterable[Reading], rule: Rule) -> dict[str, Tally]:
    """Count readings in their order; a tally for each group, groups in the order of appearance.

    Raises ValueError for more than `GREATEST_GROUPS`.
    """
    tallies: dict[str, Tally] = {}
    before: Reading | None = None
    for group, run in groupby(readings, itemgetter(2)):
        tally, before = tally_run(run, rule, before)
        tallies[group] = tallies.get(group, Tally()) + tally
        if len(tallies) > GREATEST_GROUPS:
            raise ValueError(f"more than {GREATEST_GROUPS} groups, the last one {group!r}")
    return tallies


def tally_run(
    readings: Iterable[Reading], rule: Rule, before: Reading | None = None
) -> tuple[Tally, Reading | None]:
    """Count one run of readings whose first interval begins at `before`; also gives the last one.

    A sample's charge is the trapezoid between both readings, split where the current passes 0; a
    mean's is the mean times the interval. An interval above the gap limit adds bounds only: from
    nothing to the greater of both currents all the time, for each direction. A reading that is not
    newer than the last adds nothing, as in `Count.add`; but one older by more than the gap limit is
    taken as a clock set back: counting goes on from it, without the interval of unknown length.
    """
    readings = iter(readings)
    number = 0
    if before is None:
        before = next(readings, None)
        if before is None:
            return Tally(), None
        number = 1
    breaks = _Breaks(rule.gap_limit_s)
    gap_limit_s, is_mean = rule.gap_limit_s, rule.current_is is CurrentIs.MEAN
    twice_in = twice_out = covered_s = squares_s2 = steps_a2s2 = 0.0
    last_s, last_a, group = before
    # Millions of readings pass here: what is rare stands apart, in `_Breaks`.
    for now_s, now_a, _ in readings:
        number += 1
        interval_s = now_s - last_s
        if 0.0 < interval_s <= gap_limit_s:
            from_a = now_a if is_mean else last_a
            if from_a >= 0.0 <= now_a:
                twice_in += (from_a + now_a) * interval_s
            elif from_a <= 0.0 >= now_a:
                twice_out -= (from_a + now_a) * interval_s
            else:  # two triangles, as high as both currents, and as wide as their shares
                per_a = interval_s / abs(now_a - from_a)
                twice_in += max(from_a, now_a) ** 2 * per_a
                twice_out += min(from_a, now_a) ** 2 * per_a
            covered_s += interval_s
            squares_s2 += interval_s * interval_s
            step_as = (now_a - from_a) * interval_s
            steps_a2s2 += step_as * step_as
        elif not breaks.leads_on(interval_s, last_a, now_a):
            continue
        last_s, last_a = now_s, now_a
    tally = Tally(
        number, twice_in / 2, twice_out / 2, covered_s, squares_s2, steps_a2s2, *breaks.sums()
    )
    return tally, (last_s, last_a, group)


class _Breaks:
    """Sums up the intervals that no charge is counted over."""

    def __init__(self, gap_limit_s: float) -> None:
        self._gap_limit_s = gap_limit_s
        self._gaps = self._repeated = self._behind = self._set_back = 0
        self._gap_s = self._gap_in_as = self._gap_out_as = 0.0

    def leads_on(self, interval_s: float, last_a: float, now_a: float) -> bool:
        """Take an interval; whether the next one begins at its later reading."""
        if interval_s > 0.0:
            self._gaps += 1
            self._gap_s += interval_s
            self._gap_in_as += max(last_a, now_a, 0.0) * interval_s
            self._gap_out_as += max(-last_a, -now_a, 0.0) * interval_s
            return True
        if interval_s < -self._gap_limit_s:
            self._set_back += 1
            return True
        if interval_s == 0.0:
            self._repeated += 1
        else:
            self._behind += 1
        return False

    def sums(self) -> tuple[int, float, float, float, int, int, int]:
        """The last fields of a `Tally`."""
        return (
            self._gaps, self._gap_s, self._gap_in_as, self._gap_out_as,
            self._repeated, self._behind, self._set_back,
        )  # fmt: skip
