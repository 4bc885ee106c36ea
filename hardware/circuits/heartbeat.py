"""The heartbeat circuit in figures, from the values on its sheet.

While the line moves, each time it falls C1 hands a share of the supply to C2; R4 takes it away
again. The coil has current as long as C2 holds more than a share of the same supply, which R5, R6
and R9 make. Both scale with the supply, so that it hardly matters how high it is.

    pulse      v -> v + s·(swing - v), s = C1/(C1 + C2), less what R3 has not charged
    line low   v -> v·exp(-t/(R4·(C1 + C2))): C1 hangs on the supply and helps C2
    line high  v -> v·exp(-t/(R4·C2))

Kirchhoff's laws and the exponential of a resistor and a capacitor are all that is used. The tests
hold it against a simulation of their own.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from daemon.service.devices.pins import CYCLE_S, LEAST_EDGE_S
from daemon.units import parse
from hardware.circuits.netlist import Sheet, read_sheet

PAUSE_S = 0.2
"""s. A pause between two edges for which the contactor must not open: a machine that hiccups."""

RELEASE_S = 0.1
"""s. From no current in the coil's transistor to open contacts: what the parts list asks for."""

CLOSING_S = 0.1
"""s. From current in the coil to closed contacts (common practice for contactors of this size)."""

SUPPLY_V = 24.0

SUPPLY_LIMIT, RESISTOR_LIMIT, CAPACITOR_LIMIT = 0.10, 0.02, 0.10
"""Of the value. Twice the tolerance of the parts list for resistors and capacitors: the other half
is for warmth and age."""

DIODE_V = (0.4, 0.8)
SATURATED_V = (0.05, 0.4)
BIAS_A = (0.0, 0.4e-6)
OFFSET_V = (-0.009, 0.009)
"""Least and most. Bias and offset are those of a usual single-supply comparator over its
temperatures (its data sheet); the others common practice for small silicon parts."""

PIN_V = (3.0, 3.45)
LIGHT_V = (1.0, 1.4)
"""V. A pin of the Pi that drives some mA, from memory, not checked; the drop of an infrared light
(data sheets of optocouplers)."""

PIN_LIMIT_A = 0.008
"""A. What a pin of the Pi drives by default (from memory, not checked)."""

TRANSFER = 0.5
"""Least collector current for a current in the light, after years: half of the parts list's."""


@dataclass(frozen=True, slots=True)
class Values:
    """One set of values: resistors in Ω, capacitors in F, voltages in V, the bias in A."""

    r1_ohm: float
    r3_ohm: float
    r4_ohm: float
    r5_ohm: float
    r6_ohm: float
    r7_ohm: float
    r8_ohm: float
    r9_ohm: float
    c1_f: float
    c2_f: float
    supply_v: float = SUPPLY_V
    diode_v: float = 0.6
    saturated_v: float = 0.2
    bias_a: float = 0.1e-6
    offset_v: float = 0.0

    @property
    def low_s(self) -> float:
        """Time constant while the line is low."""
        return self.r4_ohm * (self.c1_f + self.c2_f)

    @property
    def high_s(self) -> float:
        """Time constant while the line is high."""
        return self.r4_ohm * self.c2_f

    @property
    def share(self) -> float:
        """Of the difference to the swing, what a pulse adds at C2."""
        return self.c1_f / (self.c1_f + self.c2_f)

    @property
    def swing_v(self) -> float:
        """To which pulses lead at most."""
        return self.supply_v - self.saturated_v - 2 * self.diode_v

    @property
    def rest_v(self) -> float:
        """At C2 while nothing moves: the comparator's bias through R4."""
        return self.bias_a * self.r4_ohm

    @property
    def threshold_on_v(self) -> float:
        """Above which the coil gets current: the output is open, and R9 hangs on the supply."""
        up = 1 / self.r5_ohm + 1 / (self.r9_ohm + self.r7_ohm + self.r8_ohm)
        return self._threshold_v(up, up * self.supply_v)

    @property
    def threshold_off_v(self) -> float:
        """Below which it gets none: the output is at 0 V, and so is R9."""
        up = 1 / self.r5_ohm + 1 / self.r9_ohm
        return self._threshold_v(up, self.supply_v / self.r5_ohm)

    def _threshold_v(self, up_s: float, from_above_a: float) -> float:
        return (from_above_a + self.bias_a) / (up_s + 1 / self.r6_ohm) + self.offset_v

    def after_pulse_v(self, v: float, half_s: float) -> float:
        """At C2 after the line has fallen and stayed low for `half_s`."""
        together_f = self.c1_f * self.c2_f / (self.c1_f + self.c2_f)
        done = 1 - math.exp(-half_s / (self.r3_ohm * together_f))
        return v + max(0.0, self.share * (self.swing_v - v) * done)

    def later_v(self, v: float, low_s: float, high_s: float) -> float:
        """At C2 after the line was low for `low_s` and high for `high_s`, without a new pulse."""
        kept = math.exp(-low_s / self.low_s - high_s / self.high_s)
        return self.rest_v + (v - self.rest_v) * kept

    def steady_v(self, edge_s: float) -> float:
        """At C2 just after each pulse, once it has settled, with edges `edge_s` apart."""
        kept = math.exp(-edge_s / self.low_s - edge_s / self.high_s)
        # The pulse is a straight line in v, so two points of it are enough for its fixed point.
        added = self.after_pulse_v(0.0, edge_s)
        factor = self.after_pulse_v(1.0, edge_s) - added
        return (added + factor * self.rest_v * (1 - kept)) / (1 - factor * kept)


