"""What a plan will meet with: how long it takes, what falls due, what the anodes bear."""

from collections.abc import Sequence

from daemon.api.bath.due_words import charge, due_status, line
from daemon.api.pump_words import gives
from daemon.api.rounding import fixed
from daemon.api.sentence import duration
from daemon.api.socket.pumps import PumpStatus
from daemon.bath.due import Dues
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.control.feasibility import Course, course
from daemon.control.plan import Plan
from daemon.control.situation import Carried


def course_note(plan: Plan, doubt: MeterDoubt, carried: Carried) -> str:
    """How much charge and time a plan that can work takes from here, in words."""
    way = course(plan, doubt, carried)
    added_ah = _added_ah(way)
    return (
        f"the plan can work: {added_ah:.4g} Ah in about {duration(way.to(added_ah).duration_s)} "
        "at its currents"
    )


def going_on_note(plan: Plan, carried: Carried) -> str:
    """Where a plan that can work takes up a part that has something on it already, in words."""
    stage, way = plan.stages[carried.stage], course(plan, carried=carried)
    there = fixed(way.done_ah * way.um_per_ah, 1, below=plan.target_um)
    return (
        f"it goes on in stage {carried.stage + 1} of {len(plan.stages)}, {stage.name}, at "
        f"{stage.current_a:.4g} A, with {there} of {plan.target_um:g} µm on the part"
    )


def anode_notes(dues: Dues, plan: Plan) -> tuple[str, ...]:
    """A note where the plan asks for more than the anodes bear."""
    anodes, greatest_a = dues.anodes, max(stage.current_a for stage in plan.stages)
    if anodes is None or anodes.area_dm2 is None or anodes.greatest_a is None:
        return ()
    if greatest_a <= anodes.greatest_a:
        return ()
    area_dm2 = anodes.area_dm2
    return (
        f"the plan's {greatest_a:.4g} A are {greatest_a / area_dm2:.3g} A/dm² on {area_dm2:.3g} dm²"
        f" of anodes, which bear {anodes.greatest_a / area_dm2:.3g} A/dm²: hang more of them, or"
        f" plate at {anodes.greatest_a:.3g} A at most",
    )


def due_notes(
    dues: Dues,
    charge_ah: float,
    utc_ms: int,
    plan: Plan,
    doubt: MeterDoubt,
    carried: Carried,
    pumps: Sequence[PumpStatus] = (),
) -> tuple[str, ...]:
    """What is due before the plan starts and what falls due in it, a note for each.

    `charge_ah` is what the bath has seen by now, `utc_ms` the moment. The plan's charge is what its
    target needs; its caps may end it earlier. What one of the `pumps` gives, it is said to.
    """
    way, given = course(plan, doubt, carried), {pump.additive: gives(pump) for pump in pumps}
    added_ah = _added_ah(way)
    notes = []
    for due in dues.at(charge_ah, utc_ms):
        if due.doses:
            notes.append(line(due_status(due)) + given.get(due.name, ""))
    for tally in dues.tallies:
        crossed = tally.falling_due(charge_ah, added_ah)
        if crossed:
            what = f"{tally.dose_ml:.4g} mL of {tally.name}"
            notes.append(_falls_due(what, crossed, way) + given.get(tally.name, ""))
    run_s = way.to(added_ah).duration_s
    for each in dues.upkeep:
        in_ah, in_s = each.in_ah(charge_ah), each.in_s(utc_ms)
        by_charge = in_ah is not None and 0 < in_ah <= added_ah
        by_time = in_s is not None and 0 < in_s <= run_s
        already = any(left is not None and left <= 0 for left in (in_ah, in_s))
        if (by_charge or by_time) and not already:
            notes.append(f"{each.kind} falls due during this run")
    return tuple(notes)


def _falls_due(what: str, crossed: tuple[float, ...], way: Course) -> str:
    first_ah = crossed[0]
    after = (
        f"after {charge(first_ah)} of this run, in about {duration(way.to(first_ah).duration_s)}"
    )
    if len(crossed) == 1:
        return f"{what} falls due {after}"
    return f"{what} falls due {after}; {len(crossed)} times in all before its end"


def _added_ah(way: Course) -> float:
    """What a plan that can work puts on the part, A·h."""
    return 0.0 if way.target_ah is None else way.target_ah - way.done_ah
