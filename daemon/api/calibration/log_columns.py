"""Which columns of a log hold time and current, and how their cells are read.

Pure: works on rows that were read already, and on what a person told. What neither tells becomes a
`Question`; nothing is guessed that would change the charge.
"""

import json
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from daemon.api.calibration import stamps
from daemon.units import UnitError, parse

Cells = list[tuple[int, list[str]]]
"""Rows of fields, each with its line number."""

_LONGEST_SHOWN = 60
_HEADER_WITHIN = 100
"""Rows. A header that was not found by then is not looked for further down."""
_NAMED_UNIT = re.compile(r".*[(\[]\s*([^)\]]+?)\s*[)\]]\s*|[^/]+/\s*(\S+)\s*|.+_([^\W_]\S*)\s*")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}(,[0-9]{3})+")


class LayoutError(ValueError):
    """What was told does not fit the file, or the file fits nothing: one line, with what came."""


class Question(NamedTuple):
    """Something that has to be told: the field of `Told`, its option, and the question in words.

    `choices` are the answers there are, none where any text may do.
    """

    field: str
    option: str
    text: str
    choices: tuple[str, ...] = ()

    @property
    def problem(self) -> str:
        """The question as an error's line."""
        return f"{self.option} is not given: {self.text}"


@dataclass(frozen=True, slots=True)
class Told:
    """What a person said about a log; None where nothing was said.

    Columns by name or by number from 1; units as `daemon.units` takes them; `decimal` "," or
    "."; `current_is` "sample" or "mean"; `time_format` as strptime has it. `reverse`: the current
    that plates is negative in the log.
    """

    time_column: str | None = None
    current_column: str | None = None
    group_column: str | None = None
    time_unit: str | None = None
    time_format: str | None = None
    day_first: bool | None = None
    current_unit: str | None = None
    current_is: str | None = None
    decimal: str | None = None
    reverse: bool = False


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its place from 0, its name, what reads a cell, and the factor to s or A.

    `form` says for people what its cells are; `read` raises ValueError or TypeError.
    """

    index: int
    name: str
    read: Callable[[str], float]
    factor: float
    form: str


@dataclass(frozen=True, slots=True)
class Layout:
    """How a log is read. `header_line` is the last line that is not data, 0 without a header.

    `current_is` is "sample" or "mean".
    """

    header_line: int
    time: Column
    current: Column
    group_index: int | None
    group_name: str | None
    current_is: str


def laid_out(rows: Cells, told: Told) -> Layout | tuple[Question, ...]:
    """Find out how a log is read from its first rows; otherwise what has to be told first.

    Raises LayoutError.
    """
    start, names = _header(rows, told)
    questions = _columns_asked(names, told)
    time = _index(names, told.time_column, "--time-column")
    current = _index(names, told.current_column, "--current-column")
    group = _index(names, told.group_column, "--group-by")
    if time is None or current is None:
        return questions
    data = [row for _, row in rows[start:]]
    currents = _column(data, current)
    comma = _comma(currents, names[current], told)
    time_column = _time(_column(data, time), time, names[time], told)
    current_column = _current(current, names[current], told, comma)
    found = (time_column, current_column)
    questions += tuple(part for part in (comma, *found) if isinstance(part, Question))
    if isinstance(time_column, Question) or isinstance(current_column, Question):
        return questions
    if questions or told.current_is is None:
        return questions
    return Layout(
        rows[start - 1][0] if start else 0,
        time_column,
        current_column,
        group,
        None if group is None else names[group],
        told.current_is,
    )


def shown(value: str) -> str:
    """A text of the file for a message: in quotes, on one line, cut short."""
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}…"


def _header(rows: Cells, told: Told) -> tuple[int, list[str]]:
    """How many rows come before the data, and the columns' names: numbers, without a header."""
    wanted = {
        name.strip().casefold()
        for name in (told.time_column, told.current_column, told.group_column)
        if name is not None and not name.strip().isdecimal()
    }
    width = Counter(len(row) for _, row in rows).most_common(1)[0][0]
    for place, (_, row) in enumerate(rows[:_HEADER_WITHIN]):
        if wanted and wanted <= {cell.strip().casefold() for cell in row}:
            return place + 1, [cell.strip() for cell in row]
    place, row = next((i, row) for i, (_, row) in enumerate(rows) if len(row) == width)
    if any(_is_number(cell) for cell in row):
        return place, [str(number + 1) for number in range(width)]
    return place + 1, [cell.strip() for cell in row]


def _is_number(cell: str) -> bool:
    try:
        float(cell.replace(",", "."))
    except ValueError:
        return False
    return True


def _columns_asked(names: Sequence[str], told: Told) -> tuple[Question, ...]:
    listed = f"the columns are {_listed(names)}"
    questions = []
    if told.time_column is None:
        text = f"which column holds the time? {listed}"
        questions.append(Question("time_column", "--time-column", text))
    if told.current_column is None:
        text = f"which column holds the current? {listed}"
        questions.append(Question("current_column", "--current-column", text))
    if told.current_is is None:
        text = (
            "is the logged current a sample (its value at the time of the row) or a mean "
            "(over the interval since the row before)?"
        )
        questions.append(Question("current_is", "--current-is", text, ("sample", "mean")))
    return tuple(questions)


