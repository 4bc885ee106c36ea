"""A run's report in words: what came of it, in figures with their doubt. Pure."""

from collections import Counter
from dataclasses import dataclass

from daemon.api.bath import bath_words
from daemon.api.report import Row
from daemon.api.rounding import fixed, rounded
from daemon.api.runs.counted_words import counted_by
from daemon.api.runs.report import RunReport
from daemon.api.sentence import duration
from daemon.bath.cost import Energy
from daemon.bath.weighings import KeptWeighing
from daemon.chemistry.electrolysis import g_per_ah
from daemon.chemistry.uncertainty import Budget, coverage_factor
from daemon.control.outline import Leg, outline
from daemon.record.queries import Run
from web.alarms.past import past
from web.language import gettext as _
from web.language import ngettext
from web.runs.listed import alarms_in_words, end_of
from web.times import stamp
from web.typography import capital
from web.units import as_set, converter, places, sign

CONFIDENCE = 0.95

_SHOWN_UM, _SHOWN_AH, _SHOWN_G = 2, 4, 4
"""The most decimals of a figure with its doubt."""


@dataclass(frozen=True, slots=True)
class Word:
    """The report's head: what came of it and what needs somebody; `level` is its colour."""

    title: str
    end: str
    figures: str
    need: str
    level: str


@dataclass(frozen=True, slots=True)
class StageLine:
    """A stage as planned, as foretold and as it was; "" for what is not known."""

    name: str
    planned: str
    foretold: str
    was: str
    ended_by: str


@dataclass(frozen=True, slots=True)
class EventLine:
    """An event: how long after the start, its kind and its words."""

    after: str
    kind: str
    text: str


def sure(
    budget: Budget | None, unit: str, most: int, *, known: bool, below: float | None = None
) -> str:
    """A figure with its doubt: `24.8 ± 0.9 µm (95 %)`; a dash where there is none.

    unit: "µm", "g" or "Ah"; the figure is in the reader's. known: whether anything is known of the
    doubt. Short of `below` it never reads as there.
    """
    if budget is None:
        return "–"
    half = budget.expanded(CONFIDENCE)
    there, seen = converter(unit), sign(unit)
    below = None if below is None else there(below)
    if not known or not half > 0:
        coarse = places(budget.value, unit, min(most, 2))
        value = f"{fixed(there(budget.value), coarse, below)} {seen}"
        return value if known else _("%(value)s (how sure is not known)", value=value)
    most = places(budget.value, unit, most)
    value, doubt = rounded(there(budget.value), there(half), most, below)
    return f"{value} ± {doubt} {seen} (95 %)"


def thickness(found: RunReport) -> str:
    """The mean thickness on the part, with its doubt; by the run's own row where need be."""
    run, deposit = found.run, found.deposit
    if deposit.thickness_um is None and run.thickness_um is not None:
        value = f"{fixed(run.thickness_um, 1, run.target_um)} µm"
        return _("%(value)s (how sure is not known)", value=value)
    return sure(deposit.thickness_um, "µm", _SHOWN_UM, known=deposit.sure, below=run.target_um)


def word(found: RunReport, *, under_way: bool) -> Word:
    """The head of the report."""
    run = found.run
    title = run.title or _("Run %(number)d", number=run.id)
    end = end_of(run, under_way=under_way)
    target = as_set(run.target_um, "µm")
    figures = _("%(much)s of %(target)s.", much=thickness(found), target=target)
    waits = [each for each in map(past, found.alarms) if each.stands and each.waits]
    cut = found.interruption
    need, level = _("Nothing of it needs you."), "calm"
    if cut is not None and cut.charge_ah is None:
        need, level = _("What passed while it was cut short has to be said."), "attention"
    elif waits:
        need = ngettext(
            "%(num)d alarm of it is not over.", "%(num)d alarms of it are not over.", len(waits)
        )
        level = "attention"
    elif found.is_open:
        need = _("These are the figures so far.")
    return Word(title, end, figures, need, level)


