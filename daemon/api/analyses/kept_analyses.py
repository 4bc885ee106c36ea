"""Kept analyses in words: what was found when, and where it leads."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, tzinfo

from daemon.api.analyses.analysis import CONFIDENCE, PER_G_L
from daemon.api.analyses.restoring import Other, Wanted
from daemon.api.bath import bath_words
from daemon.api.report import Report, Row
from daemon.api.rounding import fixed, rounded
from daemon.bath import account, analyses
from daemon.bath.analyses import MS_PER_DAY, Against, KeptAnalysis
from daemon.bath.book import Book
from daemon.bath.components import concentration_unit
from daemon.bath.description import Window
from daemon.chemistry.restoring import Window as Limits
from daemon.chemistry.trend import Crossing, Trend
from daemon.chemistry.uncertainty import coverage_factor

MOST_DAYS_AHEAD = 3650.0
"""d. What lies further ahead is as good as never."""


def listing(
    book: Book, component: str | None, against: Against, zone: tzinfo | None = None
) -> Report:
    """The kept analyses, newest first, then where each component leads."""
    found = analyses.kept(book, component)
    additives = account.additives_ever(book.entries)
    rows = [Row(str(each.number), _line(each, additives, zone)) for each in reversed(found)]
    for name in dict.fromkeys(each.component for each in found):
        rows += _leading(book, name, against, zone)
    return Report(tuple(rows))


def leading(book: Book, component: str, zone: tzinfo | None = None) -> Report:
    """Where a component leads over time, if its analyses tell."""
    return Report(tuple(_leading(book, component, Against.TIME, zone)))


def _line(each: KeptAnalysis, additives: Sequence[str], zone: tzinfo | None) -> str:
    unit = concentration_unit(each.component, additives)
    value = f"{each.value:.4g} {unit}"
    if each.u:
        half_width = coverage_factor(CONFIDENCE) * each.u
        figures = rounded(each.value, half_width, 9)
        value = f"{figures[0]} ± {figures[1]} {unit}"
    method = f", {each.method}" if each.method else ""
    return (
        f"{bath_words.stamp(each.at_utc_ms, zone)}  {each.component} {value}, at "
        f"{each.charge_ah:.1f} Ah{method}, by {each.who}"
    )


def _leading(book: Book, component: str, against: Against, zone: tzinfo | None) -> list[Row]:
    """The trend of a component since it was last changed by hand; nothing from too few."""
    found = analyses.undisturbed(book, component)
    try:
        line = analyses.leading(found, against)
    except ValueError:
        return []
    unit = concentration_unit(component, account.additives_ever(book.entries))
    by = "day" if against is Against.TIME else "Ah"
    rows = [Row("trend", f"{component} {_slope(line, unit, by, len(found))}")]
    window = book.description.window.get(component)
    if window is not None:
        last = analyses.place(found[-1], found[0], against)
        rows += _reaching(line, window, last, _Scale(unit, against, found[0].at_utc_ms, zone))
    return rows


def _slope(line: Trend, unit: str, by: str, number: int) -> str:
    of = f"({number} analyses since it was last changed by hand)"
    half_width = line.factor * line.u_slope
    if not line.clear:
        return f"neither surely rises nor surely falls {of}"
    value, doubt = rounded(abs(line.slope), half_width, 9)
    moves = "rises" if line.slope > 0 else "falls"
    return f"{moves} by {value} ± {doubt} {unit} each {by} (95 %) {of}"


class _Scale:
    """How places on a trend are written: days, or ampere-hours."""

    def __init__(self, unit: str, against: Against, first_ms: int, zone: tzinfo | None) -> None:
        self.unit = unit
        self._against, self._first_ms, self._zone = against, first_ms, zone

    def place(self, x: float) -> str:
        if self._against is Against.CHARGE:
            return f"{fixed(x, 0)} Ah"
        if x > MOST_DAYS_AHEAD:
            return "ten years on"
        at = datetime.fromtimestamp((self._first_ms + x * MS_PER_DAY) / 1000, UTC)
        return f"{at.astimezone(self._zone):%Y-%m-%d}"


def _reaching(line: Trend, window: Window, last: float, scale: _Scale) -> list[Row]:
    """When the line leaves its window, if it does so surely."""
    if not line.clear:
        return []
    name, limit = ("greatest", window.greatest) if line.slope > 0 else ("least", window.least)
    if limit is None:
        return []
    crossing = line.reaches(limit, last)
    if crossing is None:
        return []
    return [Row("", f"reaches its {name}, {limit:g} {scale.unit}, {_about(crossing, scale)}")]


def _about(crossing: Crossing, scale: _Scale) -> str:
    between = f"from {scale.place(crossing.earliest)} on"
    if crossing.latest is not None:
        between = f"between {scale.place(crossing.earliest)} and {scale.place(crossing.latest)}"
    return f"about {scale.place(crossing.x)} ({between}, 95 %)"


def completed(wanted: Wanted, book: Book) -> Wanted:
    """What was asked for, and where nothing was said, what the bath's account and description say.

    Limits are taken from one place: those that were given, or those that are described.
    """
    volume_l = wanted.volume_l
    if volume_l is None:
        level = account.level(book.entries, book.description, book.utc_ms)
        volume_l = None if level is None else level.volume_l
    return replace(
        wanted,
        window=wanted.window or _window(book.description.window.get(wanted.component), wanted),
        volume_l=volume_l,
        others=wanted.others or _others(book, wanted.component),
    )


def _window(described: Window | None, wanted: Wanted) -> Limits | None:
    if described is None:
        return None
    times, _ = PER_G_L.get(wanted.component, (1.0, "g/L"))
    limits = (described.least, described.target, described.greatest)
    return Limits(*(None if limit is None else limit / times for limit in limits))


def _others(book: Book, component: str) -> tuple[Other, ...]:
    """What else was analysed last, with its window."""
    additives = account.additives_ever(book.entries)
    found = []
    for name, each in analyses.newest(book).items():
        if name != component:
            window = book.description.window.get(name, Window())
            unit = concentration_unit(name, additives)
            found.append(Other(name, each.value, unit, window.least, window.greatest))
    return tuple(found)