def _index(names: Sequence[str], wanted: str | None, option: str) -> int | None:
    """The place of a column that is given by name, in any case, or by number from 1."""
    if wanted is None:
        return None
    for fold in (str, str.casefold):
        places = [i for i, name in enumerate(names) if fold(name) == fold(wanted.strip())]
        if len(places) == 1:
            return places[0]
        if places:
            numbers = " and ".join(str(place + 1) for place in places)
            raise LayoutError(f"{option}: {shown(wanted)} is the name of columns {numbers}")
    if wanted.strip().isdecimal() and 1 <= int(wanted) <= len(names):
        return int(wanted) - 1
    raise LayoutError(f"{option}: no column {shown(wanted)}; the columns are {_listed(names)}")


def _listed(names: Sequence[str]) -> str:
    if names and names[0] == "1":
        return f"without names: 1 to {len(names)}"
    return ", ".join(shown(name) for name in names)


def _column(data: Sequence[Sequence[str]], index: int) -> list[str]:
    """The cells of a column that are not empty; raises LayoutError when there are none."""
    cells = [row[index] for row in data if index < len(row) and row[index].strip()]
    if not cells:
        raise LayoutError(f"column {index + 1} holds nothing")
    return cells


def _comma(cells: Sequence[str], name: str, told: Told) -> bool | Question:
    """Whether the decimal mark of these numbers is a comma."""
    if told.decimal is not None:
        return told.decimal == ","
    numbers = [cell.strip() for cell in cells if _is_number(cell.replace(",", ""))]
    with_comma = [number for number in numbers if "," in number]
    if not with_comma:
        return False
    mixed = any("." in number for number in numbers)
    if mixed or all(map(_THOUSANDS.fullmatch, with_comma)):
        text = f"is the comma in {shown(with_comma[0])}, column {shown(name)}, a decimal comma?"
        return Question("decimal", "--decimal", text, ("comma", "point"))
    return True


def _comma_number(cell: str) -> float:
    return float(cell.replace(",", "."))


def _current(index: int, name: str, told: Told, comma: bool | Question) -> Column | Question:
    unit = told.current_unit or _unit_of(name, "A")
    if unit is None:
        text = f"in which unit is the current of column {shown(name)}, such as A or mA?"
        return Question("current_unit", "--current-unit", text)
    factor = _factor(unit, "A", "--current-unit")
    read = _comma_number if comma is True else float
    return Column(index, name, read, -factor if told.reverse else factor, f"a number in {unit}")


def _time(cells: Sequence[str], index: int, name: str, told: Told) -> Column | Question:
    """The column of the time: numbers in a unit, or stamps in a form that is known or told."""
    if told.time_format is None and 2 * sum(map(_is_number, cells)) >= len(cells):
        return _seconds(cells, index, name, told)
    if told.time_unit is not None:
        raise LayoutError(
            f"--time-unit: the time of column {shown(name)} is no number: {shown(cells[0])}"
        )
    if told.time_format is not None:
        form = stamps.written(told.time_format)
        return Column(index, name, form.read, 1.0, f"a stamp as {form.name}")
    forms = stamps.recognised(cells)
    if not forms:
        raise LayoutError(
            f"the time of column {shown(name)} is in no known form: {shown(cells[0])}; "
            "say it by --time-format"
        )
    if len(forms) > 1 and told.day_first is None:
        text = f"does the day come first in {shown(cells[0])}, or the month?"
        return Question("day_first", "--day-first or --month-first", text, ("day", "month"))
    form = next((form for form in forms if form.day_first == told.day_first), forms[0])
    if form.day_first is not None and told.day_first not in (None, form.day_first):
        raise LayoutError(f"the order of day and month in {shown(cells[0])} is not the one told")
    return Column(index, name, form.read, 1.0, f"a stamp as {form.name}")


def _seconds(cells: Sequence[str], index: int, name: str, told: Told) -> Column | Question:
    unit = told.time_unit or _unit_of(name, "s")
    if unit is None:
        text = f"in which unit is the time of column {shown(name)}, such as s, ms, min or h?"
        return Question("time_unit", "--time-unit", text)
    factor = _factor(unit, "s", "--time-unit")
    comma = told.decimal == "," if told.decimal else any("," in cell for cell in cells)
    return Column(index, name, _comma_number if comma else float, factor, f"a number in {unit}")


def _unit_of(name: str, wanted: str) -> str | None:
    """The unit that a column's name ends with, as in "I (mA)", "I [mA]", "I/mA" or "I_mA"."""
    named = _NAMED_UNIT.fullmatch(name)
    unit = next(filter(None, named.groups()), None) if named else None
    try:
        return unit if unit and parse(f"1 {unit}", wanted) > 0 else None
    except UnitError:
        return None


def _factor(unit: str, wanted: str, option: str) -> float:
    try:
        return parse(f"1 {unit}", wanted)
    except UnitError as error:
        raise LayoutError(f"{option}: {error}") from error
