"""What detectors look at, and what all of them have in common."""

from dataclasses import dataclass
from typing import Protocol

from daemon.control.protection.alarms import Sign
from drivers.contracts import Mode


@dataclass(frozen=True, slots=True)
class Observation:
    """One reading of the meter that counts, beside what was asked for when it was taken.

    at_s: the reading's moment on the monotonic clock. set_current_a and ceiling_v: what the supply
    was told, A and V. steady_s: for how long it had been told so, s; a ramp keeps this small.
    least_a, before_a: the least and the greatest current that was asked for within the last second,
    or since the reading before the last one, A: a supply takes its time to come up and down.
    started_s: when the output was last switched on, s; nothing was asked for before. area_dm2: what
    the plan says of the parts' area, dm². What was not read, or is not known, is None.
    """

    at_s: float
    current_a: float
    voltage_v: float | None
    mode: Mode | None
    output_on: bool | None
    set_current_a: float
    ceiling_v: float
    steady_s: float
    least_a: float
    before_a: float
    started_s: float
    area_dm2: float | None = None


class Detector(Protocol):
    """Sees one cause, or a family of causes that are told apart by it.

    It is shown each reading of a plating run, in order, and none while the current is being taken
    away or is gone: what comes of that is no cause. Time comes in with the readings.
    """

    def look(self, seen: Observation) -> tuple[Sign, ...]:
        """The causes that are there, as of this reading."""

    def forget(self) -> None:
        """Begin anew: the output was off, and whatever was learned or timed may not hold."""
