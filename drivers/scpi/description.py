"""How one model of supply differs from the next: a TOML file, checked to the last key.

Every key that has a unit carries it in its name. `scpi99.toml`, beside this file, explains each key
and is meant to be copied.
"""

import re
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from drivers import contracts
from drivers.errors import DescriptionError
from drivers.scpi.files import description_path, read_tables
from drivers.scpi.replies import Units


def _one_printable_line(text: str) -> str:
    if not re.fullmatch(r"[\x20-\x7e]+", text):
        raise ValueError("one line of printable ASCII, at least one character")
    return text


def _with_value(text: str) -> str:
    if text.count("{value}") != 1 or "{" in text.replace("{value}", ""):
        raise ValueError("a command with {value} once, where the number goes")
    return text


def _regular_expression(text: str) -> str:
    try:
        re.compile(text)
    except re.error as error:
        raise ValueError(f"a regular expression ({error})") from error
    return text


Words = Annotated[str, AfterValidator(_one_printable_line)]
SettingWords = Annotated[str, AfterValidator(_one_printable_line), AfterValidator(_with_value)]
Milliseconds = Annotated[float, Field(ge=0, le=60_000, allow_inf_nan=False)]
TimeLimit = Annotated[float, Field(ge=1, le=60_000, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Register = Annotated[int, Field(ge=0, le=0xFFFFFFFF)]


class Table(BaseModel):
    """Base of all tables: unknown keys and values of a wrong type are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class LineTable(Table):
    """How the line is set and paced. Times in ms; all keys are required.

    They are, since `drivers.scpi.off` reads this table without this model and its defaults.
    """

    baud: Annotated[int, Field(ge=50, le=4_000_000)]
    data_bits: Literal[7, 8]
    parity: Literal["none", "even", "odd", "mark", "space"]
    stop_bits: Literal[1, 2]
    terminator_out: Literal["\n", "\r\n", "\r", ""]
    terminator_in: Literal["\n", "\r\n", "\r", ""]
    echo: bool
    reply_timeout_ms: TimeLimit
    write_timeout_ms: TimeLimit
    end_of_reply_ms: TimeLimit
    wait_after_open_ms: Milliseconds
    delay_write_to_read_ms: Milliseconds
    pause_after_command_ms: Milliseconds
    pause_after_reply_ms: Milliseconds


class WordsTable(Table):
    """What is said to the supply, without terminators."""

    identify: Words
    remote: Words | None = None
    local: Words | None = None
    measure_current: Words
    measure_voltage: Words
    measure_both: Words | None = None
    set_current: SettingWords
    set_voltage: SettingWords
    read_back_current: Words
    read_back_voltage: Words
    output_on: Words
    output_off: Words
    read_back_output: Words
    error_queue: Words | None = None


class RepliesTable(Table):
    """What the supply's replies look like."""

    identity: Annotated[str, AfterValidator(_regular_expression)]
    units: Units
    both_separator: Literal[",", ";", " "] = ","
    both_order: Literal["current, voltage", "voltage, current"] = "current, voltage"


class RatingTable(Table):
    """What the supply can do: greatest set-points and the smallest step of each, A and V."""

    current_a: Positive
    voltage_v: Positive
    current_step_a: Positive
    voltage_step_v: Positive
    current_decimals: Annotated[int, Field(ge=0, le=9)]
    voltage_decimals: Annotated[int, Field(ge=0, le=9)]

    @field_validator("current_decimals", "voltage_decimals")
    @classmethod
    def _resolves_the_step(cls, decimals: int, info: ValidationInfo) -> int:
        key = {"current_decimals": "current_step_a", "voltage_decimals": "voltage_step_v"}
        step = info.data.get(key[info.field_name or ""], 1.0)
        if 10.0**-decimals > step * (1 + 1e-9):
            raise ValueError(f"enough decimals to write a step of {step:g}")
        return decimals


class ReadingTable(Table):
    """What is asked beside current and voltage: in every how many readings, 0 for never."""

    output_every_reads: Annotated[int, Field(ge=0, le=100_000)]


class ModeByStatusTable(Table):
    """A status register tells the mode: register & mask equals one of the two values."""

    every_reads: Annotated[int, Field(ge=1, le=100_000)]
    query: Words
    mask: Register
    constant_current: Register
    constant_voltage: Register

    @model_validator(mode="after")
    def _can_be_told_apart(self) -> Self:
        both = (self.constant_current, self.constant_voltage)
        if both[0] == both[1] or any(value & ~self.mask for value in both):
            raise ValueError("constant_current and constant_voltage must differ within mask")
        return self


class ModeByNearnessTable(Table):
    """The mode is inferred: which set-point the measured value is this near to, in A and V."""

    current_a: Positive
    voltage_v: Positive


class Description(Table):
    """One model of supply."""

    title: Words
    line: LineTable
    words: WordsTable
    replies: RepliesTable
    rating: RatingTable
    reading: ReadingTable
    mode_by_status: ModeByStatusTable | None = None
    mode_by_nearness: ModeByNearnessTable | None = None

    @model_validator(mode="after")
    def _one_way_to_tell_the_mode(self) -> Self:
        if self.mode_by_status and self.mode_by_nearness:
            raise ValueError("one of mode_by_status and mode_by_nearness, or neither")
        return self

    def supply_rating(self) -> contracts.Rating:
        """The rating as the rest of tankhand sees it, A and V."""
        return contracts.Rating(
            current_a=self.rating.current_a,
            voltage_v=self.rating.voltage_v,
            current_step_a=self.rating.current_step_a,
            voltage_step_v=self.rating.voltage_step_v,
        )


def load_description(name: str | Path) -> Description:
    """The description in a file, or a shipped one by its bare name, e.g. "scpi99".

    Raises `DescriptionError`, which names the file and, for each fault, the key, what came and what
    is allowed.
    """
    path = description_path(name)
    try:
        return Description.model_validate(read_tables(path))
    except ValidationError as error:
        faults = "; ".join(_in_words(fault) for fault in error.errors())
        raise DescriptionError(f"{path}: {faults}") from error


def _in_words(fault: Any) -> str:
    """One of pydantic's faults as key, what came and what is allowed."""
    key = ".".join(str(part) for part in fault["loc"]) or "the file"
    if fault["type"] == "missing":
        return f"{key}: missing, but required"
    if fault["type"] == "extra_forbidden":
        return f"{key}: unknown key; allowed here: {', '.join(_keys_beside(fault['loc']))}"
    if fault["type"] == "model_type":
        return f"{key}: got {fault['input']!r}, allowed: a table"
    allowed = fault["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    came = "" if isinstance(fault["input"], dict) else f"got {fault['input']!r}, "
    return f"{key}: {came}allowed: {allowed}"


def _keys_beside(loc: tuple[str | int, ...]) -> list[str]:
    """The keys that the table around `loc` may have."""
    model: type[BaseModel] = Description
    for part in loc[:-1]:
        annotation = model.model_fields[str(part)].annotation
        choices = getattr(annotation, "__args__", (annotation,))
        model = next(
            choice for choice in choices if isinstance(choice, type) and issubclass(choice, Table)
        )
    return list(model.model_fields)
