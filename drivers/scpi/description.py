"""How one model of supply differs from the next: a TOML file, checked to the last key.

Every key that has a unit carries it in its name. `scpi99.toml`, beside this file, explains each key
and is meant to be copied.
"""

import re
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, ValidationInfo, field_validator, model_validator

from drivers import contracts, tables
from drivers.scpi.replies import Units
from drivers.tables import (
    Baud,
    Every,
    Milliseconds,
    ModeByNearnessTable,
    ReadingTable,
    Table,
    TimeLimit,
    Words,
)


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


SettingWords = Annotated[Words, AfterValidator(_with_value)]
Register = Annotated[int, Field(ge=0, le=0xFFFFFFFF)]


class LineTable(Table):
    """How the line is set and paced. Times in ms; all keys are required.

    They are, since `drivers.scpi.off` reads this table without this model and its defaults.
    """

    baud: Baud
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


class RatingTable(tables.RatingTable):
    """What the supply can do, and how many decimals its set-points are sent with."""

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


class ModeByStatusTable(Table):
    """A status register tells the mode: register & mask equals one of the two values."""

    every_reads: Every
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


class Description(Table):
    """One model of supply."""

    title: Words
    protocol: Literal["scpi"] = "scpi"
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
        return self.rating.contract()


def load_description(name: str | Path) -> Description:
    """The description in a file, or a shipped one by its bare name, e.g. "scpi99".

    Raises `DescriptionError`, which names the file and, for each fault, the key, what came and what
    is allowed.
    """
    return tables.load(name, Description)
