"""Curves of a run beside its plan and rehearsal, and two runs over one another. Pure."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from daemon.api.runs.report import RunReport
from daemon.api.socket.rehearsal import CurveMessage, Rehearsal
from daemon.control.outline import Leg, outline
from web.drawings.chart import columns, grown
from web.drawings.drawing import Chart, Curve, Quantity, Range, drawn
from web.drawings.lines import Values
from web.language import gettext as _
from web.units import converter, sign

REACH = 3.0
"""Times as long as the run lasted that the drawing is at most: what was planned may be far more."""

MOST_MOMENTS = 20
"""Alarms that are marked."""

REAL, OTHER, PLANNED, LIMIT = "real", "other", "planned", "limit"
"""How lines are drawn: thick, thick and dashed, thin and dashed, dotted."""


def of_run(found: RunReport) -> Chart | None:
    """Draw a run beside its plan and its rehearsal; None where nothing was read."""
    plan, growth, seen = found.plan, found.deposit.um_per_ah, found.series
    legs: tuple[Leg, ...] = ()
    if plan is not None and growth is not None and found.run.goes_on_from is None:
        legs = outline(plan, growth)
    real_s = seen.last_s[-1] if seen.last_s else 0.0
    told_s = found.rehearsal.times_s[-1] if found.rehearsal and found.rehearsal.times_s else 0.0
    planned_s = legs[-1].ends_s if legs else 0.0
    end_s = max(real_s, min(REACH * real_s, max(told_s, planned_s)))
    corners = [point for leg in legs for point in leg.points]
    times = [t for t, _a, _ah in corners]
    ceiling_v = [(leg.begins_s, leg.ends_s) for leg in legs]
    current = [Curve(PLANNED, times, [a for _t, a, _ah in corners])]
    voltage, thickness = [], []
    if plan is not None and legs:
        at_s = [t for ends in ceiling_v for t in ends]
        limits = [s.voltage_ceiling_v for s in plan.stages[: len(legs)] for _k in range(2)]
        voltage.append(Curve(LIMIT, at_s, limits))
    if growth is not None:
        thickness = [
            Curve(PLANNED, times, [growth * ah for _t, _a, ah in corners]),
            Curve(LIMIT, (0.0, end_s), (found.run.target_um, found.run.target_um)),
        ]
    data = columns(seen)
    real = {
        name: Curve(REAL, data["t"], data[key])
        for name, key in (("Current", "current_mean"), ("Voltage", "voltage_mean"))
    }
    started_s = found.run.started_monotonic_s
    moments = [(each.raised.monotonic_s - started_s, str(each.number)) for each in found.alarms][
        :MOST_MOMENTS
    ]
    told = found.rehearsal
    return drawn(
        (
            _quantity(_("Current"), "A", (*current, real["Current"]), _range(told, "Current")),
            _quantity(_("Voltage"), "V", (*voltage, real["Voltage"]), _range(told, "Voltage")),
            _quantity(
                _("Thickness"),
                "µm",
                (*thickness, *_thickness(found, REAL)),
                _range(told, "Thickness"),
            ),
            _quantity(_("Bath"), "°C", (_warmth(found, REAL),), _range(told, "Bath"), zero=False),
        ),
        end_s,
        moments,
    )


def of_two(first: RunReport, second: RunReport) -> Chart | None:
    """Draw two runs over one another from their starts; None where nothing was read of either."""
    pairs = ((first, REAL), (second, OTHER))
    ends_s = [found.series.last_s[-1] for found, _kind in pairs if found.series.last_s]
    curves: dict[str, list[Curve]] = {"current": [], "voltage": [], "thickness": [], "bath": []}
    for found, kind in pairs:
        data, label = columns(found.series), str(found.run.id)
        curves["current"].append(Curve(kind, data["t"], data["current_mean"], label))
        curves["voltage"].append(Curve(kind, data["t"], data["voltage_mean"], label))
        curves["thickness"] += _thickness(found, kind, label)
        curves["bath"].append(_warmth(found, kind, label))
    return drawn(
        (
            _quantity(_("Current"), "A", curves["current"]),
            _quantity(_("Voltage"), "V", curves["voltage"]),
            _quantity(_("Thickness"), "µm", curves["thickness"]),
            _quantity(_("Bath"), "°C", curves["bath"], zero=False),
        ),
        max(ends_s, default=0.0),
    )


def _thickness(found: RunReport, kind: str, label: str = "") -> tuple[Curve, ...]:
    """What the charge so far has deposited on the part, of its earlier runs too."""
    growth = found.deposit.um_per_ah
    if growth is None or found.deposit.charge is None:
        return ()
    before_ah = found.deposit.before_ah(found.run)
    data = columns(found.series)
    return (Curve(kind, data["t"], grown(data["charge"], growth, before_ah), label),)


def _warmth(found: RunReport, kind: str, label: str = "") -> Curve:
    return Curve(kind, found.series.last_s, found.series.temperature_c.mean, label)


def _range(told: Rehearsal | None, name: str) -> Range | None:
    curve = _told(told, name)
    if told is None or curve is None:
        return None
    return Range(told.times_s, curve.least, curve.greatest)


def _told(told: Rehearsal | None, name: str) -> CurveMessage | None:
    if told is None:
        return None
    return next((each for each in told.curves if each.name == name), None)


def _quantity(
    name: str,
    unit: str,
    curves: Sequence[Curve],
    foretold: Range | None = None,
    *,
    zero: bool = True,
) -> Quantity:
    into = converter(unit)
    curves = [replace(each, values=_through(into, each.values)) for each in curves]
    if foretold is not None:
        foretold = replace(
            foretold,
            least=_through(into, foretold.least),
            greatest=_through(into, foretold.greatest),
        )
    unit = sign(unit)
    parts = [_said(each.values, each.label) for each in curves if each.kind in (REAL, OTHER)]
    said = _("%(name)s in %(unit)s over the run.", name=name, unit=unit)
    if foretold is not None:
        low, high = _ends((*foretold.least, *foretold.greatest))
        said += " " + _("Foretold from %(low)s to %(high)s.", low=low, high=high)
    return Quantity(
        name, unit, tuple(curves), " ".join([said, *filter(None, parts)]), foretold, zero
    )


def _through(into: Callable[[float], float], values: Values) -> Values:
    return [None if value is None else into(value) for value in values]


def _said(values: Values, label: str) -> str:
    if all(v is None for v in values):
        return ""
    low, high = _ends(values)
    if label:
        return _("Run %(run)s: from %(low)s to %(high)s.", run=label, low=low, high=high)
    return _("It was from %(low)s to %(high)s.", low=low, high=high)


def _ends(values: Values) -> tuple[str, str]:
    there = [v for v in values if v is not None]
    return (f"{min(there):z.3g}", f"{max(there):z.3g}") if there else ("–", "–")
