"""What tankhand would do in a mishap: the same run, its detectors, and something that goes wrong.

Until some minutes before, ticks may be far apart; then the loop's own detectors see a reading every
half second, as they do at the tank.
"""

from collections.abc import Iterator
from dataclasses import replace

from daemon.api.errors import InputError
from daemon.api.rehearsal.mishaps import (
    BAD_CONTACT,
    OPEN_CIRCUIT,
    OUTPUT_DROPPED,
    PART_LOST,
    POWER_CUT,
    SHORT,
    WHERE,
    WHISKER,
    Mishap,
)
from daemon.api.rounding import fixed
from daemon.api.sentence import duration
from daemon.api.socket.rehearsal import MishapLine, MishapTold
from daemon.chemistry.electrolysis import um_per_ah
from daemon.control.feasibility import course, problems
from daemon.control.protection.alarms import Change
from daemon.control.protection.causes import RUN_INTERRUPTED, cause_named
from daemon.control.protection.effects import Effects, Stop
from daemon.control.situation import Carried, Event, Happening
from daemon.control.states import OPEN, State
from daemon.service.cycle.watching import make_watch
from daemon.service.rehearsal.assembly import Stage
from daemon.service.rehearsal.spread import Draw
from daemon.service.rehearsal.walked import Walk
from daemon.service.settings.file import Settings
from drivers.simulator.scenario import parse_event

LEAD_S = 420.0
"""s before it from which the detectors watch: they learn for five minutes."""

PATIENCE_S = 240.0
"""s after it until which something is waited for."""

SHORT_SHARE, WHISKER_SHARE, CONTACT_SHARE = 0.02, 0.2, 0.4
"""Of the cell's voltage over its current: what a short leaves, what a whisker takes, what a bad
contact adds in the mean (common practice)."""

NOISE_A, NOISE_V, STEP = 0.0005, 0.001, 0.001
"""Of a bench supply's own meter (common practice): without any, it would seem frozen."""

RECORD_S = 1.0
"""s of readings that are not on the disk yet, at most."""


def told(settings: Settings, stage: Stage, tank: Draw, end_s: float, mishap: Mishap) -> MishapTold:
    """Rehearse a mishap on this tank. Raises InputError where the run is over by then.

    `end_s`: when the run is over if nothing goes wrong, s from its start.
    """
    if mishap.at_s >= end_s:
        raise InputError(
            WHERE,
            (
                f"{mishap.kind} at {clock(mishap.at_s)}: the run is over after {clock(end_s)}, "
                "so it has to come before",
            ),
        )
    if mishap.kind == POWER_CUT:
        return _power_cut(settings, stage, tank, mishap)
    walk = _led_up_to(settings, stage, tank, mishap.at_s)
    if walk.situation.state not in OPEN:
        return MishapTold(title=_title(mishap, stage.copies), lines=(_no_run_line(walk),))
    what, event = _event(walk, mishap.kind, stage.copies)
    lines = [MishapLine(at_s=walk.elapsed_s, text=what)]
    needs: list[str] = []
    walk.supply.bench.advance_to(walk.now_s)
    walk.supply.bench.inject(parse_event(event))
    for at_s, happening in _afterwards(walk, mishap.at_s + PATIENCE_S):
        lines += [MishapLine(at_s=at_s, text=text) for text in _said(settings, happening)]
        if isinstance(happening, Change) and happening.what == "raised":
            needs.append(cause_named(happening.alarm.cause).need)
    lines.append(_outcome(stage, walk))
    return MishapTold(
        title=_title(mishap, stage.copies), lines=tuple(lines), needs=tuple(dict.fromkeys(needs))
    )


def clock(seconds: float) -> str:
    """Hours and minutes from the start, as mishaps are written: `4:12`."""
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _led_up_to(settings: Settings, stage: Stage, tank: Draw, at_s: float) -> Walk:
    """The run until the mishap, the last minutes of it under the loop's own detectors."""
    noisy = tank.scenario.supply.model_copy(
        update={
            "current_noise_a": NOISE_A,
            "voltage_noise_v": NOISE_V,
            "measured_current_step_a": STEP,
            "measured_voltage_step_v": STEP,
        }
    )
    scenario = tank.scenario.model_copy(update={"supply": noisy})
    rules = replace(stage.rules, given=tank.given)
    walk = Walk(stage.plan, scenario, rules, stage.carried)
    walk.go_on_until(max(0.0, at_s - LEAD_S))
    walk.closely(make_watch(stage.rules.limits, settings.chosen_thresholds()))
    walk.go_on_until(at_s)
    return walk