def figures(found: RunReport, zone: str, *, under_way: bool) -> tuple[Row, ...]:
    """What came of the run, and under what it ran. zone: that of the clock of all its times."""
    run, deposit = found.run, found.deposit
    known = deposit.sure
    running_s = run.elapsed_s if run.running_s is None else run.running_s
    target = _("target %(target)s", target=as_set(run.target_um, "µm"))
    rows = [
        Row(_("thickness"), f"{thickness(found)}, {target}"),
        Row(_("charge"), sure(deposit.charge, "Ah", _SHOWN_AH, known=known)),
        Row(_("mass"), f"{sure(deposit.mass_g, 'g', _SHOWN_G, known=known)} {deposit.metal}"),
    ]
    if deposit.why_not:
        rows.append(Row("", capital(deposit.why_not)))
    if deposit.earlier:
        runs = ", ".join(map(str, deposit.earlier))
        said = _("of the part with run %(runs)s; this run alone %(own)s Ah", runs=runs,
                 own=f"{run.charge_ah:.4f}")  # fmt: skip
        rows.append(Row("", said))
    gap_ah = (run.gap_greatest_ah or 0.0) - (run.gap_least_ah or 0.0)
    if gap_ah:
        said = _("%(gap)s Ah of it in doubt: not read", gap=f"{gap_ah:.4f}")
        rows.append(Row("", said))
    rows.append(Row(_("plated"), _plated(found, running_s)))
    rows.append(Row(_("started"), f"{stamp(run.started_utc_ms)} {zone}, {run.who}"))
    if run.ended_utc_ms is not None:
        why = f": {run.reason}" if run.reason else ""
        end = end_of(run, under_way=under_way)
        rows.append(Row(_("ended"), f"{stamp(run.ended_utc_ms)}, {end}{why}"))
    rows += _interruption(found)
    rows.append(Row(_("alarms"), alarms(found)))
    rows.append(Row(_("bath"), run.bath))
    rows.append(Row(_("area"), _area(found)))
    rows.append(Row(_("counted by"), counted_by(run.counted_by, found.calibration)))
    return tuple(rows)


def alarms(found: RunReport) -> str:
    """How many alarms the run had, and how many of high priority."""
    return alarms_in_words(Counter(each.raised.priority for each in found.alarms)) or _("none")


def mean_density(run: Run, plated_s: float | None) -> float | None:
    """A/dm² in the mean over the s that it plated; None where time or area is not known."""
    if not plated_s or not run.area_dm2:
        return None
    return 3600 * run.charge_ah / plated_s / run.area_dm2


def stages(found: RunReport) -> tuple[StageLine, ...]:
    """Each stage of the plan, and what became of it."""
    plan, run, growth = found.plan, found.run, found.deposit.um_per_ah
    was = {each.number: each for each in found.stages}
    legs: tuple[Leg, ...] = ()
    if plan is not None and growth is not None and run.goes_on_from is None:
        legs = outline(plan, growth)
    told = {} if found.rehearsal is None else {each.name: each for each in found.rehearsal.stages}
    names = [each.name for each in plan.stages] if plan is not None else []
    lines = []
    for number in sorted({*was, *range(len(names))}):
        done = was.get(number)
        name = done.name if done is not None else names[number]
        planned = ""
        if plan is not None and number < len(plan.stages):
            planned = f"{plan.stages[number].current_a:.4g} A"
            if number < len(legs):
                leg_s = legs[number].ends_s - legs[number].begins_s
                planned += f", {duration(leg_s)}"
        expected = told.get(name)
        foretold = ""
        if expected is not None:
            middle_s = expected.ends_s.middle - expected.begins_s.middle
            foretold = _("%(long)s, by %(end)s", long=duration(middle_s), end=expected.ended_by)
        if done is None:
            lines.append(StageLine(name, planned, foretold, "", _("not reached or not over")))
            continue
        long = duration(done.ended_s - done.started_s)
        lines.append(
            StageLine(name, planned, foretold, f"{long}, {done.charge_ah:.3f} Ah", done.ended_by)
        )
    return tuple(lines)


def events(found: RunReport) -> tuple[EventLine, ...]:
    """What happened, oldest first."""
    start_s = found.run.started_monotonic_s
    return tuple(
        EventLine(clock(max(0.0, each.monotonic_s - start_s)), capital(each.kind), each.text)
        for each in found.events
    )


