"""Calibrations and comparisons as the command line prints them."""

from collections.abc import Sequence
from datetime import UTC, datetime

from daemon.chemistry.calibration import Fit, MeterLine, Point, ReferenceClass, calibrated
from daemon.chemistry.uncertainty import coverage_factor
from daemon.record.calibrations import Calibration

CONFIDENCE = 0.95


def day(utc_ms: int) -> str:
    """The date, in UTC, as ISO 8601 has it."""
    return datetime.fromtimestamp(utc_ms / 1000, UTC).date().isoformat()


def correction(gain: float, offset_a: float) -> str:
    """What is done with each reading."""
    if (gain, offset_a) == (1.0, 0.0):
        return "the reading as it comes"
    sign = "+" if offset_a < 0 else "-"
    return f"(reading {sign} {abs(offset_a):.6g} A) / {gain:.6g}"


def why_no_line(points: Sequence[Point], reference: ReferenceClass) -> str | None:
    """Why the points say nothing of the meter yet; None when they do."""
    try:
        calibrated(points, reference, MeterLine())
    except ValueError as error:
        return str(error)
    return None


def preview(points: Sequence[Point], reference: ReferenceClass) -> str:
    """What the points say so far, or why they say nothing yet."""
    why_not = why_no_line(points, reference)
    if why_not is not None:
        return f"no line yet: {why_not}"
    fit = calibrated(points, reference, MeterLine())
    if len(points) == 1:
        return f"the zero alone: the meter shows {1e3 * fit.line.offset_a:+.3f} mA for no current"
    return _comparison(fit)


def _comparison(fit: Fit) -> str:
    """The points with their distance from the line, the line, and a point that does not fit."""
    lines = ["point  reference, A    meter, A  off the line, mA"]
    for number, (point, residual_a) in enumerate(
        zip(fit.points, fit.residuals_a, strict=True), start=1
    ):
        lines.append(
            f"{number:5}  {point.reference_a:12.5f}  {point.reading_a:10.5f}  "
            f"{1e3 * residual_a:+17.3f}"
        )
    lines.append(line(fit.line))
    if fit.misfit is not None:
        lines.append(
            f"point {fit.misfit + 1} does not fit: it lies further from the line than reading it "
            "can explain. Take it again, or look for a cause."
        )
    return "\n".join(lines)


def line(line: MeterLine) -> str:
    """What the meter shows, and how sure that is."""
    k = coverage_factor(CONFIDENCE)
    return (
        f"the meter shows {line.gain:.6f} ± {k * line.u_gain:.6f} times the current, "
        f"{1e3 * line.offset_a:+.3f} ± {1e3 * k * line.u_offset_a:.3f} mA (95 %)"
    )


def listing(kept: Sequence[Calibration]) -> str:
    """Calibrations, an entry each, in the order given."""
    return "\n\n".join(_entry(calibration) for calibration in kept)


def _entry(kept: Calibration) -> str:
    made = kept.made
    number = len(made.points)
    alone = number == 1
    points = "zero only" if alone else f"{number} points"
    reference = "the output off" if alone else f"{made.reference}, {made.reference_class}"
    lines = [
        f"{kept.id}  {day(made.utc_ms)}  {made.meter}, {points}, by {made.who}",
        f"   with {reference}",
        f"   {line(made.line)}",
    ]
    return "\n".join([*lines, f"   {made.note}"] if made.note else lines)
