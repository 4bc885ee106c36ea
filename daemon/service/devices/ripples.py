"""Ripple of the current: a burst from a fast meter once a minute, and what is made of it."""

from collections.abc import Callable
from dataclasses import dataclass

from drivers.channels.devices import Burst
from drivers.channels.ripple import NotMeasured, Ripple, ripple
from drivers.contracts import Reading

EVERY_S = 60.0
"""s from one look to the next: a rectifier does not change faster than it ages or comes loose."""

OVERDUE_S = 2.5 * EVERY_S
"""s. A look that is older is from before the last hold, or its meter has failed since."""

BURST_S = 0.3
"""s. 30 periods of 100 Hz."""

LEAST_PERIODS = 10
"""Of the lowest ripple, without which a burst is no use; see `drivers.channels.ripple.ripple`."""


@dataclass(frozen=True, slots=True)
class RippleSeen:
    """What a look at a meter's ripple has found, and when."""

    name: str
    monotonic_s: float
    found: Ripple | NotMeasured

    @property
    def rms_share(self) -> float:
        """The ripple's root mean square as a share of the mean current; 0 if none was measured."""
        return self.found.rms_percent / 100 if isinstance(self.found, Ripple) else 0.0


def burst_length_s(gap_s: float, mains_hz: float) -> float | None:
    """How long a burst may last so that its meter's readings do not come to be `gap_s` apart.

    None if that is too short to see anything in: then nobody looks for ripple.
    """
    length_s = min(BURST_S, gap_s / 2)
    return length_s if length_s * 2 * mains_hz > LEAST_PERIODS else None


class RippleWatch:
    """When a meter is due for a look, and what the look finds. For the meter's thread.

    `burst` reads the meter for so many s without a pause, `duration_s` is how long. The lowest
    ripple behind a full-wave rectifier has twice the mains' frequency. A current below `least_a` is
    not looked at.
    """

    def __init__(
        self,
        burst: Callable[[float], Burst],
        duration_s: float,
        mains_hz: float,
        least_a: float,
    ) -> None:
        self._burst = burst
        self.duration_s = duration_s
        self._lowest_hz = 2 * mains_hz
        self._least_a = least_a
        self._due_s = float("-inf")

    def is_due(self, now_s: float, reading: Reading) -> bool:
        """Whether it is time for a look, after this reading."""
        current_a = reading.current_a
        return now_s >= self._due_s and current_a is not None and abs(current_a) >= self._least_a

    def look(self, now_s: float) -> Ripple | NotMeasured:
        """Take a burst and judge it. Raises `DriverError`; the next look is a minute later."""
        self._due_s = now_s + EVERY_S
        burst = self._burst(self.duration_s)
        return ripple(burst.times_s, burst.currents_a, self._lowest_hz)