def nominal(sheet: Sheet | None = None) -> Values:
    """The values on the sheet."""
    parts = sheet or read_sheet("3-heartbeat")

    def ohm(mark: str) -> float:
        return parse(parts.named(mark).value, "Ω")

    def farad(mark: str) -> float:
        return parse(parts.named(mark).value, "F")

    return Values(
        r1_ohm=ohm("R1"),
        r3_ohm=ohm("R3"),
        r4_ohm=_parallel(ohm("R4a"), ohm("R4b")),
        r5_ohm=_parallel(ohm("R5a"), ohm("R5b")),
        r6_ohm=ohm("R6"),
        r7_ohm=_parallel(ohm("R7a"), ohm("R7b")),
        r8_ohm=ohm("R8"),
        r9_ohm=ohm("R9"),
        c1_f=_parallel(farad("C1a"), farad("C1b")),  # in series, which for capacitors is the same
        c2_f=farad("C2"),
    )


def _parallel(one: float, other: float) -> float:
    return one * other / (one + other)


def corners(middle: Values) -> Iterator[Values]:
    """Every combination of least and most. What only shifts both thresholds alike stays."""
    resistors, capacitors = (1 - RESISTOR_LIMIT, 1 + RESISTOR_LIMIT), (
        1 - CAPACITOR_LIMIT, 1 + CAPACITOR_LIMIT
    )  # fmt: skip
    supplies = (SUPPLY_V * (1 - SUPPLY_LIMIT), SUPPLY_V * (1 + SUPPLY_LIMIT))
    for r4, r5, r9, c1, c2, supply_v, diode_v, saturated_v, bias_a, offset_v in product(
        resistors, resistors, resistors, capacitors, capacitors, supplies, DIODE_V, SATURATED_V,
        BIAS_A, OFFSET_V,
    ):  # fmt: skip
        yield replace(
            middle,
            r4_ohm=middle.r4_ohm * r4,
            r5_ohm=middle.r5_ohm * r5,
            r6_ohm=middle.r6_ohm / r5,
            r9_ohm=middle.r9_ohm * r9,
            c1_f=middle.c1_f * c1,
            c2_f=middle.c2_f * c2,
            supply_v=supply_v,
            diode_v=diode_v,
            saturated_v=saturated_v,
            bias_a=bias_a,
            offset_v=offset_v,
        )


def circuit_drop_out_s(values: Values, edge_s: float = LEAST_EDGE_S) -> float:
    """From the last edge to no current in the coil, after edges `edge_s` apart; 0 if none was.

    The longest is after the fastest rhythm, after an edge that brought a pulse, with the line low.
    """
    last_v, off_v, rest_v = values.steady_v(edge_s), values.threshold_off_v, values.rest_v
    if last_v <= off_v:
        return 0.0
    if rest_v >= off_v:
        return math.inf
    # The last pulse takes its time to come; meanwhile C2 loses nothing in this reckoning.
    pulse_s = 5 * values.r3_ohm * values.c1_f
    return pulse_s + values.low_s * math.log((last_v - rest_v) / (off_v - rest_v))


def pick_up_pulses(values: Values, edge_s: float, most: int = 1000) -> int | None:
    """How many pulses, edges `edge_s` apart, the coil takes to get current; None if never."""
    v = values.rest_v
    for pulses in range(1, most + 1):
        v = values.after_pulse_v(v, edge_s)
        if v > values.threshold_on_v:
            return pulses
        v = values.later_v(v, edge_s, edge_s)
    return None


