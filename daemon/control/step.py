"""The one function that decides: state and inputs in; state, outputs and happenings out. Pure."""

from dataclasses import replace

from daemon.control import contactor, interlocks
from daemon.control.follow import follow
from daemon.control.obey import obey
from daemon.control.protect import protect
from daemon.control.protection import alarms
from daemon.control.situation import (
    Event,
    Happening,
    Inputs,
    Limits,
    Outputs,
    Situation,
)
from daemon.control.states import AT_REST, OPEN, PLATING
from daemon.control.wind_down import watch, wind_down

GAP = "gap"


def step(
    situation: Situation, inputs: Inputs, limits: Limits
) -> tuple[Situation, Outputs, list[Happening]]:
    """One tick: count what was read, obey, protect, follow the plan, see the current gone.

    `inputs.now_s` must not run backwards. A command that `obey.refusal` refuses changes nothing;
    whoever takes commands from people asks it first, to be able to tell them. Returns the next
    situation, what the supply shall do, and what belongs into the record, in order.

    A reading without a current, or not newer than the last, is as good as none.
    """
    now_s = inputs.now_s
    happenings: list[Happening] = []
    wake_at_s: float | None = None
    situation = interlocks.noted(situation, inputs.open_loops, happenings)
    situation = contactor.watched(situation, inputs.auxiliary_closed, now_s, limits, happenings)
    if inputs.reading is not None:
        situation = _count(situation, inputs, limits, happenings)
    if inputs.command is not None:
        situation = obey(situation, inputs.command, now_s, limits, happenings)
    situation = protect(situation, inputs, limits, happenings)
    if situation.state in PLATING and situation.wind_down is None:
        if not situation.demand.output_on:
            situation = contactor.waited(situation, now_s)
        if contactor.is_made(situation, limits):
            situation, wake_at_s = follow(situation, now_s, limits, happenings)
    if situation.state in AT_REST and situation.wind_down is None:
        situation = watch(situation, now_s, limits)
    if situation.wind_down is not None:
        situation, wake_at_s = wind_down(situation, situation.wind_down, now_s, limits, happenings)
    situation = contactor.demanded(situation, now_s, limits)
    if situation.now_s != now_s:
        situation = replace(situation, now_s=now_s)
    return situation, _outputs(situation, wake_at_s, limits), happenings


def _count(
    situation: Situation, inputs: Inputs, limits: Limits, happenings: list[Happening]
) -> Situation:
    reading, newest, count = inputs.reading, situation.reading, situation.count
    if reading is None or reading.current_a is None:
        return situation
    if newest is not None and reading.monotonic_s <= newest.monotonic_s:
        return situation
    if count is None or situation.state not in OPEN:
        return replace(situation, reading=reading)
    counted = count.add(
        reading.monotonic_s, reading.current_a, limits.gap_s, situation.demand.current_a
    )
    if counted.gap_s != count.gap_s:
        least_ah = counted.gap_least_ah - count.gap_least_ah
        greatest_ah = counted.gap_greatest_ah - count.gap_greatest_ah
        gap_s = counted.gap_s - count.gap_s
        happenings.append(
            Event(
                GAP,
                f"{gap_s:.1f} s without a reading: "
                f"between {least_ah:.4f} and {greatest_ah:.4f} Ah passed",
                {"gap_s": gap_s, "least_ah": least_ah, "greatest_ah": greatest_ah},
            )
        )
    return replace(situation, reading=reading, count=counted)


def _outputs(situation: Situation, wake_at_s: float | None, limits: Limits) -> Outputs:
    demand, closed = situation.demand, situation.contactor.closed
    beacon = siren = False
    standing, now_s = situation.alarms, situation.now_s
    if standing.standing:
        due_s = alarms.next_due_s(standing, limits.table, now_s)
        wake_at_s = min((s for s in (wake_at_s, due_s) if s is not None), default=None)
        beacon = alarms.beacon(standing, limits.table)
        siren = alarms.siren(standing, limits.table)
    if wake_at_s is not None and not now_s < wake_at_s < now_s + limits.period_s:
        wake_at_s = None
    return Outputs(demand, wake_at_s, closed, beacon, siren)
