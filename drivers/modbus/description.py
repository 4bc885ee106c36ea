"""How one model of supply differs from the next: a TOML file, checked to the last key.

Every key that has a unit carries it in its name. `modbus-example.toml`, beside this file, explains
each key and is meant to be copied.
"""

from abc import ABC, abstractmethod
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from drivers import contracts, tables
from drivers.modbus.values import NumberType, WordOrder, decode, encode, register_count
from drivers.tables import (
    Baud,
    Every,
    Milliseconds,
    ModeByNearnessTable,
    RatingTable,
    ReadingTable,
    Table,
    TimeLimit,
    Words,
)

_ROUNDING = 1e-9
"""Slack when a scale is compared with a step, as numbers in files are not exact in binary."""


def _not_zero(value: float) -> float:
    if value == 0:
        raise ValueError("any number but 0")
    return value


Address = Annotated[int, Field(ge=0, le=0xFFFF)]
Word = Annotated[int, Field(ge=0, le=0xFFFF)]
Scale = Annotated[float, Field(allow_inf_nan=False), AfterValidator(_not_zero)]
ReadFunction = Literal[1, 2, 3, 4]
WriteFunction = Literal[5, 6, 15, 16]


def _check_bit(function: int, *values: int) -> None:
    """Raises `ValueError` if a function for single bits comes with more than one bit."""
    if function in (1, 2, 5, 15) and max(values) > 1:
        raise ValueError(f"values of 0 and 1 with function {function}, which is for single bits")


class LineTable(Table):
    """How the line is set and paced, and the supply's address. Times in ms; all keys are required.

    They are, since `drivers.modbus.off` reads this table without this model and its defaults.
    """

    baud: Baud
    parity: Literal["none", "even", "odd"]
    stop_bits: Literal[1, 2]
    unit: Annotated[int, Field(ge=1, le=247)]
    echo: bool
    reply_timeout_ms: TimeLimit
    write_timeout_ms: TimeLimit
    wait_after_open_ms: Milliseconds
    pause_between_frames_ms: Milliseconds


class NumberTable(Table, ABC):
    """A number in one register or two. Number in the register * scale = value in A or V."""

    address: Address
    type: NumberType
    word_order: WordOrder | None = None

    @property
    @abstractmethod
    def scale(self) -> float:
        """A or V per count."""

    @property
    def count(self) -> int:
        """How many registers it fills."""
        return register_count(self.type)

    def value(self, words: list[int]) -> float:
        """What the registers say, in A or V."""
        return decode(words, self.type, low_first=self.word_order == "low first") * self.scale

    def words(self, value: float) -> list[int]:
        """The registers for a value in A or V; raises `ValueError` if it does not fit."""
        return encode(value / self.scale, self.type, low_first=self.word_order == "low first")

    @model_validator(mode="after")
    def _order_where_there_is_one(self) -> Self:
        if (self.word_order is None) is (self.count == 2):
            raise ValueError("word_order with the types u32, s32 and float32, and only with them")
        return self


class ReadTable(NumberTable):
    """A number that is read."""

    function: Literal[3, 4]


class WriteTable(NumberTable):
    """A number that is written."""

    function: Literal[6, 16]

    @model_validator(mode="after")
    def _whole_in_one_frame(self) -> Self:
        if self.function == 6 and self.count == 2:
            raise ValueError("function 16 for a number of two registers; 6 writes only one")
        return self


class CurrentTable(Table):
    """The scale of a current, A per count."""

    scale_a: Scale

    @property
    def scale(self) -> float:
        """A per count."""
        return self.scale_a


class VoltageTable(Table):
    """The scale of a voltage, V per count."""

    scale_v: Scale

    @property
    def scale(self) -> float:
        """V per count."""
        return self.scale_v


class ReadCurrentTable(CurrentTable, ReadTable):
    """A current that is read."""


class ReadVoltageTable(VoltageTable, ReadTable):
    """A voltage that is read."""


class WriteCurrentTable(CurrentTable, WriteTable):
    """A current that is written."""


class WriteVoltageTable(VoltageTable, WriteTable):
    """A voltage that is written."""


class SwitchTable(Table):
    """The register or coil that switches the output, and what is written to it."""

    function: WriteFunction
    address: Address
    on: Word
    off: Word

    @model_validator(mode="after")
    def _can_be_told_apart(self) -> Self:
        _check_bit(self.function, self.on, self.off)
        if self.on == self.off:
            raise ValueError("on and off must differ")
        return self


class StateTable(Table):
    """A register or bit that tells one of two states: register & mask equals one of two values."""

    function: ReadFunction
    address: Address
    mask: Word

    def _check(self, first: str, second: str) -> None:
        both = (getattr(self, first), getattr(self, second))
        _check_bit(self.function, self.mask)
        if both[0] == both[1] or any(value & ~self.mask for value in both):
            raise ValueError(f"{first} and {second} must differ within mask")


