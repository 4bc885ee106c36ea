"""The curves of a rehearsal, drawn with characters."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from daemon.api.socket.rehearsal import CurveMessage, Rehearsal

WIDTH, HEIGHT = 64, 6
"""Columns and rows of one curve."""

LINE, BAND, NOTHING = "█", "░", " "


def charts(found: Rehearsal) -> list[str]:
    """Voltage and bath over time, a line each; the band is what lies between least and greatest."""
    if not found.times_s:
        return []
    lines = []
    for curve in found.curves:
        if curve.name in ("Voltage", "Bath"):
            lines += ["", *_chart(curve)]
    end_s = found.times_s[-1]
    lines.append(f"{'':8}0{_hours(end_s / 2):^{WIDTH - 2}}{_hours(end_s)}")
    return lines


def _chart(curve: CurveMessage) -> list[str]:
    there = [each for each in (*curve.least, *curve.greatest) if each is not None]
    low, high = (0.0 if curve.unit == "V" else min(there)), max(there)
    if high - low < 1e-6:
        high = low + 1.0
    columns = [_column(curve, place, low, high) for place in _places(len(curve.middle))]
    lines = [f"{curve.name}, {curve.unit}"]
    for row in range(HEIGHT):
        label = f"{high:.3g}" if row == 0 else f"{low:.3g}" if row == HEIGHT - 1 else ""
        lines.append(f"{label:>7} " + "".join(column[row] for column in columns).rstrip())
    return lines


def _places(points: int) -> list[int]:
    return [min(points - 1, k * points // WIDTH) for k in range(WIDTH)]


def _column(curve: CurveMessage, place: int, low: float, high: float) -> list[str]:
    """One column from top to bottom."""
    cells = [NOTHING] * HEIGHT
    least, middle, most = curve.least[place], curve.middle[place], curve.greatest[place]
    if least is None or middle is None or most is None:
        return cells

    def row(value: float) -> int:
        return min(HEIGHT - 1, max(0, round((high - value) / (high - low) * (HEIGHT - 1))))

    for between in range(row(most), row(least) + 1):
        cells[between] = BAND
    cells[row(middle)] = LINE
    return cells


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:.1f} h"
