"""What the rest of tankhand may expect of a device.

Currents are amperes through the cell, positive when plating; voltages are volts at the supply's
sense point; times are seconds on the monotonic clock of whoever constructed the driver.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Protocol


class Mode(Enum):
    """Which of its two set-points a supply is holding."""

    CONSTANT_CURRENT = "constant current"
    CONSTANT_VOLTAGE = "constant voltage"


@dataclass(frozen=True, slots=True)
class Reading:
    """One look at the cell. A value that could not be read is None, never 0.

    `monotonic_s` is the moment of the current's measurement, as near as the driver can tell: the
    middle of that exchange. `mode` and `output_on` are None where the device cannot tell.
    """

    monotonic_s: float
    current_a: float | None
    voltage_v: float | None
    mode: Mode | None = None
    output_on: bool | None = None


@dataclass(frozen=True, slots=True)
class Rating:
    """What a supply can do: greatest set-points and the smallest step of each, in A and V."""

    current_a: float
    voltage_v: float
    current_step_a: float
    voltage_step_v: float


class Supply(Protocol):
    """A DC supply. Every method but `close` raises `drivers.errors.DriverError` or a child of it."""

    def open(self) -> None:
        """Open the line, make sure that the described device answers, and switch its output off."""

    def close(self) -> None:
        """Give the line back. Never raises, never touches the output, may be called twice."""

    def read(self) -> Reading:
        """Measure current and voltage."""

    def set_points(self, current_a: float, voltage_v: float) -> None:
        """Set both limits and read them back; raises `SetPointRefusedError` when they differ."""

    def output(self, on: bool) -> None:
        """Switch the output and read its state back; raises `CommandRefusedError` if it did not."""
