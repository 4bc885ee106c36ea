"""A meter that repeats itself: whether it has frozen, or the current is as calm as that. Pure."""

from math import inf

from daemon.control.protection.alarms import Sign
from daemon.control.protection.causes import READING_FROZEN
from daemon.control.protection.detectors.lasting import Lasting
from daemon.control.protection.detectors.limits import at_ceiling, figures_of
from daemon.control.protection.detectors.observation import Observation
from daemon.control.protection.detectors.thresholds import Thresholds

STEADY_S = 5.0
"""s since the set-points were last changed, before what a meter shows is taken for its flicker."""

DUST = 1e-9
"""A or V. Differences below it come from rounding and are no step of a meter."""


class _Flicker:
    """How a value moves from reading to reading: by single steps, or by more than that."""

    __slots__ = ("changes", "far", "step")

    def __init__(self) -> None:
        self.changes = 0
        self.far = 0
        self.step = inf

    def learn(self, change: float) -> None:
        """Take in a difference between two readings, A or V."""
        size = abs(change)
        if size <= DUST:
            return
        if size < 0.75 * self.step:
            # A finer step than any before: all that was far may have been near.
            self.changes = self.far = 0
            self.step = size
        self.changes += 1
        if size > 1.5 * self.step:
            self.far += 1

    def is_restless(self, thresholds: Thresholds) -> bool:
        """Whether it moves wherever between two steps the true value lies."""
        return (
            self.changes >= thresholds.frozen_learn_changes
            and self.far >= thresholds.frozen_restless_share * self.changes
        )


class ReadingFrozen:
    """The same current and the same voltage again and again, where that cannot be.

    It cannot be when the set-point has moved and the supply holds the current; nor with a meter
    whose current and voltage have both flickered by more than a step, all the time since the output
    went on. A calm meter that repeats itself says the truth.
    """

    def __init__(self, thresholds: Thresholds) -> None:
        self._t = thresholds
        self._moved = Lasting(thresholds.frozen_moved_s)
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        self._moved.forget()
        self._first: Observation | None = None
        self._run = 0
        self._longest = 1
        self._current, self._voltage = _Flicker(), _Flicker()
        self._sign: tuple[Sign, ...] = ()

    def look(self, seen: Observation) -> tuple[Sign, ...]:
        """A frozen reading, as of this one."""
        first, voltage_v = self._first, seen.voltage_v
        if (
            first is None
            or voltage_v is None
            or first.voltage_v is None
            or seen.current_a != first.current_a
            or voltage_v != first.voltage_v
        ):
            if first is not None and voltage_v is not None and first.voltage_v is not None:
                self._learn(first, seen, voltage_v - first.voltage_v)
            self._first = seen
            self._run = 1
            self._moved.forget()
            self._sign = ()
            return ()
        self._run += 1
        if not self._sign and (self._ignores(first, seen) or self._is_too_calm(first, seen)):
            self._sign = (self._told(first, seen, voltage_v),)
        return self._sign

    def _learn(self, first: Observation, seen: Observation, change_v: float) -> None:
        if seen.steady_s < STEADY_S:
            return
        self._longest = max(self._longest, self._run)
        self._current.learn(seen.current_a - first.current_a)
        self._voltage.learn(change_v)

    def _ignores(self, first: Observation, seen: Observation) -> bool:
        """Whether the set-point has moved since the first of these readings, and they did not."""
        t = self._t
        change_a = abs(seen.set_current_a - first.set_current_a)
        greater_a = max(seen.set_current_a, first.set_current_a)
        moved = change_a > t.frozen_change_share * greater_a + t.frozen_change_a
        return self._moved.seen(moved and at_ceiling(seen, t) is False, seen.at_s)

    def _is_too_calm(self, first: Observation, seen: Observation) -> bool:
        t = self._t
        return (
            self._run >= t.frozen_least_readings
            and seen.at_s - first.at_s >= t.frozen_calm_s
            and self._run > t.frozen_calm_runs * self._longest
            and self._current.is_restless(t)
            and self._voltage.is_restless(t)
        )

    def _told(self, first: Observation, seen: Observation, voltage_v: float) -> Sign:
        text = (
            f"{seen.current_a:.3f} A and {voltage_v:.3f} V in {self._run} readings, "
            f"for {seen.at_s - first.at_s:.0f} s"
        )
        if self._moved.believed:
            text += (
                f", while {first.set_current_a:.3f} A, then {seen.set_current_a:.3f} A "
                "were asked for"
            )
        return Sign(READING_FROZEN, text, figures_of(seen))
