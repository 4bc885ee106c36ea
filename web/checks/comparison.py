"""Meters and what they were compared with, in words and as a simple drawing.

The drawing has one dot for each point: how far the meter lay from the line that was laid through
all of them, over the current; its height is how sure that is (95 %).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import floor, hypot, log10

from daemon.api.calibration.reference import read_class
from daemon.api.errors import InputError
from daemon.api.socket.messages import MeterStatus
from daemon.chemistry.calibration import MeterLine, Point, ReferenceClass, calibrated, stepped
from daemon.chemistry.uncertainty import coverage_factor
from daemon.record.calibrations import Calibration
from web.language import gettext as _
from web.language import ngettext

WIDTH, HEIGHT = 320, 96
"""The drawing's own units."""

EDGE = 8
"""Kept free around the dots, in the same units."""

DAY_S = 86_400.0
MONTH_DAYS, YEAR_DAYS = 30.44, 365.25

FACTOR = coverage_factor(0.95)
SURE = "(95\N{NO-BREAK SPACE}%)"


@dataclass(frozen=True, slots=True)
class Dot:
    """A point of the drawing, `low` and `high` the ends of its bar; `misfit`: it does not fit."""

    x: float
    y: float
    low: float
    high: float
    misfit: bool


@dataclass(frozen=True, slots=True)
class Row:
    """A point in figures: what the reference and the meter showed, A, and how far off, mA."""

    reference: str
    meter: str
    off: str
    misfit: bool


@dataclass(frozen=True, slots=True)
class Comparison:
    """Points and what they come to: `said` in a sentence, `wrong` where there is no line.

    `dots` is empty where there is nothing to draw; `top` labels the upper edge, `across` the width.
    """

    rows: tuple[Row, ...]
    said: str
    wrong: str | None = None
    dots: tuple[Dot, ...] = ()
    top: str = ""
    across: str = ""


@dataclass(frozen=True, slots=True)
class MeterView:
    """A meter: what it reads now, and its newest calibration, None where there is none.

    `step_a`: it shows currents in steps, A.
    """

    name: str
    counts: bool
    step_a: float
    reads: str
    kept: Calibration | None
    when: str
    comparison: Comparison | None

    @property
    def zero_alone(self) -> bool:
        """Whether its newest calibration has set the zero and nothing else."""
        return self.kept is not None and zero_alone(self.kept.made.points)


def meter_view(
    name: str, now: MeterStatus | None, kept: Calibration | None, utc: datetime
) -> MeterView:
    """Put a meter into words; `utc` is now."""
    when, compared = "", None
    if kept is not None:
        made = kept.made
        day = datetime.fromtimestamp(made.utc_ms / 1000, UTC)
        when = f"{day.date().isoformat()}, {age((utc - day).total_seconds())}"
        compared = _drawn(made.points, made.line, _misfit(made.points, made.reference_class))
        if zero_alone(made.points):
            gain, half = made.line.gain, FACTOR * made.line.u_gain
            stays = _(
                "Its gain stays %(gain)s ± %(half)s %(sure)s.",
                gain=f"{gain:.4f}",
                half=f"{half:.4f}",
                sure=SURE,
            )
            compared = replace(compared, said=f"{compared.said} {stays}")
    counts, step_a = (now.counts, now.step_a) if now is not None else (False, 0.0)
    return MeterView(name, counts, step_a, _reads(now), kept, when, compared)


def compared(points: Sequence[Point], reference: ReferenceClass, step_a: float = 0.0) -> Comparison:
    """Put points into words that are not kept yet; the meter shows currents in steps, A."""
    points = stepped(points, step_a)
    try:
        fit = calibrated(points, reference, MeterLine())
    except ValueError as error:
        return Comparison(_rows(points, None, None), "", _("No line yet: %(error)s.", error=error))
    return _drawn(points, fit.line, fit.misfit)


