"""The one clock. Durations come from `monotonic_s` only; `utc` labels records."""

import time
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """What the loop sees of time."""

    def monotonic_s(self) -> float:
        """Seconds that never step, from an arbitrary origin."""

    def utc(self) -> datetime:
        """Wall time, aware, for labels; it may step."""

    @property
    def rate(self) -> float:
        """Seconds of this clock in a second of the machine's."""

    def real_seconds_until(self, monotonic_s: float) -> float:
        """How long the machine has to wait for this moment; 0 when it has passed."""


class SystemClock:
    """The machine's own clocks."""

    rate = 1.0

    def monotonic_s(self) -> float:
        """Seconds of the machine's monotonic clock."""
        return time.monotonic()

    def utc(self) -> datetime:
        """The machine's wall clock."""
        return datetime.now(UTC)

    def real_seconds_until(self, monotonic_s: float) -> float:
        """Seconds left until `monotonic_s`, at least 0."""
        return max(0.0, monotonic_s - time.monotonic())


class RatedClock:
    """A clock for simulations: from `origin_s` on, time passes `rate` times as fast.

    Processes that share `origin_s` (a moment of the machine's monotonic clock) and `rate` share
    one time line, so that a simulated tank and a daemon in two processes agree about seconds.
    """

    def __init__(self, rate: float, origin_s: float) -> None:
        if not rate > 0:
            raise ValueError(f"clock rate must be above 0, got {rate}")
        self.rate = rate
        self._origin_s = origin_s
        self._utc_at_origin = datetime.now(UTC) - timedelta(seconds=time.monotonic() - origin_s)

    def monotonic_s(self) -> float:
        """Seconds on the shared time line."""
        return self._origin_s + (time.monotonic() - self._origin_s) * self.rate

    def utc(self) -> datetime:
        """The wall time that belongs to `monotonic_s`."""
        return self._utc_at_origin + timedelta(seconds=self.monotonic_s() - self._origin_s)

    def real_seconds_until(self, monotonic_s: float) -> float:
        """Real seconds left until `monotonic_s`, at least 0."""
        return max(0.0, (monotonic_s - self.monotonic_s()) / self.rate)


def to_ms(utc: datetime) -> int:
    """Whole ms since 1970, UTC, as the record labels moments."""
    return round(utc.timestamp() * 1000)
