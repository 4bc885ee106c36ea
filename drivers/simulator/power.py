"""The bench supply that drives the tank: two set-points, automatic crossover, its own meter."""

from math import exp, inf
from random import Random
from typing import NamedTuple

from drivers.contracts import Mode
from drivers.simulator.parameters import SupplyParameters
from drivers.simulator.tank import Tank

LONGEST_STEP_S = 2.0
DECAYED = 20
"""After so many time constants the output's current, e^-20 of what it was, counts as 0."""


class OutOfRangeError(Exception):
    """A set-point that this supply does not accept; the old one stands."""


class Measurement(NamedTuple):
    """What the supply's own meter shows, A and V, and which limit holds (None with output off)."""

    current_a: float
    voltage_v: float
    mode: Mode | None


class BenchSupply:
    """A supply with the tank on its terminals.

    It holds the current set-point as long as that needs no more than the voltage set-point, else
    the voltage. A command changes the current at `slew_a_per_s`; a change that comes from the tank
    is followed linearly over each step of at most `longest_step_s`, its end being what the tank
    asked for at the step's start. Charge is exact for these straight lines, and for the exponential
    with which the current dies once the output is off.
    """

    def __init__(
        self,
        parameters: SupplyParameters,
        tank: Tank,
        noise: Random,
        longest_step_s: float = LONGEST_STEP_S,
    ) -> None:
        self.parameters = parameters
        self.slew_a_per_s = parameters.slew_a_per_s
        self._longest_step_s = longest_step_s
        self._tank = tank
        self._noise = noise
        self.current_set_a = 0.0
        self.voltage_set_v = 0.0
        self.output_on = False
        self.current_a = 0.0
        self._mode = Mode.CONSTANT_CURRENT
        self._following = True
        self._frozen: Measurement | None = None
        self._surge_a = 0.0
        self._most_a = inf

    # The panel.

    def program_current(self, current_a: float) -> None:
        """Set the current limit, rounded to its step; raises `OutOfRangeError`, or clips."""
        p = self.parameters
        self.current_set_a = self._accept(current_a, p.current_a, p.current_step_a, "A")
        self._following = False

    def program_voltage(self, voltage_v: float) -> None:
        """Set the voltage limit, rounded to its step; raises `OutOfRangeError`, or clips."""
        p = self.parameters
        self.voltage_set_v = self._accept(voltage_v, p.voltage_v, p.voltage_step_v, "V")
        self._following = False

    def _accept(self, value: float, rating: float, step: float, unit: str) -> float:
        if value > rating and self.parameters.beyond_rating == "clip":
            return rating
        if not 0.0 <= value <= rating:
            raise OutOfRangeError(
                f"{value:g} {unit} is out of range, allowed 0 to {rating:g} {unit}"
            )
        return min(rating, _to_step(value, step))

    def switch(self, on: bool) -> None:
        """Switch the output."""
        self.output_on = on
        self._following = False

    def freeze(self, frozen: bool) -> None:
        """Let the meter repeat its last values, or measure again."""
        self._frozen = self.measure() if frozen else None

    def surge(self, current_a: float) -> None:
        """Let it hold this much current above its set-point, A."""
        self._surge_a = current_a

    def fold_back(self, current_a: float) -> None:
        """Let it give no more current than this, A, whatever its set-point is."""
        self._most_a = current_a

    def tank_changed(self) -> None:
        """Something happened to the tank: a break stops the current, else the regulator answers."""
        self._following = False
        if self._tank.is_open:
            self.current_a = 0.0

    # The regulator.

    def advance(self, dt_s: float) -> None:
        """Drive the tank for `dt_s` >= 0."""
        while dt_s > 0.0:
            if self.output_on:
                step_s = min(dt_s, self._longest_step_s)
                self._regulate(step_s)
            elif self.current_a > 0.0:
                step_s = min(dt_s, DECAYED * self.parameters.decay_s)
                self._decay(step_s)
            else:
                step_s = dt_s
                self._tank.advance(step_s, 0.0)
            dt_s -= step_s

    def _target_a(self) -> float:
        tank = self._tank
        if tank.is_open:
            self._mode = Mode.CONSTANT_VOLTAGE
            return 0.0
        current_a = min(self.current_set_a, self._most_a) + self._surge_a
        if tank.point_at(current_a).terminal_v <= self.voltage_set_v:
            self._mode = Mode.CONSTANT_CURRENT
            return current_a
        self._mode = Mode.CONSTANT_VOLTAGE
        return min(current_a, tank.current_at(self.voltage_set_v))

    def _regulate(self, step_s: float) -> None:
        target_a = self._target_a()
        start_a = self.current_a
        change_a = target_a - start_a
        if change_a == 0.0:
            self._following = True
            self._tank.advance(step_s, target_a * step_s)
            return
        ramp_s = abs(change_a) / self.slew_a_per_s
        if self._following:
            ramp_s = max(ramp_s, step_s)
        if ramp_s > step_s:
            self.current_a = start_a + change_a * step_s / ramp_s
            self._tank.advance(step_s, 0.5 * (start_a + self.current_a) * step_s)
            return
        self._following = True
        self.current_a = target_a
        self._tank.advance(ramp_s, 0.5 * (start_a + target_a) * ramp_s)
        if step_s > ramp_s:
            self._tank.advance(step_s - ramp_s, target_a * (step_s - ramp_s))

    def _decay(self, step_s: float) -> None:
        decay_s = self.parameters.decay_s
        end_a = self.current_a * exp(-step_s / decay_s)
        self._tank.advance(step_s, (self.current_a - end_a) * decay_s)
        self.current_a = end_a if step_s < DECAYED * decay_s else 0.0

    # The meter.

    @property
    def mode(self) -> Mode | None:
        """Which limit holds, as the meter shows it; None while the output is off."""
        if self._frozen is not None:
            return self._frozen.mode
        return self._mode if self.output_on else None

    def _terminal_v(self) -> float:
        if self.output_on and (
            self._tank.is_open or (self._following and self._mode is Mode.CONSTANT_VOLTAGE)
        ):
            return self.voltage_set_v
        return min(self.parameters.voltage_v, self._tank.point_at(self.current_a).terminal_v)

    def measure(self) -> Measurement:
        """Measure with noise and resolution, or repeat what was frozen."""
        if self._frozen is not None:
            return self._frozen
        p = self.parameters
        current_a = self.current_a + self._noise.gauss(0.0, p.current_noise_a)
        voltage_v = self._terminal_v() + self._noise.gauss(0.0, p.voltage_noise_v)
        return Measurement(
            _to_step(current_a, p.measured_current_step_a),
            _to_step(voltage_v, p.measured_voltage_step_v),
            self.mode,
        )


def _to_step(value: float, step: float) -> float:
    # The outer rounding takes away the dust of the product, such as 1.2340000000000002.
    return round(round(value / step) * step, 9)
