"""Which kernel file means what: a TOML file for a meter or a thermometer, checked to the last key.

Every key that has a unit carries it in its name. `ina226.toml` and `ds18b20.toml`, beside this
file, explain each key and are meant to be copied.

Shunts: I = V / R with R = rated voltage / rated current. A shunt that is used without a break is
loaded with at most 2/3 of its rated current (data sheets of class 0.5 shunts).
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal, Self, cast

from pydantic import Field, ValidationError, model_validator

from drivers import tables
from drivers.channels.channel import Setting, Source
from drivers.channels.sysfs import Bus
from drivers.errors import DescriptionError
from drivers.tables import Positive, Table, Words

CONTINUOUS_SHARE = 2 / 3
"""Of its rated current, what a shunt carries without a break."""

_SHIPPED = Path(__file__).parent

_FACTOR = 1e-3

FileName = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$")]
SettingPath = Annotated[str, Field(pattern=r"^[A-Za-z0-9_,-]+(/[A-Za-z0-9_,-]+)*$")]
I2C_ADDRESS = r"[0-9]+-[0-9a-f]{4}"
W1_ADDRESS = r"[0-9a-f]{2}-[0-9a-f]{12}"
Address = Annotated[str, Field(pattern=f"^({I2C_ADDRESS}|{W1_ADDRESS})$")]
Number = Annotated[float, Field(allow_inf_nan=False)]


class SettingTable(Table):
    """A setting of the kernel's that has to be so; looked at whenever the chip is found."""

    file: SettingPath
    value: Positive
    form: Literal["text", "cells"] = "text"


class ChipTable(Table):
    """Which chip, and where it is connected."""

    bus: Literal["hwmon", "iio", "w1"]
    names: list[Words] = Field(default_factory=list)
    address: Address
    settings: list[SettingTable] = Field(default_factory=list)
    restore_file: FileName | None = None
    restore_every_s: Annotated[float, Field(ge=1, le=86_400)] = 60.0

    @model_validator(mode="after")
    def _can_be_told(self) -> Self:
        if (self.bus == "w1") != (len(self.names) == 0):
            raise ValueError("names for a chip on hwmon or iio, and none on w1")
        return self

    def source(
        self,
        file: str,
        scale_file: str | None = None,
        greatest_count: float = float("inf"),
        void_counts: Sequence[int] = (),
    ) -> Source:
        """One of this chip's files as a `Channel` takes it."""
        return Source(
            bus=Bus(self.bus),
            names=tuple(self.names),
            address=self.address,
            file=file,
            scale_file=scale_file,
            settings=tuple(
                Setting(setting.file, setting.value, setting.form == "cells")
                for setting in self.settings
            ),
            greatest_count=greatest_count,
            void_counts=tuple(void_counts),
        )


class CurrentTable(Table):
    """The file that the current is read from, and what a count of it means."""

    file: FileName
    microvolts_per_count: Positive | None = None
    millivolts_per_count_file: FileName | None = None
    milliamperes_per_count: Positive | None = None
    greatest_count: Positive
    window_ms: Annotated[float, Field(ge=0, le=60_000)]
    reversed: bool = False

    @model_validator(mode="after")
    def _one_meaning(self) -> Self:
        given = (
            self.microvolts_per_count,
            self.millivolts_per_count_file,
            self.milliamperes_per_count,
        )
        if sum(meaning is not None for meaning in given) != 1:
            raise ValueError(
                "one of microvolts_per_count, millivolts_per_count_file and milliamperes_per_count"
            )
        return self


class ShuntTable(Table):
    """The shunt: rated current and voltage, or its measured resistance."""

    rated_current_a: Positive | None = None
    rated_voltage_mv: Positive | None = None
    resistance_mohm: Positive | None = None

    @model_validator(mode="after")
    def _one_resistance(self) -> Self:
        if self.resistance_mohm is None:
            if self.rated_current_a is None or self.rated_voltage_mv is None:
                raise ValueError("rated_current_a and rated_voltage_mv, or resistance_mohm")
        elif self.rated_voltage_mv is not None:
            raise ValueError("rated_voltage_mv or resistance_mohm, not both")
        return self

    @property
    def resistance_ohm(self) -> float:
        """Its resistance, Ω."""
        if self.resistance_mohm is not None:
            return self.resistance_mohm * _FACTOR
        # One of the two was given, or the table would have been refused.
        rated_v = cast("float", self.rated_voltage_mv) * _FACTOR
        return rated_v / cast("float", self.rated_current_a)

    @property
    def continuous_a(self) -> float | None:
        """What it carries without a break, A; None if its rated current is not known."""
        return None if self.rated_current_a is None else self.rated_current_a * CONTINUOUS_SHARE


