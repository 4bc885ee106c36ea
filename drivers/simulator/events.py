"""What can happen to the tank and the supply, at stated times or on demand.

Each event is a small described thing, the same in a scenario file and on the simulator's control
channel: `do` names it, `at_s` says when (from the start of the simulation, or from the moment of
its injection), `lasts_s` when it ends by itself.
"""

from abc import ABC, abstractmethod
from math import inf
from random import Random
from typing import Annotated, Literal, Protocol

from pydantic import Field

from drivers.simulator.parameters import Parameters
from drivers.simulator.power import BenchSupply
from drivers.simulator.tank import Tank


class Scene(Protocol):
    """Where events take place."""

    tank: Tank
    supply: BenchSupply


class _Event(Parameters, ABC):
    at_s: float = Field(default=0.0, ge=0)
    lasts_s: float | None = Field(default=None, gt=0)

    @abstractmethod
    def begin(self, scene: Scene) -> None:
        """Make it happen."""

    @abstractmethod
    def end(self, scene: Scene) -> None:
        """Undo it."""

    def flutter(self, scene: Scene, noise: Random) -> None:
        """Move, if this event is restless; called whenever time has passed."""


class Short(_Event):
    """Anode and cathode touch: the voltage collapses, the current stays at its limit."""

    do: Literal["short"]
    resistance_ohm: float = Field(default=0.02, gt=0, le=1000)

    def begin(self, scene: Scene) -> None:
        """Join the electrodes."""
        scene.tank.set_short(self.do, 1.0 / self.resistance_ohm)

    def end(self, scene: Scene) -> None:
        """Part them."""
        scene.tank.set_short(self.do, 0.0)


class Whisker(_Event):
    """A thin tree of copper bridges the gap: the voltage steps down 5 to 30 % and jumps about."""

    do: Literal["whisker"]
    resistance_ohm: float = Field(default=2.0, gt=0, le=1000)

    def begin(self, scene: Scene) -> None:
        """Let it touch."""
        scene.tank.set_short(self.do, 1.0 / self.resistance_ohm)

    def end(self, scene: Scene) -> None:
        """Shake it off."""
        scene.tank.set_short(self.do, 0.0)

    def flutter(self, scene: Scene, noise: Random) -> None:
        """Touch better or worse, by up to half."""
        scene.tank.set_short(self.do, noise.uniform(0.5, 1.5) / self.resistance_ohm)


class LosePart(_Event):
    """Part number `part`, counted from 1, falls off its hook: the others get its current."""

    do: Literal["lose_part"]
    part: int = Field(ge=1)

    def begin(self, scene: Scene) -> None:
        """Let it fall."""
        scene.tank.hang(self.part - 1, hangs=False)

    def end(self, scene: Scene) -> None:
        """Hang it up again."""
        scene.tank.hang(self.part - 1, hangs=True)


class OpenLoad(_Event):
    """The whole load comes off: no current, the voltage at its limit."""

    do: Literal["open_load"]

    def begin(self, scene: Scene) -> None:
        """Break the circuit."""
        scene.tank.set_broken(True)

    def end(self, scene: Scene) -> None:
        """Close it."""
        scene.tank.set_broken(False)


class BadContact(_Event):
    """A hook that touches now and then: a restless resistance in series of this mean, Ω."""

    do: Literal["bad_contact"]
    resistance_ohm: float = Field(default=0.3, gt=0, le=1000)

    def begin(self, scene: Scene) -> None:
        """Loosen the hook."""
        scene.tank.set_contact_ohm(self.resistance_ohm)

    def end(self, scene: Scene) -> None:
        """Fasten it."""
        scene.tank.set_contact_ohm(0.0)

    def flutter(self, scene: Scene, noise: Random) -> None:
        """Touch anew: exponentially distributed, so mostly little and sometimes much."""
        scene.tank.set_contact_ohm(noise.expovariate(1.0 / self.resistance_ohm))


class Drift(_Event):
    """The anode polarises: at constant current the voltage creeps up to a plateau."""

    do: Literal["drift"]
    rate_v_per_h: float = Field(default=1.0, gt=0, le=1000)
    limit_v: float = Field(default=3.0, gt=0, le=100)

    def begin(self, scene: Scene) -> None:
        """Let the film grow."""
        scene.tank.set_anode_drift(self.rate_v_per_h / 3600.0, self.limit_v)

    def end(self, scene: Scene) -> None:
        """Clean the anode."""
        scene.tank.set_anode_drift(0.0, 0.0)


class OutputDrop(_Event):
    """The supply switches its output off by itself; only a command switches it on again."""

    do: Literal["output_drop"]

    def begin(self, scene: Scene) -> None:
        """Switch off."""
        scene.supply.switch(False)

    def end(self, scene: Scene) -> None:
        """Nothing comes back by itself."""


class FreezeReadings(_Event):
    """The supply's meter repeats its last values, whatever happens."""

    do: Literal["freeze_readings"]

    def begin(self, scene: Scene) -> None:
        """Keep the present values."""
        scene.supply.freeze(True)

    def end(self, scene: Scene) -> None:
        """Measure again."""
        scene.supply.freeze(False)


class Surge(_Event):
    """The supply's regulator fails upwards: more current than its set-point says, V permitting."""

    do: Literal["surge"]
    current_a: float = Field(default=2.0, gt=0, le=10_000)

    def begin(self, scene: Scene) -> None:
        """Add the current."""
        scene.supply.surge(self.current_a)

    def end(self, scene: Scene) -> None:
        """Take it away."""
        scene.supply.surge(0.0)


class FoldBack(_Event):
    """The supply protects itself, hot or on weak mains: no more current than this."""

    do: Literal["fold_back"]
    current_a: float = Field(default=0.5, ge=0, le=10_000)

    def begin(self, scene: Scene) -> None:
        """Limit the current."""
        scene.supply.fold_back(self.current_a)

    def end(self, scene: Scene) -> None:
        """Give what is asked for."""
        scene.supply.fold_back(inf)


Event = Annotated[
    Short
    | Whisker
    | LosePart
    | OpenLoad
    | BadContact
    | Drift
    | OutputDrop
    | FreezeReadings
    | Surge
    | FoldBack,
    Field(discriminator="do"),
]
