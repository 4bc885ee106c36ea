"""Counting a run again with another correction of its meter, from what the record has of it.

A correction is a straight line, and so is what follows from two of them: the corrected current i
becomes scale·i + shift, and the sum of trapezoids over the time t becomes scale·Q + shift·t. So the
charge that was counted is enough, with the time that it was counted over.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from daemon.control.charge import SECONDS_PER_HOUR, Count
from daemon.control.panel import Correction

Reading = tuple[float, float, float]
"""Seconds from the run's start, the current as it was corrected then, A, and the charge, A·h."""


@dataclass(frozen=True, slots=True)
class Change:
    """What a current of one correction is under another: scale times it plus shift_a."""

    scale: float
    shift_a: float

    @staticmethod
    def between(was: Correction, now: Correction) -> "Change":
        """From the current under `was` back to the reading, and on to the current under `now`."""
        return Change(was.gain / now.gain, (was.offset_a - now.offset_a) / now.gain)

    def of(self, count: Count) -> Count:
        """The count under the other correction.

        The bounds of gaps stay: they are made of set-points and of the greatest that was read.
        """
        return replace(
            count,
            charge_ah=self.scale * count.charge_ah
            + self.shift_a * count.covered_s / SECONDS_PER_HOUR,
            last_a=self.scale * count.last_a + self.shift_a,
            steps_a2s2=self.scale**2 * count.steps_a2s2,
            steps_as=self.scale * count.steps_as,
        )


def counted(readings: Iterable[Reading], gap_limit_s: float, count: Count) -> Count:
    """`count`, which has the run's charge and bounds, with the time that its charge was counted in.

    An interval counts when it is no longer than the gap limit, or the charge grew in it: then the
    readings between are missing from the record only. Its first begins at the run's start.
    """
    covered_s = gap_s = squares_s2 = steps_a2s2 = steps_as = 0.0
    last_s, last_a, last_ah = 0.0, None, 0.0
    for now_s, now_a, now_ah in readings:
        interval_s = now_s - last_s
        if interval_s > 0:
            if interval_s <= gap_limit_s or now_ah != last_ah:
                covered_s += interval_s
                squares_s2 += interval_s * interval_s
                step_as = (now_a - (now_a if last_a is None else last_a)) * interval_s
                steps_a2s2 += step_as * step_as
                steps_as += step_as
            else:
                gap_s += interval_s
        last_s, last_a, last_ah = now_s, now_a, now_ah
    return replace(
        count,
        covered_s=covered_s,
        gap_s=gap_s,
        squares_s2=squares_s2,
        steps_a2s2=steps_a2s2,
        steps_as=steps_as,
        last_s=last_s,
        last_a=last_a or 0.0,
    )