def zero_alone(points: Sequence[Point]) -> bool:
    """Whether no reference was needed: every point is one with the output off."""
    return all(point.reference_a == point.u_reference_a == 0 for point in points)


def age(seconds: float) -> str:
    """Tell how long ago: today, in days, months or years."""
    days = seconds / DAY_S
    if days < 1:
        return _("today")
    if days >= 2 * YEAR_DAYS:
        years = floor(days / YEAR_DAYS)
        return ngettext("%(num)d year ago", "%(num)d years ago", years)
    if days >= 2 * MONTH_DAYS:
        months = floor(days / MONTH_DAYS)
        return ngettext("%(num)d month ago", "%(num)d months ago", months)
    return ngettext("%(num)d day ago", "%(num)d days ago", floor(days))


def _misfit(points: Sequence[Point], reference_class: str) -> int | None:
    try:
        return calibrated(points, read_class(reference_class), MeterLine()).misfit
    except (InputError, ValueError):
        return None


def _drawn(points: Sequence[Point], line: MeterLine, misfit: int | None) -> Comparison:
    said = _(
        "Shows %(gain)s ± %(u_gain)s times the current and %(offset)s ± %(u_offset)s mA %(sure)s.",
        gain=f"{line.gain:.4f}",
        u_gain=f"{FACTOR * line.u_gain:.4f}",
        offset=f"{1000.0 * line.offset_a:+.1f}",
        u_offset=f"{1000.0 * FACTOR * line.u_offset_a:.1f}",
        sure=SURE,
    )
    rows = _rows(points, line, misfit)
    if len(points) == 1:
        alone = _(
            "The zero alone: shows %(offset)s mA for no current.",
            offset=f"{1000.0 * line.offset_a:+.1f}",
        )
        return Comparison(rows, alone)
    halves_a = [FACTOR * hypot(p.u_reading_a, line.gain * p.u_reference_a) for p in points]
    residuals_a = [line.residual_a(point) for point in points]
    top_a = _nice(max(abs(r) + h for r, h in zip(residuals_a, halves_a, strict=True)))
    left_a = min(0.0, *(point.reference_a for point in points))
    right_a = max(0.0, *(point.reference_a for point in points))

    def height(value_a: float) -> float:
        return HEIGHT / 2 - value_a / top_a * (HEIGHT / 2 - EDGE)

    dots = tuple(
        Dot(
            x=EDGE + (point.reference_a - left_a) / (right_a - left_a) * (WIDTH - 2 * EDGE),
            y=height(residual_a),
            low=height(residual_a - half_a),
            high=height(residual_a + half_a),
            misfit=k == misfit,
        )
        for k, (point, residual_a, half_a) in enumerate(
            zip(points, residuals_a, halves_a, strict=True)
        )
    )
    return Comparison(rows, said, None, dots, f"{1e3 * top_a:g} mA", f"{left_a:g} – {right_a:g} A")


def _rows(points: Sequence[Point], line: MeterLine | None, misfit: int | None) -> tuple[Row, ...]:
    return tuple(
        Row(
            reference="off" if zero_alone((point,)) else f"{point.reference_a:.4f}",
            meter=f"{point.reading_a:.4f}",
            off="" if line is None else f"{1e3 * line.residual_a(point):+.2f}",
            misfit=k == misfit,
        )
        for k, point in enumerate(points)
    )


def _nice(value: float) -> float:
    """The next 1, 2 or 5 times a power of ten that is not below; 1 mA for nothing."""
    if value <= 0:
        return 1e-3
    power = 10.0 ** floor(log10(value))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= value)


def _reads(now: MeterStatus | None) -> str:
    if now is None or now.raw_current_a is None or now.current_a is None:
        return _("reads no current now")
    if now.raw_current_a == now.current_a:
        return _("reads %(current)s A now", current=f"{now.current_a:z.4f}")
    return _(
        "reads %(shown)s A now, which is %(current)s A",
        shown=f"{now.raw_current_a:z.4f}",
        current=f"{now.current_a:z.4f}",
    )