class OutputStateTable(StateTable):
    """Tells whether the output is on."""

    on: Word
    off: Word

    @model_validator(mode="after")
    def _can_be_told_apart(self) -> Self:
        self._check("on", "off")
        return self


class ModeByStatusTable(StateTable):
    """Tells which set-point is held, asked in every so many readings."""

    every_reads: Every
    constant_current: Word
    constant_voltage: Word

    @model_validator(mode="after")
    def _can_be_told_apart(self) -> Self:
        self._check("constant_current", "constant_voltage")
        return self


class OneWriteTable(Table):
    """A value for one register or coil, as needed for remote control."""

    function: WriteFunction
    address: Address
    value: Word

    @model_validator(mode="after")
    def _one_bit_for_a_coil(self) -> Self:
        _check_bit(self.function, self.value)
        return self


class IdentityTable(Table):
    """A register that says which model this is."""

    function: Literal[3, 4]
    address: Address
    value: Word


class ResyncTable(Table):
    """Registers that are read to be sure which question an answer belongs to."""

    function: Literal[3, 4]
    address: Address
    count: Annotated[int, Field(ge=1, le=125)]


class Description(Table):
    """One model of supply."""

    title: Words
    protocol: Literal["modbus-rtu"]
    line: LineTable
    measured_current: ReadCurrentTable
    measured_voltage: ReadVoltageTable
    set_current: WriteCurrentTable
    read_back_current: ReadCurrentTable
    set_voltage: WriteVoltageTable
    read_back_voltage: ReadVoltageTable
    output: SwitchTable
    read_back_output: OutputStateTable
    at_open: list[OneWriteTable] = Field(default_factory=list)
    at_close: list[OneWriteTable] = Field(default_factory=list)
    identity: IdentityTable | None = None
    resync: ResyncTable
    rating: RatingTable
    reading: ReadingTable
    mode_by_status: ModeByStatusTable | None = None
    mode_by_nearness: ModeByNearnessTable | None = None

    @property
    def measured_together(self) -> tuple[int, int] | None:
        """First address and count of the registers that hold both measured values side by side."""
        current, voltage = self.measured_current, self.measured_voltage
        first, last = sorted((current, voltage), key=lambda number: number.address)
        if current.function != voltage.function or first.address + first.count != last.address:
            return None
        return first.address, first.count + last.count

    def supply_rating(self) -> contracts.Rating:
        """The rating as the rest of tankhand sees it, A and V."""
        return self.rating.contract()

    @model_validator(mode="after")
    def _one_way_to_tell_the_mode(self) -> Self:
        if self.mode_by_status and self.mode_by_nearness:
            raise ValueError("one of mode_by_status and mode_by_nearness, or neither")
        return self

    @model_validator(mode="after")
    def _set_points_reach_the_rating(self) -> Self:
        rating = self.rating
        for name, number, greatest, step in (
            ("set_current", self.set_current, rating.current_a, rating.current_step_a),
            ("set_voltage", self.set_voltage, rating.voltage_v, rating.voltage_step_v),
        ):
            try:
                number.words(greatest)
            except ValueError as error:
                raise ValueError(
                    f"a {name} that holds the rating of {greatest:g}: {error}"
                ) from error
            if number.type != "float32" and abs(number.scale) > step * (1 + _ROUNDING):
                raise ValueError(f"a {name} with a scale that resolves the step of {step:g}")
        return self

    @model_validator(mode="after")
    def _resync_is_unlike_every_question(self) -> Self:
        numbers: list[ReadTable] = [self.read_back_current, self.read_back_voltage]
        if self.measured_together is None:
            numbers += [self.measured_current, self.measured_voltage]
        asked: set[tuple[int, int]] = {(number.function, number.count) for number in numbers}
        if self.measured_together is not None:
            asked.add((self.measured_current.function, self.measured_together[1]))
        words = (self.read_back_output, self.mode_by_status, self.identity)
        asked |= {(word.function, 1) for word in words if word is not None}
        if (self.resync.function, self.resync.count) in asked:
            taken = sorted(count for function, count in asked if function == self.resync.function)
            raise ValueError(
                f"a resync.count that no other question with function {self.resync.function} has; "
                f"taken: {', '.join(map(str, taken))}"
            )
        return self


def load_description(name: str | Path) -> Description:
    """The description in a file, or a shipped one by its bare name, e.g. "modbus-example".

    Raises `DescriptionError`, which names the file and, for each fault, the key, what came and what
    is allowed.
    """
    return tables.load(name, Description)
