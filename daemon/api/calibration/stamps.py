"""Time stamps as loggers write them, made into seconds from a point that does not matter.

A stamp without a zone is local time and taken as it stands: only intervals are of interest, and an
hour's change of the clock shows as a gap or as a step back.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache

Read = Callable[[str], float]
"""Reads a cell as seconds; raises ValueError or TypeError when it cannot."""

_LOCAL_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001  of local times, which have no zone either
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_HALVES = {"AM": 0, "PM": 12}
_DATES = (
    "%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%d.%m.%Y", "%d.%m.%y",
    "%d/%m/%Y", "%m/%d/%Y", "%d/%m/%y", "%m/%d/%y", "%d-%m-%Y", "%m-%d-%Y",
)  # fmt: skip
"""Forms of a date before a time of day. With points the day comes first everywhere (DIN 5008)."""


@dataclass(frozen=True, slots=True)
class Form:
    """A form of time stamps: its name for people, and what reads it.

    `day_first` is None where the order of day and month is no question.
    """

    name: str
    read: Read
    day_first: bool | None = None


def written(form: str) -> Form:
    """The form of a `strptime` pattern, such as "%d.%m.%Y %H:%M:%S.%f"."""

    def read(cell: str) -> float:
        stamp = datetime.strptime(cell.strip(), form)  # noqa: DTZ007  with or without a zone
        return (stamp - (_EPOCH if stamp.tzinfo else _LOCAL_EPOCH)).total_seconds()

    return Form(form, read)


def recognised(cells: Sequence[str]) -> tuple[Form, ...]:
    """The forms that read most of the cells, best first: more than one when the cells fit several.

    Two are given only when they differ in the order of day and month. Empty when no form reads any.
    """
    counts = [(sum(_reads(form, cell) for cell in cells), form) for form in _FORMS]
    most = max(count for count, _ in counts)
    best = [form for count, form in counts if count == most > 0]
    other = [form for form in best[1:] if best[0].day_first not in (None, form.day_first)]
    return (best[0], *other[:1]) if best else ()


def _reads(form: Form, cell: str) -> bool:
    try:
        form.read(cell)
    except (ValueError, TypeError):
        return False
    return True


def _iso_local(cell: str) -> float:
    return (datetime.fromisoformat(cell.strip()) - _LOCAL_EPOCH).total_seconds()


def _iso_with_zone(cell: str) -> float:
    return (datetime.fromisoformat(cell.strip()) - _EPOCH).total_seconds()


def _clock_s(cell: str) -> float:
    """Seconds of h:mm, h:mm:ss or h:mm:ss.fff, with AM or PM or without; hours may be many."""
    text = cell.strip()
    half = _HALVES.get(text[-2:].upper())
    if half is not None:
        text = text[:-2].rstrip()
    hours, minutes, *rest = text.split(":")
    seconds = rest[0].replace(",", ".") if rest else "0"
    whole = seconds.partition(".")[0]
    if len(rest) > 1 or not (hours.isdigit() and minutes.isdigit() and whole.isdigit()):
        raise ValueError(f"not a time such as 3:04:05: {cell!r}")
    h, m, s = int(hours), int(minutes), float(seconds)
    if m >= 60 or s >= 61 or (half is not None and not 1 <= h <= 12):
        raise ValueError(f"not a time such as 3:04:05: {cell!r}")
    if half is not None:
        h = h % 12 + half
    return 3600.0 * h + 60.0 * m + s


def _dated(form: str) -> Form:
    @lru_cache(maxsize=16)  # a log's rows have few dates, and strptime is slow
    def day_s(date: str) -> float:
        day = datetime.strptime(date, form)  # noqa: DTZ007  local, like the time that follows
        return (day - _LOCAL_EPOCH).total_seconds()

    def read(cell: str) -> float:
        date, _, clock = cell.strip().partition(" ")
        time_s = _clock_s(clock) if clock else 0.0
        if time_s > 86400.0:
            raise ValueError(f"not a time of day: {clock!r}")
        return day_s(date.rstrip(",")) + time_s

    names = {"%d": "day", "%m": "month", "%Y": "year", "%y": "year"}
    name = form
    for letter, word in names.items():
        name = name.replace(letter, word)
    ambiguous = form[2] in "/-" and not form.startswith("%Y")
    return Form(f"{name} and time of day", read, form.startswith("%d") if ambiguous else None)


_FORMS = (
    Form("ISO 8601 with a zone", _iso_with_zone),
    Form("ISO 8601, local time", _iso_local),
    Form("hours:minutes:seconds", _clock_s),
    *map(_dated, _DATES),
)
