"""Counting ampere-hours: trapezoids between readings, and bounds where there were none."""

from dataclasses import dataclass, replace

SECONDS_PER_HOUR = 3600.0


@dataclass(frozen=True, slots=True)
class Count:
    """The charge of a run so far, and how much of it was seen.

    charge_ah: between readings not further apart than the gap limit, A·h. gap_least_ah and
    gap_greatest_ah: the least and greatest charge that can have passed in the gaps. covered_s and
    gap_s: time with and without readings, s. last_s and last_a: the newest reading counted;
    set_a: the greatest set-point since it was taken. squares_s2: the intervals with readings,
    squared and added, s²; steps_a2s2: each of them times its change of current, likewise, A²·s²;
    steps_as: the same products with their signs, added, A·s.
    """

    charge_ah: float
    gap_least_ah: float
    gap_greatest_ah: float
    covered_s: float
    gap_s: float
    last_s: float
    last_a: float
    set_a: float
    squares_s2: float = 0.0
    steps_a2s2: float = 0.0
    steps_as: float = 0.0

    @staticmethod
    def from_reading(monotonic_s: float, current_a: float) -> "Count":
        """Nothing counted yet; the first trapezoid begins at this reading."""
        return Count(0.0, 0.0, 0.0, 0.0, 0.0, monotonic_s, current_a, 0.0)

    def going_on_from(
        self, charge_ah: float, gap_least_ah: float, gap_greatest_ah: float, covered_s: float
    ) -> "Count":
        """The count with what an earlier one had counted; see the fields of these names."""
        return replace(
            self,
            charge_ah=self.charge_ah + charge_ah,
            gap_least_ah=self.gap_least_ah + gap_least_ah,
            gap_greatest_ah=self.gap_greatest_ah + gap_greatest_ah,
            covered_s=self.covered_s + covered_s,
        )

    @property
    def best_ah(self) -> float:
        """The counted charge and the middle of the gaps' bounds, A·h."""
        return self.charge_ah + (self.gap_least_ah + self.gap_greatest_ah) / 2

    @property
    def greatest_ah(self) -> float:
        """The most that can have passed: what a cap is held against, A·h."""
        return self.charge_ah + self.gap_greatest_ah

    @property
    def greatest_a(self) -> float:
        """The greatest current that can have flowed since the last reading, A."""
        return max(self.last_a, self.set_a, 0.0)

    def demanding(self, set_current_a: float) -> "Count":
        """The count with a new set-point demanded, which a gap may hide."""
        return replace(self, set_a=set_current_a) if set_current_a > self.set_a else self

    def add(
        self, monotonic_s: float, current_a: float, gap_limit_s: float, set_current_a: float
    ) -> "Count":
        """The count with one more reading. A reading that is not newer than the last adds nothing.

        Within `gap_limit_s` the charge is the trapezoid between both readings, exact for a current
        that is constant or changes linearly. Over a longer interval nothing is known but bounds:
        the supply may have been off all the time (0), or all the time at the greatest of both
        readings and of the set-points demanded meanwhile.
        """
        interval_s = monotonic_s - self.last_s
        if interval_s <= 0:
            return self
        if interval_s <= gap_limit_s:
            step_as = (current_a - self.last_a) * interval_s
            return Count(
                self.charge_ah + (self.last_a + current_a) * interval_s / (2 * SECONDS_PER_HOUR),
                self.gap_least_ah,
                self.gap_greatest_ah,
                self.covered_s + interval_s,
                self.gap_s,
                monotonic_s,
                current_a,
                set_current_a,
                self.squares_s2 + interval_s * interval_s,
                self.steps_a2s2 + step_as * step_as,
                self.steps_as + step_as,
            )
        greatest_a = max(self.greatest_a, current_a, set_current_a)
        return Count(
            self.charge_ah,
            self.gap_least_ah,
            self.gap_greatest_ah + greatest_a * interval_s / SECONDS_PER_HOUR,
            self.covered_s,
            self.gap_s + interval_s,
            monotonic_s,
            current_a,
            set_current_a,
            self.squares_s2,
            self.steps_a2s2,
            self.steps_as,
        )

    def projected_ah(self, now_s: float) -> float:
        """`best_ah` carried forward to `now_s` at the last reading's current, A·h."""
        return self.best_ah + self.last_a * (now_s - self.last_s) / SECONDS_PER_HOUR
