"""An alarm's close-up as plain lines: every reading around it, the counting meter's first. Pure.

Everything across is a share of the drawing's width and everything down one of its height, so that
it fits any screen without a script. Times are s from the alarm.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from daemon.record.close_ups import CloseUp
from daemon.record.entries import Trace, TraceReading
from daemon.record.summary import GAP_LIMIT_S
from web.drawings.lines import Frame, Points, path
from web.drawings.scale import Tick, marks, scale, step_of, steps
from web.language import gettext as _

NEAR_S = 5.0
"""s before and after the alarm that the nearer look shows."""

USUAL_TIMES = 4
"""A silence this many times as long as a meter's usual one is a gap: a meter may be slow."""

OTHERS = 3
"""Kinds of thin lines for the meters that do not count."""


@dataclass(frozen=True, slots=True)
class Line:
    """One meter's line: SVG path data, and `kind`, by which the page tells lines apart."""

    meter: str
    kind: str
    path: str


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity over the time of the close-up: its lines, the set-point's, its scale.

    `said` is the same in words, for those who do not see it.
    """

    name: str
    unit: str
    lines: tuple[Line, ...]
    set_line: str
    ticks: tuple[Tick, ...]
    said: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """A close-up, drawn: its panels, marks of time, and where across the alarm's moment stands."""

    panels: tuple[Panel, ...]
    ticks: tuple[Tick, ...]
    moment: float


def drawn(close_up: CloseUp, near_s: float = math.inf) -> Drawing | None:
    """Draw a close-up, at most `near_s` either side of the alarm; None if nothing was read there.

    Current in A with what was set, and voltage in V if any meter reads it.
    """
    from_s, to_s = max(close_up.from_s, -near_s), min(close_up.to_s, near_s)
    traces = [_within(trace, from_s, to_s) for trace in close_up.traces]
    if to_s <= from_s:
        return None

    span = from_s, to_s
    both = (
        _panel(_("Current"), "A", traces, span, lambda r: r.current_a, lambda r: r.set_current_a),
        _panel(_("Voltage"), "V", traces, span, lambda r: r.voltage_v, lambda _: None),
    )
    panels = tuple(panel for panel in both if panel.lines)
    across = Frame(from_s, to_s, 0.0, 1.0).across
    times = tuple(
        Tick(f"{t:+g}".replace("-", "\N{MINUS SIGN}") if t else "alarm", across(t))
        for t in steps(from_s, to_s, step_of(to_s - from_s, at_most=5))
    )
    return Drawing(panels, times, across(0.0)) if panels else None


def kinds(traces: Sequence[Trace]) -> dict[str, str]:
    """How each meter's line is drawn: one that counts stands out, the others differ a little."""
    others = [trace.meter for trace in traces if not trace.counting]
    found = {trace.meter: "counting" for trace in traces if trace.counting}
    return found | {meter: f"other-{i % OTHERS + 1}" for i, meter in enumerate(others)}


def _within(trace: Trace, from_s: float, to_s: float) -> Trace:
    kept = tuple(r for r in trace.readings if from_s <= r.at_s <= to_s)
    return Trace(trace.meter, trace.counting, kept)


Value = Callable[[TraceReading], float | None]


def _panel(
    name: str,
    unit: str,
    traces: Sequence[Trace],
    span: tuple[float, float],
    value: Value,
    wanted: Value,
) -> Panel:
    read = {trace.meter: list(_parts(trace.readings, value)) for trace in traces}
    read = {meter: parts for meter, parts in read.items() if parts}
    set_to = [part for trace in traces for part in _parts(trace.readings, wanted)]
    shown = [v for parts in (*read.values(), set_to) for part in parts for _, v in part]
    low, high, step = scale(shown)
    place, kind = Frame(*span, low, high).place, kinds(traces)
    return Panel(
        name,
        unit,
        tuple(
            Line(meter, kind[meter], "".join(path(place(part)) for part in parts))
            for meter, parts in read.items()
        ),
        "".join(_stairs(place(part)) for part in set_to),
        marks(low, high, step),
        _("%(name)s in %(unit)s around the alarm. ", name=name, unit=unit)
        + " ".join(map(_said, read.items())),
    )


def _said(read: tuple[str, list[Points]]) -> str:
    meter, parts = read
    values = [v for part in parts for _, v in part]
    return _(
        "%(meter)s: from %(least)s to %(greatest)s.",
        meter=meter,
        least=f"{min(values):z.3f}",
        greatest=f"{max(values):z.3f}",
    )


def _parts(readings: Sequence[TraceReading], value: Value) -> Iterator[Points]:
    """A meter's readings in pieces: cut where a value is missing, and at gaps."""
    silences_s = [after.at_s - before.at_s for before, after in pairwise(readings)]
    limit_s = max(GAP_LIMIT_S, USUAL_TIMES * median(silences_s)) if silences_s else GAP_LIMIT_S
    part: Points = []
    for reading in readings:
        at_s, read = reading.at_s, value(reading)
        if part and (read is None or at_s - part[-1][0] > limit_s):
            yield part
            part = []
        if read is not None:
            part.append((at_s, read))
    if part:
        yield part


def _stairs(points: Points) -> str:
    """A line that keeps each value until the next point."""
    (first, down), *rest = points
    changes = [f"M{first:.1f} {down:.1f}"]
    for after, to in rest:
        if to != down:
            changes.append(f"H{after:.1f}V{to:.1f}")
            down = to
    return "".join(changes) + f"H{points[-1][0]:.1f}"
