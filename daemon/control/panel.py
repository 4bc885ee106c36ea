"""All that is read of one tank, brought together: which meter counts, and whether they agree.

A meter's readings are corrected here, once, by its calibration. The one that counts gives the
current that everything else works with; the others are held against it.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from daemon.chemistry.uncertainty import MeterDoubt
from drivers.contracts import Reading

DISAGREE_FACTOR = 3.0
"""Joint standard uncertainties between two meters beyond which they disagree: by chance alone 3 in
1,000 readings of normal errors go further."""

DISAGREE_AFTER_S = 10.0
"""s for which they have to disagree without a break: a meter that averages lags behind a ramp."""


@dataclass(frozen=True, slots=True)
class Correction:
    """What a calibration says of a meter: current = (reading - offset_a) / gain.

    gain is what the meter shows for each ampere that flows, offset_a what it shows for none, A.
    """

    gain: float = 1.0
    offset_a: float = 0.0

    def corrected(self, reading: Reading) -> Reading:
        """The reading with its current corrected."""
        if reading.current_a is None or (self.gain == 1.0 and self.offset_a == 0.0):
            return reading
        return replace(reading, current_a=(reading.current_a - self.offset_a) / self.gain)


@dataclass(frozen=True, slots=True)
class MeterFacts:
    """What is known of a meter: its correction, and the doubt that is left after it.

    `calibration_id` is the record's number of the calibration that says so, None without one.
    """

    correction: Correction
    doubt: MeterDoubt
    calibration_id: int | None = None

    def u_a(self, current_a: float) -> float:
        """Standard uncertainty of one corrected reading, A."""
        doubt = self.doubt
        square = (
            (doubt.gain * current_a) ** 2
            + (doubt.reference * current_a) ** 2
            + doubt.offset_a**2
            + 2 * doubt.covariance_a * current_a
            + doubt.noise_a**2
            + doubt.step_a**2 / 12
        )
        return math.sqrt(max(0.0, square))


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two meters that cannot both be right: their names, readings in A, and their joint doubt."""

    counting: str
    counting_a: float
    other: str
    other_a: float
    u_a: float

    def __str__(self) -> str:
        return (
            f"{self.counting} reads {self.counting_a:.3f} A, {self.other} {self.other_a:.3f} A: "
            f"{abs(self.counting_a - self.other_a):.3f} A apart, "
            f"{DISAGREE_FACTOR * self.u_a:.3f} A can be explained"
        )


