"""What all descriptions of supplies share: their tables' base and values, and how faults read."""

import re
from pathlib import Path
from typing import Annotated, Any, TypeVar, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from drivers import contracts
from drivers.errors import DescriptionError
from drivers.files import description_path, read_tables


def _one_printable_line(text: str) -> str:
    if not re.fullmatch(r"[\x20-\x7e]+", text):
        raise ValueError("one line of printable ASCII, at least one character")
    return text


Words = Annotated[str, AfterValidator(_one_printable_line)]
Baud = Annotated[int, Field(ge=50, le=4_000_000)]
Milliseconds = Annotated[float, Field(ge=0, le=60_000, allow_inf_nan=False)]
TimeLimit = Annotated[float, Field(ge=1, le=60_000, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Every = Annotated[int, Field(ge=1, le=100_000)]


class Table(BaseModel):
    """Base of all tables: unknown keys and values of a wrong type are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class RatingTable(Table):
    """What the supply can do: greatest set-points and the smallest step of each, A and V."""

    current_a: Positive
    voltage_v: Positive
    current_step_a: Positive
    voltage_step_v: Positive

    def contract(self) -> contracts.Rating:
        """The rating as the rest of tankhand sees it, A and V."""
        return contracts.Rating(
            current_a=self.current_a,
            voltage_v=self.voltage_v,
            current_step_a=self.current_step_a,
            voltage_step_v=self.voltage_step_v,
        )


class ReadingTable(Table):
    """What is asked beside current and voltage: in every how many readings, 0 for never."""

    output_every_reads: Annotated[int, Field(ge=0, le=100_000)]


class ModeByNearnessTable(Table):
    """The mode is inferred: which set-point the measured value is this near to, in A and V."""

    current_a: Positive
    voltage_v: Positive


T = TypeVar("T", bound=Table)


def load(name: str | Path, model: type[T]) -> T:
    """The description in a file, or a shipped one by its bare name, checked to the last key.

    Raises `DescriptionError`, which names the file and, for each fault, the key, what came and what
    is allowed.
    """
    path = description_path(name)
    try:
        return model.model_validate(read_tables(path))
    except ValidationError as error:
        faults = "; ".join(_in_words(fault, model) for fault in error.errors())
        raise DescriptionError(f"{path}: {faults}") from error


def _in_words(fault: Any, model: type[Table]) -> str:
    """One of pydantic's faults as key, what came and what is allowed."""
    key = ".".join(str(part) for part in fault["loc"]) or "the file"
    if fault["type"] == "missing":
        return f"{key}: missing, but required"
    if fault["type"] == "extra_forbidden":
        keys = ", ".join(_table_around(fault["loc"], model).model_fields)
        return f"{key}: unknown key; allowed here: {keys}"
    if fault["type"] == "model_type":
        return f"{key}: got {fault['input']!r}, allowed: a table"
    allowed = fault["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    came = "" if isinstance(fault["input"], dict) else f"got {fault['input']!r}, "
    return f"{key}: {came}allowed: {allowed}"


def _table_around(loc: tuple[str | int, ...], model: type[Table]) -> type[Table]:
    """The table that the last key of `loc` stands in."""
    for part in loc[:-1]:
        if isinstance(part, str):  # a number counts the tables of a list
            model = _tables_in(model.model_fields[part].annotation)[0]
    return model


def _tables_in(annotation: Any) -> list[type[Table]]:
    """The tables that an annotation speaks of, as in `Table`, `Table | None` or `list[Table]`."""
    if parts := get_args(annotation):
        return [table for part in parts for table in _tables_in(part)]
    return [annotation] if issubclass(annotation, Table) else []