class VoltageTable(Table):
    """The file that the voltage is read from; `ratio` is cell volts per volt at the chip."""

    file: FileName
    millivolts_per_count: Positive | None = None
    millivolts_per_count_file: FileName | None = None
    ratio: Annotated[float, Field(ge=1, le=1000)] = 1.0
    greatest_count: Positive

    @model_validator(mode="after")
    def _one_meaning(self) -> Self:
        if (self.millivolts_per_count is None) == (self.millivolts_per_count_file is None):
            raise ValueError("one of millivolts_per_count and millivolts_per_count_file")
        return self


class TemperatureTable(Table):
    """The file that the temperature is read from."""

    file: FileName
    degrees_c_per_count: Positive
    offset_c: Number = 0.0
    least_c: Number
    greatest_c: Number
    void_counts: list[int] = Field(default_factory=list)

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if not self.least_c < self.greatest_c:
            raise ValueError("least_c below greatest_c")
        return self


class Description(Table):
    """One chip, as a meter (current, voltage or both) or as a thermometer."""

    title: Words
    chip: ChipTable
    current: CurrentTable | None = None
    shunt: ShuntTable | None = None
    voltage: VoltageTable | None = None
    temperature: TemperatureTable | None = None

    @model_validator(mode="after")
    def _one_device(self) -> Self:
        meter = self.current is not None or self.voltage is not None
        if meter == (self.temperature is not None):
            raise ValueError("current, voltage or both for a meter, or temperature alone")
        by_voltage = self.current is not None and self.current.milliamperes_per_count is None
        if by_voltage != (self.shunt is not None):
            raise ValueError(
                "shunt where current is read as a voltage, and none where it is read as a current"
            )
        return self

    @model_validator(mode="after")
    def _shunt_within_range(self) -> Self:
        if self.current is not None and self.current.microvolts_per_count is not None:
            range_mv = self.current.microvolts_per_count * self.current.greatest_count * _FACTOR
            self.check_range(range_mv)
        return self

    def check_range(self, range_mv: float) -> None:
        """Raises ValueError if the converter ends below what the shunt may carry for long.

        A range that ends between that and the rated current only limits what can be read.
        """
        if self.shunt is None or self.shunt.continuous_a is None:
            return
        continuous_mv = self.shunt.continuous_a * self.shunt.resistance_ohm / _FACTOR
        if continuous_mv > range_mv:
            raise ValueError(
                f"a shunt whose voltage stays within ±{range_mv:g} mV, where the converter ends; "
                f"this one gives {continuous_mv:.4g} mV at {self.shunt.continuous_a:.4g} A, 2/3 of "
                "its rated current"
            )


def shipped_channels() -> list[str]:
    """The names of the descriptions that come with tankhand."""
    return sorted(path.stem for path in _SHIPPED.glob("*.toml"))


def load_channel(name: str | Path) -> Description:
    """The description in a file, or a shipped one by its bare name, e.g. "ina226".

    Raises `DescriptionError`, which names the file and, for each fault, the key, what came and what
    is allowed.
    """
    bare = isinstance(name, str) and "/" not in name and not name.endswith(".toml")
    path = _SHIPPED / f"{name}.toml" if bare else Path(name)
    if not path.is_file():
        raise DescriptionError(
            f"{name}: no such description; give the path of a .toml file, or one of the "
            f"shipped: {', '.join(shipped_channels())}"
        )
    return tables.load(path, Description)


def adapted(
    description: Description, address: str | None = None, shunt: ShuntTable | None = None
) -> Description:
    """The same chip at another address, or with another shunt: what differs from tank to tank.

    Raises `DescriptionError` if the two do not fit the rest of the description.
    """
    parts = description.model_dump()
    if address is not None:
        parts["chip"]["address"] = address
    if shunt is not None:
        parts["shunt"] = shunt.model_dump()
    try:
        return Description.model_validate(parts)
    except ValidationError as error:
        faults = "; ".join(
            f"{'.'.join(map(str, fault['loc'])) or 'shunt'}: allowed: "
            f"{fault['msg'].removeprefix('Value error, ')}"
            for fault in error.errors()
        )
        raise DescriptionError(f"{description.title}: {faults}") from error
