"""The settings of what reads and drives the tank: the supply, meters, thermometers, their roles."""

import math
from dataclasses import replace
from typing import Annotated, Literal

from pydantic import Field, model_validator

from daemon.api.quantities import CurrentA, DurationS, Fraction, ResistanceOhm, VoltageV
from daemon.chemistry.uncertainty import MeterDoubt, rectangular, undithered
from daemon.service.settings.table import Table
from drivers.contracts import Rating

USUAL_NOISE_A = 0.002
"""A. Of an ammeter whose noise is not stated (common practice); over a run it averages out."""

SUPPLY = "supply"
"""The name of the supply's own meter among the meters."""

CLOCK_LIMIT = 1e-4
"""Relative. What a computer's quartz may be off without being corrected (common practice)."""


class AccuracyTable(Table):
    """What a maker promises of an ammeter, as limits that it stays within (±).

    The defaults stand for a bench supply's own readback (common practice); a manual knows better.
    """

    gain: Fraction = Field(default=0.01, description="of the reading", examples=['"0.5 %"'])
    offset: CurrentA = Field(default=0.01, description="at any reading", examples=['"5 mA"'])
    noise: CurrentA | None = Field(
        default=None, description="from reading to reading, one standard deviation",
        examples=['"1 mA"'],
    )  # fmt: skip

    def doubt(self, step_a: float) -> MeterDoubt:
        """The limits as standard uncertainties: anywhere within them is as likely.

        `step_a` is the smallest step that the meter shows, A.
        """
        return MeterDoubt(
            gain=rectangular(self.gain),
            offset_a=rectangular(self.offset),
            noise_a=USUAL_NOISE_A if self.noise is None else self.noise,
            clock=rectangular(CLOCK_LIMIT),
            # Noise that nobody has stated may be less, and then dithers nothing.
            step_a=step_a if self.noise is None else undithered(step_a, self.noise),
            of_limits=True,
        )


class ShuntSettings(Table):
    """The shunt of a meter: its rated current and the voltage at it, or its resistance."""

    rated_current: CurrentA | None = Field(default=None, description="of the shunt")
    rated_voltage: VoltageV | None = Field(default=None, description="at its rated current")
    resistance: ResistanceOhm | None = Field(default=None, description="instead of both")

    @model_validator(mode="after")
    def _one_resistance(self) -> "ShuntSettings":
        if (self.rated_voltage is None) == (self.resistance is None):
            raise ValueError("rated_voltage or resistance is wanted, and not both")
        if self.resistance is None and self.rated_current is None:
            raise ValueError("rated_current is wanted with rated_voltage")
        return self


Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9 _-]{0,29}$")]


class ChannelTable(Table):
    """A meter or thermometer on one of the kernel's channels."""

    name: Name = Field(description="lower case letters and digits", examples=['"shunt"'])
    description: str = Field(
        min_length=1,
        description="the chip: a name that ships with tankhand, or a file",
        examples=['"ina226"'],
    )
    address: str | None = Field(
        default=None, description="the chip's address", examples=['"1-0040"']
    )
    period: DurationS | None = Field(
        default=None, description="from reading to reading", examples=['"100 ms"']
    )


class MeterTable(ChannelTable):
    """An ammeter or voltmeter besides the supply's own."""

    shunt: ShuntSettings | None = None
    accuracy: AccuracyTable = AccuracyTable()


class RolesTable(Table):
    """Which meter counts; every other one is held against it."""

    counts: str | None = Field(
        default=None, description="a meter's name, or supply", examples=['"shunt"']
    )


class SupplyTable(Table):
    """The supply and its line."""

    port: str = Field(
        min_length=1,
        description="the serial port, by its lasting name, or socket://HOST:PORT",
        examples=['"/dev/serial/by-id/usb-…"'],
    )
    description: str = Field(
        default="scpi99",
        min_length=1,
        description="the supply's words: a name that ships with tankhand, or a file",
        examples=['"scpi99"'],
    )
    greatest_current: CurrentA | None = Field(
        default=None, description="less than the supply could give", examples=['"5 A"']
    )
    greatest_voltage: VoltageV | None = Field(
        default=None, description="less than the supply could give", examples=['"12 V"']
    )

    mains: Literal["50 Hz", "60 Hz"] = Field(
        default="50 Hz",
        description="the mains that feed the supply: its ripple has twice their frequency",
        examples=['"60 Hz"'],
    )
    accuracy: AccuracyTable = AccuracyTable()

    @property
    def mains_hz(self) -> float:
        """The mains' frequency, Hz."""
        return float(self.mains.split()[0])

    def rating(self, described: Rating) -> Rating:
        """The described rating, narrowed by what these settings allow."""
        return replace(
            described,
            current_a=min(described.current_a, self.greatest_current or math.inf),
            voltage_v=min(described.voltage_v, self.greatest_voltage or math.inf),
        )