def bears_pause(values: Values, pause_s: float = PAUSE_S, edge_s: float = CYCLE_S) -> float:
    """At C2 before the next pulse over the threshold, after one pause at the slowest rhythm.

    Above 1 the coil keeps its current. The pause is worst while the line is high, and the low half
    since the last pulse came before it.
    """
    before_v = values.later_v(values.steady_v(edge_s), edge_s, pause_s)
    return before_v / values.threshold_off_v


def slowest_edge_s(values: Values) -> float:
    """The widest spacing of edges at which the coil still gets current."""
    near, far = 0.001, 2.0
    while far - near > 1e-4:
        middle = (near + far) / 2
        near, far = (
            (middle, far) if values.steady_v(middle) > values.threshold_on_v else (near, middle)
        )
    return near


@dataclass(frozen=True, slots=True)
class Figures:
    """What the circuit does, each as least and most over all corners.

    drop_out_s: from the last edge to open contacts. pick_up_s: from the first edge to closed ones,
    at any rhythm of the loop. pulses: how many it takes at least. single: the threshold over what
    one pulse brings. pause: what is left over the threshold after a pause of `PAUSE_S`.
    slowest_s: spacing of edges beyond which the coil never gets current. ripple: of the voltage at
    C2 from pulse to pulse, at the slowest rhythm, as a share. light_a: the current of U1's light,
    which is what the pin drives. collector: what U1 can take over what R3 gives. rest_v, slow_v,
    fast_v: at C2 with the line at rest, and with edges 50 and 20 ms apart, before and after a fall.
    """

    drop_out_s: tuple[float, float]
    pick_up_s: tuple[float, float]
    pulses: tuple[float, float]
    single: tuple[float, float]
    pause: tuple[float, float]
    slowest_s: tuple[float, float]
    ripple: tuple[float, float]
    light_a: tuple[float, float]
    collector: tuple[float, float]
    rest_v: tuple[float, float]
    slow_v: tuple[float, float]
    fast_v: tuple[float, float]


def figures(middle: Values | None = None) -> Figures:
    """Work the circuit out over all its corners. Raises ValueError where it never picks up."""
    middle = middle or nominal()
    every = [middle, *corners(middle)]
    rhythms = (LEAST_EDGE_S, CYCLE_S)

    def span(of: Callable[[Values], float]) -> tuple[float, float]:
        found = [of(each) for each in every]
        return min(found), max(found)

    def pulses(values: Values, edge_s: float) -> int:
        needed = pick_up_pulses(values, edge_s)
        if needed is None:
            raise ValueError(f"never picks up with edges {edge_s:g} s apart: {values}")
        return needed

    needed = [[pulses(each, edge_s) for edge_s in rhythms] for each in every]
    closing_s = [2 * edge_s * n for row in needed for edge_s, n in zip(rhythms, row, strict=True)]
    fewest = [min(row) for row in needed]
    light_a = (
        (PIN_V[0] - LIGHT_V[1]) / (middle.r1_ohm * (1 + RESISTOR_LIMIT)),
        (PIN_V[1] - LIGHT_V[0]) / (middle.r1_ohm * (1 - RESISTOR_LIMIT)),
    )
    r3_a = [SUPPLY_V * (1 + sign * SUPPLY_LIMIT) / middle.r3_ohm for sign in (1, -1)]
    return Figures(
        drop_out_s=(
            min(circuit_drop_out_s(each, CYCLE_S) for each in every),
            max(circuit_drop_out_s(each) for each in every) + RELEASE_S,
        ),
        pick_up_s=(min(closing_s), max(closing_s) + CLOSING_S),
        pulses=(min(fewest), max(fewest)),
        single=span(lambda each: each.threshold_on_v / each.after_pulse_v(each.rest_v, math.inf)),
        pause=span(bears_pause),
        slowest_s=span(slowest_edge_s),
        ripple=span(
            lambda each: (
                1 - each.later_v(each.steady_v(CYCLE_S), CYCLE_S, CYCLE_S) / each.steady_v(CYCLE_S)
            )
        ),
        light_a=light_a,
        collector=(
            TRANSFER * light_a[0] / (r3_a[0] * (1 + RESISTOR_LIMIT)),
            TRANSFER * light_a[1] / (r3_a[1] * (1 - RESISTOR_LIMIT)),
        ),
        rest_v=span(lambda each: each.rest_v),
        slow_v=_between_falls(every, CYCLE_S),
        fast_v=_between_falls(every, LEAST_EDGE_S),
    )


def _between_falls(every: Sequence[Values], edge_s: float) -> tuple[float, float]:
    """At C2, V: just before a fall at least, just after one at most."""
    after = [each.steady_v(edge_s) for each in every]
    before = [each.later_v(v, edge_s, edge_s) for each, v in zip(every, after, strict=True)]
    return min(before), max(after)
