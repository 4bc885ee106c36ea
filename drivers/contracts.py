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
    """A DC supply. Every method but `close` may raise `drivers.errors.DriverError` or a child."""

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


@dataclass(frozen=True, slots=True)
class Temperature:
    """One look at a thermometer: °C, and the moment that it belongs to."""

    monotonic_s: float
    temperature_c: float


class Meter(Protocol):
    """What measures the cell and drives nothing.

    Every method but `close` raises `drivers.errors.DriverError` or a child of it.
    """

    def open(self) -> None:
        """Find the device, and make sure that it is the described one and set as described."""

    def close(self) -> None:
        """Let go of the device. Never raises, may be called twice."""

    def read(self) -> Reading:
        """Measure; what this meter does not measure is None. Finds a device that came back."""


class Thermometer(Protocol):
    """What measures one temperature, under the same rules as a `Meter`."""

    def open(self) -> None:
        """Find the device, and make sure that it is the described one."""

    def close(self) -> None:
        """Let go of the device. Never raises, may be called twice."""

    def read(self) -> Temperature:
        """Measure; may take as long as a conversion. Finds a device that came back."""


class Switch(Protocol):
    """What keeps something energised only as long as it is told so again and again.

    `beat` and `rest` raise `drivers.errors.DriverError` or a child of it.
    """

    def beat(self) -> None:
        """Keep it energised a moment longer."""

    def rest(self) -> None:
        """Let it fall back now."""

    def close(self) -> None:
        """Let it fall back, and let go of it. May be called twice."""


class Contact(Protocol):
    """A contact that is read. A wire that is broken reads as an open contact."""

    def closed(self) -> bool:
        """Whether it is closed at this moment; raises `drivers.errors.DriverError` or a child."""

    def close(self) -> None:
        """Let go of it. May be called twice."""


class Signal(Protocol):
    """A beacon or a siren: off until it is switched on, and when it is closed."""

    def show(self, on: bool) -> None:
        """Switch it on or off, or say again what it is.

        Raises `drivers.errors.DriverError` or a child when that fails, or when it was found not to
        have stayed as it was put before.
        """

    def close(self) -> None:
        """Switch it off, and let go of it. May be called twice."""
