"""The simulated supply called in the same process, on whatever clock it is given."""

from collections.abc import Callable

from drivers.contracts import Rating, Reading
from drivers.errors import PortUnavailableError, SetPointRefusedError
from drivers.simulator.bench import Bench, Truth
from drivers.simulator.power import LONGEST_STEP_S, OutOfRangeError
from drivers.simulator.scenario import Scenario
from drivers.simulator.tank import Tank


class SimulatedSupply:
    """A `drivers.contracts.Supply` whose every call first lets the tank catch up with the clock.

    `now` gives seconds on a monotonic clock. `bench` and `tank` show the truth behind the meter.
    """

    def __init__(
        self,
        now: Callable[[], float],
        scenario: Scenario | None = None,
        seed: int = 0,
        longest_step_s: float = LONGEST_STEP_S,
    ) -> None:
        self._now = now
        self.bench = Bench(scenario or Scenario(), now(), seed, longest_step_s)
        self._open = False

    @property
    def tank(self) -> Tank:
        """The tank on the terminals."""
        return self.bench.tank

    @property
    def rating(self) -> Rating:
        """What the supply can do."""
        p = self.bench.supply.parameters
        return Rating(p.current_a, p.voltage_v, p.current_step_a, p.voltage_step_v)

    def truth(self) -> Truth:
        """What really happened up to the clock's now."""
        self.bench.advance_to(self._now())
        return self.bench.truth()

    def open(self) -> None:
        """Switch the output off."""
        self._open = True
        self.output(False)

    def close(self) -> None:
        """Let go of the supply; its output stays as it is."""
        self._open = False

    def _catch_up(self) -> float:
        if not self._open:
            raise PortUnavailableError("simulated supply: not open")
        now_s = self._now()
        self.bench.advance_to(now_s)
        return now_s

    def read(self) -> Reading:
        """Measure current and voltage; raises `PortUnavailableError` when not open."""
        now_s = self._catch_up()
        supply = self.bench.supply
        measured = supply.measure()
        return Reading(
            now_s, measured.current_a, measured.voltage_v, measured.mode, supply.output_on
        )

    def set_points(self, current_a: float, voltage_v: float) -> None:
        """Set both limits; raises `SetPointRefusedError` when they are refused or clipped."""
        self._catch_up()
        supply = self.bench.supply
        try:
            supply.program_current(current_a)
            supply.program_voltage(voltage_v)
        except OutOfRangeError as error:
            raise SetPointRefusedError(f"simulated supply: {error}") from error
        p = supply.parameters
        for sent, got, step, unit in (
            (current_a, supply.current_set_a, p.current_step_a, "A"),
            (voltage_v, supply.voltage_set_v, p.voltage_step_v, "V"),
        ):
            if abs(sent - got) > 0.51 * step:
                raise SetPointRefusedError(
                    f"simulated supply: set {sent:g} {unit}, reads back {got:g} {unit}"
                )

    def output(self, on: bool) -> None:
        """Switch the output; raises `PortUnavailableError` when not open."""
        self._catch_up()
        self.bench.supply.switch(on)
