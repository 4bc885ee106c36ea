"""A run held against what was foretold of it: says when voltage or bath leave their bands. Pure.

This is a notice and no alarm in the sense of IEC 62682: nobody has to do anything, nothing is
stopped, and a band is only as good as the rehearsal. Faults have their own detectors.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace

from daemon.control.notices import AS_REHEARSED, OFF_REHEARSAL
from daemon.control.situation import Event, Situation
from daemon.control.states import State

DOSE_S = 300.0
"""s just outside of the band until it is told; half as long at a band's half-width beyond it, and a
quarter at three or more. As long inside until it is over: a noisy reading says nothing, and a short
disturbance has its detectors."""

FASTEST = 4.0
"""Times as fast as just outside, at most."""

SHARE, LEAST_V, LEAST_K = 0.02, 0.01, 0.3
"""Deadband: how far beyond the band counts as outside. A share of the voltage, V, and K."""

STEADY_S = 30.0
"""s at a stage's current before it is compared."""

LONGEST_S = 5.0
"""s that one look stands for at most."""


@dataclass(frozen=True, slots=True)
class Row:
    """What was foretold at a charge within a stage, A·h: least and greatest voltage, V, and °C."""

    stage: int
    charge_ah: float
    least_v: float
    greatest_v: float
    least_c: float
    greatest_c: float


@dataclass(frozen=True, slots=True)
class _Band:
    least: float
    greatest: float


class _Watched:
    """One quantity's dose outside of its band."""

    def __init__(self, name: str, unit: str, digits: int) -> None:
        self._name, self._unit, self._digits = name, unit, digits
        self._dose_s = 0.0
        self.words: str | None = None

    def look(self, value: float, band: _Band, margin: float, passed_s: float) -> Event | None:
        """One more look; the event if it is believed to be outside, or inside, from now on."""
        beyond = max(band.least - value, value - band.greatest)
        limit = 0.0 if self.words is not None else margin
        if beyond > limit:
            half = max((band.greatest - band.least) / 2, margin)
            self._dose_s = min(DOSE_S, self._dose_s + passed_s * min(FASTEST, 1 + beyond / half))
        else:
            self._dose_s = max(0.0, self._dose_s - passed_s)
        if self.words is None and self._dose_s >= DOSE_S:
            d, unit = self._digits, self._unit
            self.words = (
                f"{self._name} {value:.{d}f} {unit}, where {band.least:.{d}f} to "
                f"{band.greatest:.{d}f} {unit} was foretold"
            )
            return Event(
                OFF_REHEARSAL,
                self.words,
                {"value": value, "least": band.least, "greatest": band.greatest},
            )
        if self.words is not None and self._dose_s <= 0.0:
            self.words = None
            return Event(
                AS_REHEARSED,
                f"{self._name} {value:.{self._digits}f} {self._unit}",
                {"value": value},
            )
        return None


class Outlook:
    """One run's. `rows` are in the order of stages, and of charge within each."""

    def __init__(self, run_id: int, rows: Sequence[Row]) -> None:
        self.run_id = run_id
        self._rows: dict[int, list[Row]] = {}
        for row in rows:
            self._rows.setdefault(row.stage, []).append(row)
        self._voltage = _Watched("voltage", "V", 2)
        self._bath = _Watched("bath", "°C", 1)
        self._last_s: float | None = None

    @property
    def words(self) -> str | None:
        """What is outside of its band now; None while nothing is."""
        found = [each for each in (self._voltage.words, self._bath.words) if each is not None]
        return "; ".join(found) or None

    def look(self, situation: Situation, temperature_c: float | None) -> list[Event]:
        """Hold the newest reading against the band; what there is to tell."""
        row = self._row(situation)
        reading, last_s = situation.reading, self._last_s
        if row is None or reading is None or reading.voltage_v is None:
            self._last_s = None
            return []
        self._last_s = reading.monotonic_s
        if last_s is None or reading.monotonic_s <= last_s:
            return []
        passed_s = min(LONGEST_S, reading.monotonic_s - last_s)
        volts = _Band(row.least_v, row.greatest_v)
        margin_v = max(LEAST_V, SHARE * reading.voltage_v)
        told = [self._voltage.look(reading.voltage_v, volts, margin_v, passed_s)]
        if temperature_c is not None:
            warmth = _Band(row.least_c, row.greatest_c)
            told.append(self._bath.look(temperature_c, warmth, LEAST_K, passed_s))
        return [event for event in told if event is not None]

    def _row(self, situation: Situation) -> Row | None:
        """What was foretold of where the run is; None while its current is on the way."""
        run, count, progress = situation.run, situation.count, situation.progress
        if run is None or count is None or progress is None or run.run_id != self.run_id:
            return None
        if situation.state is not State.RUNNING or situation.wind_down is not None:
            return None
        if situation.now_s - progress.steady_from_s < STEADY_S:
            return None
        rows = self._rows.get(progress.stage)
        if not rows:
            return None
        done_ah = count.best_ah - progress.stage_from_ah
        right = bisect_left(rows, done_ah, key=lambda row: row.charge_ah)
        if right == 0 or right == len(rows):
            return rows[min(right, len(rows) - 1)]
        return _between(rows[right - 1], rows[right], done_ah)


def _between(before: Row, after: Row, charge_ah: float) -> Row:
    """A row on the straight lines from one to the next."""
    width_ah = after.charge_ah - before.charge_ah
    share = (charge_ah - before.charge_ah) / width_ah if width_ah > 0 else 0.0

    def on_line(a: float, b: float) -> float:
        return a + (b - a) * share

    return replace(
        before,
        charge_ah=charge_ah,
        least_v=on_line(before.least_v, after.least_v),
        greatest_v=on_line(before.greatest_v, after.greatest_v),
        least_c=on_line(before.least_c, after.least_c),
        greatest_c=on_line(before.greatest_c, after.greatest_c),
    )
