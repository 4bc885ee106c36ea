"""Kept analyses of a component, drawn over time against its window."""

from dataclasses import dataclass

from daemon.api.analyses import kept_analyses
from daemon.api.analyses.analysis import CONFIDENCE
from daemon.api.report import Row
from daemon.bath import account, analyses
from daemon.bath.analyses import Against, KeptAnalysis
from daemon.bath.book import Book
from daemon.bath.components import concentration_unit
from daemon.chemistry.trend import Trend
from daemon.chemistry.uncertainty import coverage_factor
from web.language import gettext as _
from web.times import day
from web.typography import capital
from web.units import number, sign

WIDTH, HEIGHT = 600, 170
"""The drawing's own units."""

_MARGIN = 14
"""Left free on every side, so that no dot is cut."""


@dataclass(frozen=True, slots=True)
class Dot:
    """An analysis, drawn: its middle, and where its 95 % interval begins and ends."""

    x: float
    y: float
    low: float
    high: float
    title: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """A component over time. `band` is the window's upper edge and height, `aim` its target.

    line: where the trend begins and ends (x, y, x, y). None, for what is not there.
    """

    title: str
    newest: str
    window: str
    said: tuple[Row, ...]
    dots: tuple[Dot, ...]
    band: tuple[float, float] | None
    aim: float | None
    line: tuple[float, float, float, float] | None
    first: str
    last: str


def drawings(book: Book) -> tuple[Drawing, ...]:
    """Each component of which an analysis is kept, those with a window first."""
    names = dict.fromkeys(each.component for each in analyses.kept(book))
    ordered = sorted(names, key=lambda name: name not in book.description.window)
    return tuple(_drawing(book, name) for name in ordered)


def _drawing(book: Book, component: str) -> Drawing:
    found = analyses.kept(book, component)
    unit = concentration_unit(component, account.additives_ever(book.entries))
    window = book.description.window.get(component)
    limits = [] if window is None else [window.least, window.target, window.greatest]
    told = [limit for limit in limits if limit is not None]
    ends = [end for each in found for end in _interval(each)]
    scale = _Scale(found, [*ends, *told])
    since = analyses.undisturbed(book, component)
    try:
        trend = analyses.leading(since, Against.TIME)
    except ValueError:
        trend = None
    newest = found[-1]
    band = aim = None
    if window is not None:
        top = 0.0 if window.greatest is None else scale.y(window.greatest)
        bottom = HEIGHT if window.least is None else scale.y(window.least)
        band = (top, bottom - top)
        aim = None if window.target is None else scale.y(window.target)
    return Drawing(
        title=f"{capital(component)}, {sign(unit)}",
        newest=_(
            "%(value)s on %(day)s",
            value=number(f"{newest.value:.4g}", unit),
            day=day(newest.at_utc_ms),
        ),
        window=_window(limits if told else [], unit),
        said=kept_analyses.leading(book, component).rows,
        dots=tuple(_dot(each, unit, scale) for each in found),
        band=band,
        aim=aim,
        line=None if trend is None else _line(trend, since, scale),
        first=day(found[0].at_utc_ms),
        last=day(newest.at_utc_ms),
    )


class _Scale:
    """From moments and concentrations to places in the drawing."""

    def __init__(self, found: tuple[KeptAnalysis, ...], values: list[float]) -> None:
        self._from_ms = found[0].at_utc_ms
        self._span_ms = found[-1].at_utc_ms - self._from_ms
        low, high = min(values), max(values)
        room = 0.08 * (high - low) or 0.1 * high or 1.0
        self._low, self._high = low - room, high + room

    def x(self, utc_ms: float) -> float:
        if not self._span_ms:
            return WIDTH / 2
        share = (utc_ms - self._from_ms) / self._span_ms
        return _MARGIN + share * (WIDTH - 2 * _MARGIN)

    def y(self, value: float) -> float:
        share = (value - self._low) / (self._high - self._low)
        return HEIGHT * (1 - share)


def _interval(each: KeptAnalysis) -> tuple[float, float]:
    half_width = coverage_factor(CONFIDENCE) * (each.u or 0.0)
    return each.value - half_width, each.value + half_width


def _dot(each: KeptAnalysis, unit: str, scale: _Scale) -> Dot:
    low, high = _interval(each)
    title = _(
        "%(value)s %(unit)s, %(day)s, entry %(number)s",
        value=f"{each.value:.4g}",
        unit=unit,
        day=day(each.at_utc_ms),
        number=each.number,
    )
    return Dot(scale.x(each.at_utc_ms), scale.y(each.value), scale.y(low), scale.y(high), title)


def _line(
    trend: Trend, since: tuple[KeptAnalysis, ...], scale: _Scale
) -> tuple[float, float, float, float]:
    first, last = since[0], since[-1]
    ends = [(each, analyses.place(each, first, Against.TIME)) for each in (first, last)]
    (x1, y1), (x2, y2) = (
        (scale.x(each.at_utc_ms), scale.y(trend.at(place))) for each, place in ends
    )
    return x1, y1, x2, y2


def _window(limits: list[float | None], unit: str) -> str:
    if not limits:
        return _("no window in the settings")
    least, _aim, greatest = limits
    if least is None:
        return (
            ""
            if greatest is None
            else _("at most %(greatest)s %(unit)s", greatest=f"{greatest:g}", unit=unit)
        )
    return (
        _("at least %(least)s %(unit)s", least=f"{least:g}", unit=unit)
        if greatest is None
        else _(
            "%(least)s to %(greatest)s %(unit)s",
            least=f"{least:g}",
            greatest=f"{greatest:g}",
            unit=unit,
        )
    )