class Panel:
    """The newest reading of every meter. Time comes in with the readings.

    `meters` are all meters by name, `counting` the one whose current counts. Readings older than
    `fresh_s` against the counting one are not held against it, and lend it nothing.
    """

    def __init__(self, meters: dict[str, MeterFacts], counting: str, fresh_s: float) -> None:
        if counting not in meters:
            raise ValueError(f"counting meter {counting!r}: one of {', '.join(meters)} is wanted")
        self._meters = meters
        self._learned: dict[str, MeterFacts] = {}
        self._counting = counting
        self._fresh_s = fresh_s
        # What may lend: the supply comes first in `meters`, and a meter at the cell knows better.
        self._lenders = tuple(name for name in reversed(meters) if name != counting)
        self._lent: set[str] = set()
        self._raw: dict[str, Reading] = {}
        self._newest: dict[str, Reading] = {}
        self._moved_a: dict[str, float] = {}
        self._ripples: dict[str, float] = {}
        # For each meter: which of the two reads more, and since when they are that far apart.
        self._apart: dict[str, tuple[bool, float]] = {}

    @property
    def counting(self) -> str:
        """The name of the meter that counts."""
        return self._counting

    @property
    def newest(self) -> Mapping[str, Reading]:
        """The newest reading of each meter, corrected."""
        return self._newest

    @property
    def raw(self) -> Mapping[str, Reading]:
        """The newest reading of each meter as it came."""
        return self._raw

    def learn(self, name: str, facts: MeterFacts) -> None:
        """Know this of a meter from the next `settle` on, as after a calibration; in any thread."""
        self._learned[name] = facts

    def settle(self) -> None:
        """Take what was learned for true. Never during a run: it is counted as it was begun."""
        while self._learned:
            name, facts = self._learned.popitem()
            self._meters[name] = facts

    @property
    def facts(self) -> MeterFacts:
        """What is known of the meter that counts."""
        return self._meters[self._counting]

    def step_a(self, name: str) -> float:
        """In what steps this meter shows a current, before it is corrected, A."""
        known = self._meters[name]
        return known.doubt.step_a * known.correction.gain

    def take(self, name: str, reading: Reading) -> Reading | None:
        """Take in a meter's reading; what to count, if it came from the meter that counts.

        A counting meter that reads no voltage, or knows neither the supply's mode nor its output,
        is lent what another says: of several the last in `meters`.
        """
        self._raw[name] = reading
        reading = self._meters[name].correction.corrected(reading)
        before = self._newest.get(name)
        if before is not None:
            if reading.current_a is not None and before.current_a is not None:
                self._moved_a[name] = abs(reading.current_a - before.current_a)
            # A supply may say its mode and its output in one reading out of ten. What was not lent
            # yet goes on to its next reading, or a meter that reads less often never heard of it.
            if name != self._counting and name not in self._lent:
                reading = _completed(reading, before, with_voltage=False)
        self._newest[name] = reading
        if name == self._counting:
            return self._with_what_others_say(reading)
        self._lent.discard(name)
        return None

    def _with_what_others_say(self, reading: Reading) -> Reading:
        for name in self._lenders:
            other = self._newest.get(name)
            if other is not None and self._is_fresh(other, reading):
                reading = _completed(reading, other, with_voltage=True)
                self._lent.add(name)
        return reading

    def saw_ripple(self, name: str, rms_share: float) -> None:
        """Know this meter's newest look at its ripple, rms as a share of the mean, 0 for none.

        One reading is of one moment of it, so that it is a doubt of each reading against another's.
        """
        self._ripples[name] = rms_share

    def disagreeing(self) -> list[Disagreement]:
        """Meters that disagree with the counting one now, and did so for `DISAGREE_AFTER_S`.

        To be asked about once a second, as that is how it sees for how long. While the current
        changes, two readings may be apart by as much as it moved from one reading to the next. One
        that reads now more and now less than the other swings, and does not disagree.
        """
        counting = self._newest.get(self._counting)
        if counting is None or counting.current_a is None:
            return []
        found = []
        for name, other in self._newest.items():
            if name == self._counting or other.current_a is None:
                continue
            if not self._is_fresh(other, counting):
                continue
            u_a = self._joint_u_a(name, other.current_a, counting.current_a)
            apart_a = abs(other.current_a - counting.current_a)
            if apart_a <= self._explained_a(name, u_a):
                self._apart.pop(name, None)
                continue
            more = other.current_a > counting.current_a
            was_more, since_s = self._apart.get(name, (more, counting.monotonic_s))
            if more != was_more:
                since_s = counting.monotonic_s
            self._apart[name] = more, since_s
            if counting.monotonic_s - since_s >= DISAGREE_AFTER_S:
                found.append(
                    Disagreement(self._counting, counting.current_a, name, other.current_a, u_a)
                )
        return found

    def explained_a(self, name: str) -> float | None:
        """How far this meter may be from the counting one by what is not known of both, A.

        None for the counting meter, and while either of the two reads no current.
        """
        counting, other = self._newest.get(self._counting), self._newest.get(name)
        if name == self._counting or counting is None or other is None:
            return None
        if counting.current_a is None or other.current_a is None:
            return None
        u_a = self._joint_u_a(name, other.current_a, counting.current_a)
        return self._explained_a(name, u_a)

    def _joint_u_a(self, name: str, other_a: float, counting_a: float) -> float:
        return math.hypot(
            self._meters[self._counting].u_a(counting_a),
            self._meters[name].u_a(other_a),
            self._ripples.get(self._counting, 0.0) * counting_a,
            self._ripples.get(name, 0.0) * other_a,
        )

    def _explained_a(self, name: str, u_a: float) -> float:
        moved_a = self._moved_a.get(self._counting, 0.0) + self._moved_a.get(name, 0.0)
        return DISAGREE_FACTOR * u_a + moved_a

    def _is_fresh(self, other: Reading, counting: Reading) -> bool:
        return abs(other.monotonic_s - counting.monotonic_s) <= self._fresh_s


def _completed(reading: Reading, other: Reading, *, with_voltage: bool) -> Reading:
    """The reading with what it does not know taken from another."""
    voltage_v, mode, output_on = reading.voltage_v, reading.mode, reading.output_on
    if voltage_v is None and with_voltage:
        voltage_v = other.voltage_v
    if mode is None:
        mode = other.mode
    if output_on is None:
        output_on = other.output_on
    return Reading(reading.monotonic_s, reading.current_a, voltage_v, mode, output_on)