def _event(walk: Walk, kind: str, copies: int) -> tuple[str, dict[str, object]]:
    """What happens, in words and in the simulator's."""
    tank, current_a = walk.supply.tank, max(walk.supply.bench.supply.current_a, 1e-3)
    cell_ohm = tank.voltage_at(current_a) / current_a
    match kind:
        case "part lost":
            return _falls(copies), {"do": "lose_part", "part": 1}
        case "short":
            return "a part touches an anode", {
                "do": "short", "resistance_ohm": cell_ohm * SHORT_SHARE,
            }  # fmt: skip
        case "whisker":
            ohm = cell_ohm * (1.0 - WHISKER_SHARE) / WHISKER_SHARE
            return "a thin tree of copper bridges to the anode", {
                "do": "whisker", "resistance_ohm": ohm,
            }  # fmt: skip
        case "bad contact":
            return "a hook touches now and then", {
                "do": "bad_contact", "resistance_ohm": cell_ohm * CONTACT_SHARE,
            }  # fmt: skip
        case "open circuit":
            return "the anode's lead comes off", {"do": "open_load"}
        case _:
            return "the supply switches its output off by itself", {"do": "output_drop"}


def _falls(copies: int) -> str:
    return "the part falls off" if copies == 1 else f"1 of {copies} parts falls off"


def _title(mishap: Mishap, copies: int) -> str:
    names = {
        PART_LOST: _falls(copies),
        SHORT: "short",
        WHISKER: "whisker",
        BAD_CONTACT: "bad contact",
        OPEN_CIRCUIT: "open circuit",
        OUTPUT_DROPPED: "output drops",
        POWER_CUT: f"power cut of {duration(mishap.lasts_s)}",
    }
    return f"{names[mishap.kind]} at {clock(mishap.at_s)}"


def _afterwards(walk: Walk, until_s: float) -> Iterator[tuple[float, Happening]]:
    """What happens then, until the run is at rest or nothing more is waited for."""
    while walk.elapsed_s < until_s and walk.situation.state in OPEN:
        if walk.situation.state is State.HELD:
            return
        at_s = walk.elapsed_s
        for happening in walk.tick(None):
            yield at_s, happening


def _said(settings: Settings, happening: Happening) -> Iterator[str]:
    if isinstance(happening, Change) and happening.what == "raised":
        alarm = happening.alarm
        yield f"alarm, {alarm.priority.value} priority: {alarm.cause}: {alarm.seen}"
        row = settings.cause_and_effect().row(alarm.cause)
        yield "; ".join(_brought_about(settings, row))
    elif isinstance(happening, Event) and happening.kind == "output did not stop":
        yield happening.text


def _brought_about(settings: Settings, row: Effects) -> Iterator[str]:
    """What an alarm brings about, as far as the settings have something for it."""
    after = f" after {row.after_s:g} s" if row.after_s else ""
    yield {
        Stop.NOTHING: "the run goes on",
        Stop.HOLD: f"tankhand holds the run{after}: current down, output off",
        Stop.STOP: f"tankhand stops the run{after}: current down, output off",
        Stop.ABORT: f"tankhand aborts the run{after}: output off at once",
    }[row.stop]
    if row.beacon and settings.beacon is not None:
        yield "beacon on"
    if row.siren and settings.siren is not None:
        yield "siren until somebody acknowledges"
    if row.tell:
        names = ", ".join(table.name for table in settings.tell)
        yield f"told to {names}" if names else "nobody is told: the settings name nobody"


