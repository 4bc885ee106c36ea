"""Run, alarms, interlocks, link and restarts: every combination that can be reached.

Breadth first through the real `step` from the daemon's start. Times count as "over" or not, and of
alarms the whole life of one and what all together do, so that what is reached is finite; whatever
reaches a combination first stands for it. Each alarm's own life is enumerated in test_alarms,
and the contactor's auxiliary contact explored in test_contactor.

`long` crosses everything that may come in with everything else:
pytest tests/control/test_every_combination.py -m long
"""

from collections import deque
from itertools import product

import pytest

from daemon.control.protection import alarms as life
from daemon.control.protection.alarms import Sign
from daemon.control.protection.causes import INTERLOCK
from daemon.control.protection.effects import Effects, Stop, Table
from daemon.control.situation import AlarmAct, Command, Inputs, Limits, RunOver, Situation
from daemon.control.states import OPEN, PLATING, Act, State
from daemon.control.step import step
from drivers.contracts import Reading

AFTER_S = 2.0
TABLE = Table(
    {
        "short": Effects(Stop.ABORT, siren=True),
        "bath too hot": Effects(Stop.HOLD, after_s=AFTER_S),
        "bath too cold": Effects(),
        INTERLOCK + "level": Effects(Stop.STOP),
        "reading lost": Effects(Stop.ABORT, siren=True),
        "device failed": Effects(Stop.ABORT, siren=True),
        "contactor fault": Effects(Stop.ABORT, siren=True),
        "contactor did not open": Effects(siren=True),
        "current with no run": Effects(siren=True),
        "output did not stop": Effects(Stop.ABORT, siren=True),
        "cap reached": Effects(),
    }
)
LIMITS = Limits(pull_in_s=2.0, drop_out_s=1.0, table=TABLE)

SHORT, HOT = Sign("short", "0 V"), Sign("bath too hot", "41 °C")
SIGNS = ((), (SHORT,), (HOT,))
LOOPS = ((), ("level",))
LINKS = (("reads", 0.0, None), ("reads", 2.0, None), ("silent", None, None), ("lost", None, "gone"))
ACTS = (
    *Act, AlarmAct("acknowledge", "Ann"), AlarmAct("shelve", "Ann", 1, 1.0), None,
)  # fmt: skip
PASSED_S = (0.1, 3.1)


def one_at_a_time():
    """What comes in at one tick: a link, a cause, or an act, with or without current."""
    causes = ((SIGNS[1], ()), (SIGNS[2], ()), ((), LOOPS[1]))
    attend = [act for act in ACTS if isinstance(act, AlarmAct)]
    return [
        *((None, (), (), link, passed_s) for link, passed_s in product(LINKS, PASSED_S)),
        *((None, *cause, LINKS[1], passed_s) for cause, passed_s in product(causes, PASSED_S)),
        *((act, (), (), link, 0.1) for act, link in product(Act, LINKS[:2])),
        *((act, signs, (), LINKS[1], 0.1) for act, signs in product(attend, SIGNS[:2])),
    ]


def all_at_once():
    return list(product(ACTS, SIGNS, LOOPS, LINKS, PASSED_S))


def phase(situation):
    """All that decides what may come next, times only as "over" or not."""
    now_s, winding, contactor = situation.now_s, situation.wind_down, situation.contactor
    since_s = now_s if contactor.since_s is None else contactor.since_s
    reading, count = situation.reading, situation.count
    return (
        situation.state,
        winding and (winding.goal, winding.off_since_s is None, min(winding.alarms, 1)),
        (contactor.closed, contactor.made),
        now_s >= since_s + LIMITS.pull_in_s,
        situation.demand.output_on,
        situation.demand.current_a > 0,
        situation.open_loops,
        reading and (abs(reading.current_a) < LIMITS.gone_a, now_s - reading.monotonic_s > 3.0),
        count and now_s - count.last_s > LIMITS.lost_s,
        alarm_phase(situation.alarms, now_s),
    )


