"""What goes wrong around the cell: bath, record, disk, clock, meters. Plain values in, signs out.

Whoever owns these looks about once a second, in a run or not. Delays are s on the clock that is
handed in.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import inf, nan

from daemon.control.panel import Disagreement
from daemon.control.protection.alarms import Figures, Sign
from daemon.control.protection.causes import (
    BATH_COLD,
    BATH_HOT,
    CLOCK_STEPPED,
    DISK_NEARLY_FULL,
    METERS_DISAGREE,
    RECORD_BEHIND,
    RIPPLE_HIGH,
    THERMOMETER_LOST,
)
from daemon.control.protection.detectors.lasting import Lasting
from daemon.control.protection.detectors.thresholds import Thresholds


class Level:
    """Believes that a value is above its limit, until it is below another one: the deadband.

    `on_s` and `off_s` are how long it has to be so, s. For a value that must not be low, hand in
    everything negative.
    """

    def __init__(self, above: float, below: float, on_s: float = 0.0, off_s: float = 0.0) -> None:
        self._above = above
        self._below = below
        self._lasting = Lasting(on_s, off_s)

    def seen(self, value: float, at_s: float) -> bool:
        """Whether it is believed, with one more value."""
        limit = self._below if self._lasting.believed else self._above
        return self._lasting.seen(value > limit, at_s)

    def forget(self) -> None:
        """Believe nothing."""
        self._lasting.forget()

    @property
    def believed(self) -> bool:
        """Whether it is believed."""
        return self._lasting.believed


class BathTemperature:
    """One thermometer in the bath: too hot, too cold, or lost.

    While it is lost, a bath that was too hot counts as too hot.
    """

    def __init__(self, name: str, thresholds: Thresholds, now_s: float) -> None:
        t = self._t = thresholds
        self._name = name
        back_k, on_s = t.bath_deadband_k, t.bath_on_s
        self._hot = Level(t.bath_hot_c, t.bath_hot_c - back_k, on_s, on_s)
        self._cold = Level(-t.bath_cold_c, -t.bath_cold_c - back_k, on_s, on_s)
        self._temperature_c = nan
        self._newest_s = now_s

    def look(
        self, temperature_c: float | None, taken_s: float | None, now_s: float
    ) -> tuple[Sign, ...]:
        """The causes, with the newest value, °C, and when it was taken; None without one."""
        if temperature_c is not None and taken_s is not None and taken_s > self._newest_s:
            self._temperature_c, self._newest_s = temperature_c, taken_s
            self._hot.seen(temperature_c, taken_s)
            self._cold.seen(-temperature_c, taken_s)
        age_s = now_s - self._newest_s
        lost = age_s > self._t.thermometer_lost_s
        if not (lost or self._hot.believed or self._cold.believed):
            return ()
        signs = []
        if self._hot.believed:
            signs.append(self._sign(BATH_HOT, f"at most {self._t.bath_hot_c:.1f} °C is wanted"))
        if self._cold.believed:
            signs.append(self._sign(BATH_COLD, f"at least {self._t.bath_cold_c:.1f} °C is wanted"))
        if lost:
            seen = f"{self._name}: no value for {age_s:.0f} s"
            signs.append(Sign(THERMOMETER_LOST, seen, {"age_s": age_s}))
        return tuple(signs)

    def _sign(self, cause: str, wanted: str) -> Sign:
        figures: Figures = {"temperature_c": self._temperature_c}
        return Sign(cause, f"{self._name}: {self._temperature_c:.1f} °C; {wanted}", figures)


class RecordBehind:
    """The record waits for its disk."""

    def __init__(self, thresholds: Thresholds) -> None:
        self._behind = Level(thresholds.record_behind_s, thresholds.record_back_s)

    def look(self, lag_s: float, fault: str | None, now_s: float) -> tuple[Sign, ...]:
        """The cause: the oldest entry waits for `lag_s`; `fault` is why the disk refuses."""
        if not self._behind.seen(lag_s, now_s):
            return ()
        why = "" if fault is None else f": {fault}"
        return (Sign(RECORD_BEHIND, f"readings wait for {lag_s:.0f} s{why}", {"lag_s": lag_s}),)


class DiskNearlyFull:
    """The disk that holds the record has little room."""

    def __init__(self, thresholds: Thresholds) -> None:
        least_mb = self._least_mb = thresholds.disk_least_mb
        self._low = Level(-least_mb, -least_mb * (1.0 + thresholds.disk_back_share))

    def look(self, free_mb: float, now_s: float) -> tuple[Sign, ...]:
        """The cause, with the free room in MB."""
        if not self._low.seen(-free_mb, now_s):
            return ()
        seen = f"{free_mb:.0f} MB are free; at least {self._least_mb:.0f} MB are wanted"
        return (Sign(DISK_NEARLY_FULL, seen, {"free_mb": free_mb}),)


class ClockStepped:
    """The wall clock was set: a moment, made to stand for a while."""

    def __init__(self, thresholds: Thresholds) -> None:
        self._stands_s = thresholds.clock_stepped_s
        self._until_s = 0.0
        self._sign: tuple[Sign, ...] = ()

    def look(self, stepped_s: float | None, now_s: float) -> tuple[Sign, ...]:
        """The cause; `stepped_s` is by how much the clock was set since the last look, s."""
        if stepped_s is not None:
            # Told anew if it comes again while it stands.
            again = self._sign[0].repeat + 1 if self._sign else 0
            seen = f"the wall clock was set by {stepped_s:+.1f} s"
            self._sign = (Sign(CLOCK_STEPPED, seen, {"stepped_s": stepped_s}, again),)
            self._until_s = now_s + self._stands_s
        elif self._sign and now_s >= self._until_s:
            self._sign = ()
        return self._sign


class RippleHigh:
    """The ripple of the current that one meter sees, in looks a minute apart."""

    def __init__(self, name: str, thresholds: Thresholds) -> None:
        self._name = name
        self._limit_percent = thresholds.ripple_percent
        back_percent, on_s = thresholds.ripple_back_percent, thresholds.ripple_on_s
        self._high = Level(self._limit_percent, back_percent, on_s, on_s)
        self._old_s = thresholds.ripple_old_s
        self._newest_s = -inf
        self._sign: tuple[Sign, ...] = ()

    def look(self, rms_percent: float, taken_s: float, now_s: float) -> tuple[Sign, ...]:
        """The cause, with the newest look, % rms; one that was taken in already is none.

        Nothing is known any more when the newest look is old: no current flows then.
        """
        if now_s - taken_s > self._old_s:
            self._high.forget()
            self._sign = ()
            return ()
        if taken_s <= self._newest_s:
            return self._sign
        self._newest_s = taken_s
        if not self._high.seen(rms_percent, taken_s):
            self._sign = ()
        elif not self._sign:
            seen = (
                f"{self._name}: {rms_percent:.1f} % rms ripple of the current; "
                f"below {self._limit_percent:g} % is wanted"
            )
            self._sign = (Sign(RIPPLE_HIGH, seen, {"rms_percent": rms_percent}),)
        return self._sign


def meters_disagree(apart: Sequence[Disagreement]) -> tuple[Sign, ...]:
    """The cause, with the meters that disagree now, see `Panel.disagreeing`."""
    if not apart:
        return ()
    figures: Figures = {apart[0].counting: apart[0].counting_a}
    figures |= {one.other: one.other_a for one in apart}
    return (Sign(METERS_DISAGREE, "; ".join(map(str, apart)), figures),)


@dataclass(frozen=True, slots=True)
class Around:
    """All there is to see around the cell at one moment.

    temperatures: for each thermometer, °C and when it was taken, s; ripples: for each meter that is
    looked at, % rms and when. lag_s and fault: of the record's writer. free_mb: room on its disk,
    None if not known. stepped_s: see `ClockStepped`. apart: see `meters_disagree`.
    """

    temperatures: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    ripples: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    lag_s: float = 0.0
    fault: str | None = None
    free_mb: float | None = None
    stepped_s: float | None = None
    apart: Sequence[Disagreement] = ()


class Surroundings:
    """Everything around the cell of one tank. `thermometers` are those that hang in its bath."""

    def __init__(self, thermometers: Sequence[str], thresholds: Thresholds, now_s: float) -> None:
        self._t = thresholds
        self._baths = {name: BathTemperature(name, thresholds, now_s) for name in thermometers}
        self._ripples: dict[str, RippleHigh] = {}
        self._record = RecordBehind(thresholds)
        self._disk = DiskNearlyFull(thresholds)
        self._clock = ClockStepped(thresholds)

    def look(self, around: Around, now_s: float) -> tuple[Sign, ...]:
        """The causes that are there."""
        signs: list[Sign] = []
        for name, bath in self._baths.items():
            temperature_c, taken_s = around.temperatures.get(name, (None, None))
            signs += bath.look(temperature_c, taken_s, now_s)
        for name, (rms_percent, taken_s) in around.ripples.items():
            if name not in self._ripples:
                self._ripples[name] = RippleHigh(name, self._t)
            signs += self._ripples[name].look(rms_percent, taken_s, now_s)
        signs += self._record.look(around.lag_s, around.fault, now_s)
        if around.free_mb is not None:
            signs += self._disk.look(around.free_mb, now_s)
        signs += self._clock.look(around.stepped_s, now_s)
        signs += meters_disagree(around.apart)
        return tuple(signs)