def _outcome(stage: Stage, walk: Walk) -> MishapLine:
    """How it stands after that, and what goes on."""
    situation, done = walk.situation, _on_the_part(stage, walk)
    match situation.state:
        case State.HELD:
            text = f"held, no current seen, {done}; `tankhand resume` goes on once it is put right"
        case State.ABORTED:
            text = (
                f"aborted, no current seen, {done}; look at the tank, then `tankhand reset`, and "
                "`tankhand run --continue RUN` goes on with the part"
            )
        case State.STOPPED:
            text = f"stopped, no current seen, {done}"
        case _:
            raised = walk.situation.alarms.standing
            text = f"the run goes on, {done}"
            if not raised:
                text += f"; nothing was found in {duration(PATIENCE_S)}"
    return MishapLine(at_s=walk.elapsed_s, text=text)


def _no_run_line(walk: Walk) -> MishapLine:
    text = f"nothing runs any more: {walk.situation.reason or walk.situation.state.value}"
    return MishapLine(at_s=walk.elapsed_s, text=text)


def _on_the_part(stage: Stage, walk: Walk) -> str:
    count, plan = walk.situation.count, stage.plan
    done_ah = 0.0 if count is None else count.best_ah
    um = done_ah * um_per_ah(plan.metal, plan.area_dm2, plan.efficiency)
    return f"{fixed(um, 1, below=plan.target_um)} of {plan.target_um:g} µm are on the part"


def _power_cut(settings: Settings, stage: Stage, tank: Draw, mishap: Mishap) -> MishapTold:
    """What has no power does nothing; then the daemon's start is what its rules say."""
    rules = replace(stage.rules, given=tank.given)
    walk = Walk(stage.plan, tank.scenario, rules, stage.carried)
    walk.go_on_until(mishap.at_s)
    walk.tick(None)
    title, plan = _title(mishap, stage.copies), stage.plan
    count, progress = walk.situation.count, walk.situation.progress
    if walk.situation.state not in OPEN or count is None or progress is None:
        return MishapTold(title=title, lines=(_no_run_line(walk),))
    back_s = mishap.at_s + mishap.lasts_s
    most_ah = max(each.current_a for each in plan.stages) * mishap.lasts_s / 3600.0
    carried = Carried(
        count.charge_ah, count.gap_least_ah, count.gap_greatest_ah + most_ah, progress.running_s,
        progress.stage, progress.stage_from_ah,
    )  # fmt: skip
    table, done = settings.cause_and_effect(), _on_the_part(stage, walk)
    lines = [
        (
            mishap.at_s,
            "no power: no current, and no tankhand either; of the readings at most the last "
            f"{RECORD_S:g} s are not on the disk",
        ),
        (
            back_s,
            f"power is back: output off before anything else; the run is closed as aborted, {done}",
        ),
        (
            back_s,
            f"alarm, {table.priority(RUN_INTERRUPTED).value} priority: {RUN_INTERRUPTED}: between "
            f"0 and {most_ah:.3g} Ah can have passed, if the clocks tell how long it was",
        ),
        (back_s, "; ".join(list(_brought_about(settings, table.row(RUN_INTERRUPTED)))[1:])),
        (back_s, _who_goes_on(settings, mishap.lasts_s)),
        (back_s, _going_on(stage, carried)),
    ]
    return MishapTold(
        title=title,
        lines=tuple(MishapLine(at_s=at_s, text=text) for at_s, text in lines if text),
        needs=(cause_named(RUN_INTERRUPTED).need,),
    )


def _who_goes_on(settings: Settings, lasted_s: float) -> str:
    table = settings.after_interruption
    if table.go_on and lasted_s <= table.within:
        return "it goes on with the part by itself, by the settings, if all is well"
    return "it waits for a person: `tankhand settle RUN CHARGE`, then `tankhand run --continue RUN`"


def _going_on(stage: Stage, carried: Carried) -> str:
    found = problems(stage.plan, stage.rating, stage.known.meter.doubt, carried)
    if found:
        return f"it could not go on: {found[0]}"
    way = course(stage.plan, stage.known.meter.doubt, carried)
    if way.target_ah is None:
        return ""
    left_s = way.to(way.target_ah - way.done_ah).duration_s
    where = stage.plan.stages[carried.stage]
    return f"it goes on in stage {carried.stage + 1}, {where.name}, for about {duration(left_s)}"