def alarm_phase(alarms, now_s):
    """The life of one alarm, and of all together what they do: stop, forbid, sound, stay."""
    short = alarms.of("short")
    return (
        short and (short.life, short.latched),
        tuple(
            sorted(
                {TABLE.row(alarm.cause).stop.value for alarm in life.stops(alarms, TABLE, now_s)}
            )
        ),
        life.why_not(alarms, TABLE) is None,
        life.siren(alarms, TABLE),
        any(alarm.latched for alarm in alarms.standing),
    )


def follow(before, news, plan):
    act, signs, loops, (link, current_a, trouble), passed_s = news
    now_s = before.now_s + passed_s
    reading = Reading(now_s, current_a, 1.0) if link == "reads" else None
    command = alarm_act = None
    if isinstance(act, Act):
        command = Command(act, "Ann", 1, plan if act is Act.START else None)
    elif act is not None:
        alarm_act = act
    return step(
        before,
        Inputs(now_s, reading, command, trouble, loops, None, signs, alarm_act),
        LIMITS,
    )


def check(before, after, outputs, happenings):
    """What holds after every tick whatever came."""
    contactor, winding, alarms = after.contactor, after.wind_down, after.alarms
    if contactor.closed or after.demand.output_on:
        assert after.state in (State.RUNNING, State.RESTARTING, State.HOLDING, State.STOPPING)
    if after.state in (State.HOLDING, State.STOPPING) and contactor.closed:
        assert after.demand.current_a == 0.0
    if after.demand.output_on:
        assert contactor.closed
    # No alarm that stops a run stands beside a run that plates on.
    if after.state in PLATING and winding is None:
        assert life.stops(alarms, TABLE, after.now_s) == []
        assert not after.open_loops
    # Nothing comes on by itself.
    if after.demand.output_on and not before.demand.output_on:
        assert after.state in PLATING
    if after.state in PLATING and before.state not in PLATING:
        assert before.state in (State.IDLE, State.HELD, State.STOPPED, State.COMPLETE)
    # Whatever has stopped a run stands until somebody resets, and one was first.
    latched = [alarm for alarm in alarms.standing if alarm.latched]
    assert not latched or sum(alarm.first_out for alarm in latched) == 1
    causes = [alarm.cause for alarm in alarms.standing]
    assert len(causes) == len(set(causes))
    # A current that should be gone and is not, for longer than it may, sounds.
    if winding is not None and winding.alarms:
        assert "output did not stop" in causes or winding.alarms != (
            before.wind_down.alarms if before.wind_down else 0
        )
    assert outputs.siren == life.siren(alarms, TABLE)
    if sum(isinstance(h, RunOver) for h in happenings):
        assert before.state in OPEN
        assert after.state not in OPEN


def explore(plan, everything):
    """The phases that were reached, and how many ticks it took."""
    first = Situation(State.IDLE, 1000.0)
    seen, frontier, ticks = {phase(first)}, deque([first]), 0
    while frontier:
        before = frontier.popleft()
        # A daemon that dies and starts again knows nothing but what its record and pins tell.
        found = [Situation(State.IDLE, before.now_s)]
        for news in everything:
            after, outputs, happenings = follow(before, news, plan)
            check(before, after, outputs, happenings)
            found.append(after)
            ticks += 1
        for after in found:
            if (reached := phase(after)) not in seen:
                seen.add(reached)
                frontier.append(after)
    return seen, ticks


@pytest.mark.parametrize("news", [
    pytest.param(one_at_a_time(), id="one at a time"),
    pytest.param(all_at_once(), id="all at once", marks=pytest.mark.long),
])  # fmt: skip
def test_every_reachable_combination(plan, stage, news, record_property):
    seen, ticks = explore(plan(stage(2.0), target_ah=0.001), news)
    record_property("combinations", len(seen))
    record_property("ticks", ticks)
    states = {state for state, *_ in seen}
    lives = {short[0] for *_, (short, *_) in seen if short}
    assert states == set(State)
    assert lives == set(life.Life)