def additions(found: RunReport) -> tuple[tuple[str, str, str, str], ...]:
    """What was entered of the bath meanwhile: when, what, by whom, the note."""
    return tuple(
        (
            stamp(each.at_utc_ms)[:16],
            capital(bath_words.entry(each, found.additives)),
            each.first.made.who,
            each.newest.made.note,
        )
        for each in found.entries
    )


def weighings(found: RunReport) -> tuple[Row, ...]:
    """What the balance says of the run beside what its charge says."""
    return tuple(row for each in found.weighings for row in _weighing(found, each))


def energy(cell: Energy) -> str:
    """What the cell took, in Wh or kWh."""
    if cell.cell_kwh < 0.1:
        return f"{1000 * cell.cell_kwh:.3g} Wh"
    return f"{cell.cell_kwh:.3g} kWh"


def clock(seconds: float) -> str:
    """A time since the start: `9:04:31`."""
    minutes, second = divmod(int(seconds), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{second:02d}"


def _plated(found: RunReport, running_s: float) -> str:
    run = found.run
    said = duration(running_s)
    if run.running_s is not None and run.elapsed_s - run.running_s >= 60:
        held = duration(run.elapsed_s - run.running_s)
        said = _("%(plated)s, and %(held)s held or changing", plated=said, held=held)
    density = mean_density(run, running_s)
    if density is not None:
        mean = _("%(density)s A/dm² in the mean", density=f"{density:.2f}")
        said = f"{said}; {mean}"
    return said


def _area(found: RunReport) -> str:
    run, plan = found.run, found.plan
    area = f"{run.area_dm2:.4g} dm²"
    share = plan.area_u if plan is not None else 0.0
    if share > 0:
        area += f" ± {100 * coverage_factor(CONFIDENCE) * share:.2g} %"
    if plan is None:
        return area
    efficiency = f"{100 * plan.efficiency:.4g}"
    return _("%(area)s, efficiency %(efficiency)s %%", area=area, efficiency=efficiency)


def _interruption(found: RunReport) -> list[Row]:
    cut = found.interruption
    if cut is None:
        return []
    lasted = _("not known how long") if cut.lasted_s is None else duration(cut.lasted_s)
    if cut.charge_ah is not None:
        by = cut.settlements[-1].settled
        said = _("%(charge)s Ah passed meanwhile, said by %(who)s",
                 charge=f"{cut.charge_ah:.4f}", who=by.who)  # fmt: skip
        note = f": {by.note}" if by.note else ""
        return [Row(_("cut short"), f"{lasted}; {said}{note}")]
    if cut.greatest_ah is None:
        return [Row(_("cut short"), lasted)]
    said = _("0 to %(most)s Ah can have passed meanwhile", most=f"{cut.greatest_ah:.4f}")
    return [Row(_("cut short"), f"{lasted}; {said}")]


def _weighing(found: RunReport, each: KeptWeighing) -> tuple[Row, ...]:
    gained_g = each.after_g - each.before_g
    half = 100 * each.found.budget.expanded(CONFIDENCE)
    share = f"{100 * each.found.value:.4g} %"
    if half > 0:
        value, doubt = rounded(100 * each.found.value, half, 2)
        share = f"{value} ± {doubt} % (95 %)"
    when = f"{bath_words.stamp(each.at_utc_ms)}, {each.who}"
    rows = [
        Row(_("weighed"), f"{each.before_g:.6g} g, {each.after_g:.6g} g; {when}"),
        Row(_("gained"), f"{gained_g:.4g} g"),
    ]
    mass, growth, plan = found.deposit.mass_g, found.deposit.um_per_ah, found.plan
    if mass is not None:
        text = sure(mass, "g", _SHOWN_G, known=found.deposit.sure)
        rows.append(Row(_("by charge"), text))
    if growth is not None and plan is not None:
        by_mass_um = gained_g / g_per_ah(plan.metal, plan.efficiency) * growth
        text = _("%(thickness)s µm in the mean", thickness=f"{by_mass_um:.1f}")
        rows.append(Row(_("by mass"), text))
    if not each.counts:
        share = _("%(efficiency)s, not averaged in", efficiency=share)
    rows.append(Row(_("efficiency"), share))
    return tuple(rows)
