"""What can happen to the tank and the supply, at stated times or on demand.

Each event is a small described thing, the same in a scenario file and on the simulator's control
channel: `do` names it, `at_s` says when (from the start of the simulation, or from the moment of
its injection), `lasts_s` when it ends by itself.
"""

from random import Random
from typing import Annotated, Literal, Protocol

from pydantic import Field

from drivers.simulator.parameters import Parameters
from drivers.simulator.power import BenchSupply
from drivers.simulator.tank import Tank


class Stage(Protocol):
    """Where events take place."""

    tank: Tank
    supply: BenchSupply


class _Event(Parameters):
    at_s: float = Field(default=0.0, ge=0)
    lasts_s: float | None = Field(default=None, gt=0)

    def begin(self, stage: Stage) -> None:
        """Make it happen."""
        raise NotImplementedError

    def end(self, stage: Stage) -> None:
        """Undo it."""
        raise NotImplementedError

    def flutter(self, stage: Stage, noise: Random) -> None:
        """Move, if this event is restless; called whenever time has passed."""


class Short(_Event):
    """Anode and cathode touch: the voltage collapses, the current stays at its limit."""

    do: Literal["short"]
    resistance_ohm: float = Field(default=0.02, gt=0, le=1000)

    def begin(self, stage: Stage) -> None:
        """Join the electrodes."""
        stage.tank.set_short(self.do, 1.0 / self.resistance_ohm)

    def end(self, stage: Stage) -> None:
        """Part them."""
        stage.tank.set_short(self.do, 0.0)


class Whisker(_Event):
    """A thin tree of copper bridges the gap: the voltage steps down 5 to 30 % and jumps about."""

    do: Literal["whisker"]
    resistance_ohm: float = Field(default=2.0, gt=0, le=1000)

    def begin(self, stage: Stage) -> None:
        """Let it touch."""
        stage.tank.set_short(self.do, 1.0 / self.resistance_ohm)

    def end(self, stage: Stage) -> None:
        """Shake it off."""
        stage.tank.set_short(self.do, 0.0)

    def flutter(self, stage: Stage, noise: Random) -> None:
        """Touch better or worse, by up to half."""
        stage.tank.set_short(self.do, noise.uniform(0.5, 1.5) / self.resistance_ohm)


class LosePart(_Event):
    """Part number `part`, counted from 1, falls off its hook: the others get its current."""

    do: Literal["lose_part"]
    part: int = Field(ge=1)

    def begin(self, stage: Stage) -> None:
        """Let it fall."""
        stage.tank.hang(self.part - 1, hangs=False)

    def end(self, stage: Stage) -> None:
        """Hang it up again."""
        stage.tank.hang(self.part - 1, hangs=True)


class OpenLoad(_Event):
    """The whole load comes off: no current, the voltage at its limit."""

    do: Literal["open_load"]

    def begin(self, stage: Stage) -> None:
        """Break the circuit."""
        stage.tank.set_broken(True)

    def end(self, stage: Stage) -> None:
        """Close it."""
        stage.tank.set_broken(False)


class BadContact(_Event):
    """A hook that touches now and then: a restless resistance in series of this mean, Ω."""

    do: Literal["bad_contact"]
    resistance_ohm: float = Field(default=0.3, gt=0, le=1000)

    def begin(self, stage: Stage) -> None:
        """Loosen the hook."""
        stage.tank.set_contact_ohm(self.resistance_ohm)

    def end(self, stage: Stage) -> None:
        """Fasten it."""
        stage.tank.set_contact_ohm(0.0)

    def flutter(self, stage: Stage, noise: Random) -> None:
        """Touch anew: exponentially distributed, so mostly little and sometimes much."""
        stage.tank.set_contact_ohm(noise.expovariate(1.0 / self.resistance_ohm))


class Drift(_Event):
    """The anode polarises: at constant current the voltage creeps up to a plateau."""

    do: Literal["drift"]
    rate_v_per_h: float = Field(default=1.0, gt=0, le=1000)
    limit_v: float = Field(default=3.0, gt=0, le=100)

    def begin(self, stage: Stage) -> None:
        """Let the film grow."""
        stage.tank.set_anode_drift(self.rate_v_per_h / 3600.0, self.limit_v)

    def end(self, stage: Stage) -> None:
        """Clean the anode."""
        stage.tank.set_anode_drift(0.0, 0.0)


class OutputDrop(_Event):
    """The supply switches its output off by itself; only a command switches it on again."""

    do: Literal["output_drop"]

    def begin(self, stage: Stage) -> None:
        """Switch off."""
        stage.supply.switch(False)

    def end(self, stage: Stage) -> None:
        """Nothing comes back by itself."""


class FreezeReadings(_Event):
    """The supply's meter repeats its last values, whatever happens."""

    do: Literal["freeze_readings"]

    def begin(self, stage: Stage) -> None:
        """Keep the present values."""
        stage.supply.freeze(True)

    def end(self, stage: Stage) -> None:
        """Measure again."""
        stage.supply.freeze(False)


Event = Annotated[
    Short | Whisker | LosePart | OpenLoad | BadContact | Drift | OutputDrop | FreezeReadings,
    Field(discriminator="do"),
]
