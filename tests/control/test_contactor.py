"""The contactor: when it is closed, what it waits for, and every way it can fail."""

from collections import deque
from itertools import product

import pytest

from daemon.control.obey import refusal
from daemon.control.protection.causes import INTERLOCK
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table
from daemon.control.situation import Command, Event, Inputs, Limits, Situation
from daemon.control.states import OPEN, PLATING, Act, State
from daemon.control.step import step
from drivers.contracts import Reading

PULL_IN_S, DROP_OUT_S = 2.0, 1.0


class Contactor:
    """Closes `close_s` after it was told to, opens after `open_s`; or is welded, or dead."""

    def __init__(self, tank, close_s=0.3, open_s=0.4):
        self.tank, self.close_s, self.open_s = tank, close_s, open_s
        self.closed = self.welded = self.dead = False
        self._told, self._since_s = False, tank.now_s
        tank.flowing_a = self.flowing_a

    def flowing_a(self, demand):
        return demand.current_a if demand.output_on and self.closed else 0.0

    def follow(self):
        """Do what was demanded, as far as time has passed; then show it."""
        told = self.tank.situation.contactor.closed and not self.dead
        if told != self._told:
            self._told, self._since_s = told, self.tank.now_s
        takes_s = self.close_s if told else self.open_s
        if self.tank.now_s >= self._since_s + takes_s - 1e-9:
            self.closed = told or self.welded


@pytest.fixture
def rig(tank):
    """A tank behind a contactor with an auxiliary contact."""
    tank.with_limits(pull_in_s=PULL_IN_S, drop_out_s=DROP_OUT_S)
    contactor = tank.contactor = Contactor(tank)
    tank.auxiliary = False
    tick = tank.tick

    def ticking(*args, **more):
        contactor.follow()
        tank.auxiliary = contactor.closed
        return tick(*args, **more)

    tank.tick = ticking
    tank.tick()
    return tank


def start(tank, plan, stage, **ends):
    tank.tick(Act.START, plan=plan(stage(2.0, **ends)))
    assert tank.state is State.RUNNING
    return tank


# In order.


def test_the_output_goes_on_when_the_contactor_has_closed_and_not_before(rig, plan, stage):
    start(rig, plan, stage)
    assert rig.situation.contactor.closed
    assert not rig.demand.output_on
    on_s = None
    began_s = rig.now_s
    while on_s is None:
        rig.tick()
        if rig.demand.output_on:
            on_s = rig.now_s - began_s
            assert rig.contactor.closed
    assert 0.3 <= on_s <= 0.5


def test_waiting_for_the_contactor_takes_nothing_from_the_plan(rig, plan, stage):
    rig.contactor.close_s = 1.9
    start(rig, plan, stage, duration_s=10.0).run_for(5.0)
    assert rig.situation.progress.running_s == pytest.approx(3.1, abs=0.11)
    rig.tick(Act.HOLD)
    assert rig.situation.progress.running_s == pytest.approx(3.2, abs=0.11)


def test_a_run_that_is_stopped_before_the_contactor_closed_has_not_run(rig, plan, stage):
    rig.contactor.close_s = 1.9
    start(rig, plan, stage).run_for(1.0)
    rig.tick(Act.STOP)
    assert rig.situation.progress.running_s == 0.0
    assert not rig.situation.contactor.closed
    rig.run_to(State.STOPPED)
    assert all(not demand.output_on for _, _, demand in rig.trail)


def test_after_a_hold_the_ramp_begins_when_the_contactor_has_closed(rig, plan, stage):
    start(rig, plan, stage).run_for(5.0)
    rig.tick(Act.HOLD)
    rig.run_to(State.HELD).run_for(3.0)
    rig.contactor.close_s = 1.9
    rig.tick(Act.RESUME)
    while not rig.demand.output_on:
        rig.tick()
    # A hundredth of the 10 s ramp to 2 A is 20 mA.
    assert rig.demand.current_a <= 0.021
    rig.run_to(State.RUNNING).run_for(1.0)
    assert rig.demand.current_a == 2.0


@pytest.mark.parametrize("act", [Act.HOLD, Act.STOP])
def test_in_a_controlled_stop_it_opens_without_current_and_with_the_output(rig, plan, stage, act):
    start(rig, plan, stage).run_for(5.0)
    rig.tick(act)
    assert (rig.demand.output_on, rig.demand.current_a) == (True, 0.0)
    assert rig.situation.contactor.closed
    rig.run_to_rest()
    changes = [
        (demand.output_on, demand.current_a) for _, state, demand in rig.trail if state in OPEN
    ]
    assert changes[-1] == (False, 0.0)
    assert not rig.situation.contactor.closed


def test_current_that_does_not_come_down_keeps_it_closed_for_a_second_at_most(rig, plan, stage):
    start(rig, plan, stage).run_for(5.0)
    rig.stick_at(2.0)
    rig.tick(Act.STOP)
    told_s = rig.now_s
    while rig.situation.contactor.closed:
        rig.tick()
    assert rig.now_s - told_s == pytest.approx(1.0, abs=0.01)


def test_an_abort_opens_it_in_the_same_tick(rig, plan, stage):
    start(rig, plan, stage).run_for(5.0)
    rig.tick(Act.ABORT)
    assert not rig.situation.contactor.closed
    assert not rig.demand.output_on


def test_without_an_auxiliary_contact_the_output_waits_the_time_it_may_take(tank, plan, stage):
    tank.with_limits(pull_in_s=PULL_IN_S, drop_out_s=DROP_OUT_S).tick()
    start(tank, plan, stage)
    began_s = tank.now_s
    while not tank.demand.output_on:
        tank.tick()
    assert tank.now_s - began_s == pytest.approx(2.0, abs=0.11)
    tank.run_for(10.0)
    assert tank.state is State.RUNNING


def test_without_a_contactor_nothing_waits(tank, plan, stage):
    tank.tick()
    start(tank, plan, stage)
    assert tank.demand.output_on


# Faults.


def test_one_that_does_not_close_aborts_the_run(rig, plan, stage):
    rig.contactor.dead = True
    start(rig, plan, stage)
    began_s = rig.now_s
    rig.run_to(State.ABORTING)
    assert rig.now_s - began_s == pytest.approx(2.0, abs=0.11)
    assert rig.situation.reason == "contactor fault: the contactor did not close within 2.0 s"
    assert rig.raised() == ["contactor fault"]
    assert all(not demand.output_on for _, _, demand in rig.trail)


@pytest.mark.parametrize("after_s", [0.5, 5.0])
def test_one_that_opens_by_itself_aborts_the_run(rig, plan, stage, after_s):
    """As it does when the emergency stop opens its coil: the run must not go on afterwards."""
    start(rig, plan, stage).run_for(after_s)
    assert rig.demand.output_on
    rig.contactor.dead, rig.contactor.open_s = True, 0.0
    rig.tick()
    assert rig.state is State.ABORTING
    assert rig.situation.reason.startswith("contactor fault: the contactor opened by itself")
    rig.contactor.dead = False
    rig.run_to(State.ABORTED).run_for(10.0)
    assert not rig.contactor.closed


def test_a_welded_contactor_is_told_of_once_and_nothing_is_energised(rig, plan, stage):
    start(rig, plan, stage).run_for(5.0)
    rig.contactor.welded = True
    rig.tick(Act.STOP)
    rig.run_to(State.STOPPED)
    opened_s = rig.situation.contactor.since_s
    why = refusal(rig.situation, Act.START, rig.now_s, rig.limits)
    assert why == "the contactor is not open yet: it has 1.0 s for that"
    rig.run_for(60.0)
    ((told_s, event),) = rig.said("contactor did not open")
    assert told_s - opened_s == pytest.approx(1.0, abs=0.11)
    assert event.text.startswith("contactor did not open: its auxiliary contact is closed 1.")
    assert event.data == {"waited_s": pytest.approx(told_s - opened_s)}
    why = refusal(rig.situation, Act.START, rig.now_s, rig.limits)
    assert why.startswith("contactor did not open: look for a welded contact")
    rig.tick(Act.START, plan=plan())
    assert rig.state is State.STOPPED
    rig.tick(Act.RESET)
    rig.tick(Act.START, plan=plan())
    assert rig.state is State.IDLE


def test_a_welded_contactor_keeps_a_held_run_held(rig, plan, stage):
    start(rig, plan, stage).run_for(5.0)
    rig.contactor.welded = True
    rig.tick(Act.HOLD)
    rig.run_to(State.HELD).run_for(5.0)
    assert rig.said("contactor did not open")
    rig.tick(Act.RESUME)
    assert rig.state is State.HELD


def test_one_that_opens_late_is_believed_again(rig, plan, stage):
    start(rig, plan, stage).run_for(5.0)
    rig.contactor.open_s = 3.0
    rig.tick(Act.STOP)
    rig.run_to(State.STOPPED).run_for(10.0)
    assert len(rig.said("contactor did not open")) == 1
    assert [e.text for _, e in rig.said("contactor")] == ["the contactor is open after all"]
    assert refusal(rig.situation, Act.START, rig.now_s, rig.limits) is None


def test_one_that_opens_in_time_is_nobody_s_concern(rig, plan, stage):
    start(rig, plan, stage).run_for(5.0)
    rig.tick(Act.STOP)
    rig.run_to(State.STOPPED).run_for(10.0)
    assert rig.said("contactor did not open") == rig.said("contactor") == []


def test_a_contact_that_is_closed_from_the_beginning_is_told_of(tank):
    tank.with_limits(pull_in_s=PULL_IN_S, drop_out_s=DROP_OUT_S)
    tank.auxiliary = True
    tank.run_for(3.0)
    assert len(tank.said("contactor did not open")) == 1
    assert refusal(tank.situation, Act.START, tank.now_s, tank.limits) is not None


# Every combination.

TABLE = Table(
    {
        **DEFAULTS,
        INTERLOCK + "lid": Effects(Stop.HOLD),
        INTERLOCK + "level": Effects(Stop.STOP),
        INTERLOCK + "emergency stop": Effects(Stop.ABORT),
    }
)
LIMITS = Limits(pull_in_s=PULL_IN_S, drop_out_s=DROP_OUT_S, table=TABLE)
LOOPS = (
    (),
    ("lid",),
    ("level",),
    ("emergency stop",),
)
NOTHING_TO_ACT_ON = list(product((None,), LOOPS, (False, True), (None, 0.0, 2.0), (0.1, 1.1, 3.1)))
ACTS_WITHOUT_CURRENT = list(product(Act, LOOPS, (False, True), (0.0,), (0.1,)))
ALL = list(product((None, *Act), LOOPS, (None, False, True), (None, 0.0, 2.0), (0.1, 1.1, 3.1)))


def phase(situation):
    """All that decides what may come next, times only as "over" or not."""
    winding, contactor, now_s = situation.wind_down, situation.contactor, situation.now_s
    since_s = now_s if contactor.since_s is None else contactor.since_s
    reading, count = situation.reading, situation.count
    return (
        situation.state,
        winding and (winding.goal, winding.off_since_s is None, min(winding.alarms, 1)),
        (contactor.closed, contactor.made, contactor.stuck, contactor.auxiliary),
        (now_s >= since_s + LIMITS.pull_in_s, now_s >= since_s + LIMITS.drop_out_s),
        situation.demand.output_on,
        situation.demand.current_a > 0,
        situation.open_loops,
        reading and (abs(reading.current_a) < LIMITS.gone_a, now_s - reading.monotonic_s > 3.0),
        count and now_s - count.last_s > LIMITS.lost_s,
    )


def check(before, after, outputs, happenings):
    """What must hold after every tick."""
    contactor, winding = after.contactor, after.wind_down
    assert outputs.contactor_closed == contactor.closed
    if contactor.closed:
        plates = after.state in PLATING and winding is None
        comes_down = winding is not None and winding.off_since_s is None
        assert plates or comes_down
        assert after.state in (State.RUNNING, State.RESTARTING, State.HOLDING, State.STOPPING)
        if comes_down:
            assert after.demand.current_a == 0.0
            assert after.now_s < winding.since_s + LIMITS.down_s
        assert "emergency stop" not in after.open_loops
    if after.demand.output_on:
        # Never the output without the contactor, and never with one that is known to be open.
        assert contactor.closed
        assert contactor.made
        assert contactor.auxiliary is not False or winding is not None
    if contactor.closed and not before.contactor.closed:
        assert before.state not in OPEN or before.state is State.HELD
        assert before.contactor.auxiliary is not True or after.contactor.auxiliary is not True
        assert not after.open_loops
        assert not after.demand.output_on
    if contactor.stuck and not before.contactor.stuck:
        kinds = [event.kind for event in happenings if isinstance(event, Event)]
        assert "contactor did not open" in kinds


def explore(the_plan, news):
    """Breadth first from the daemon's start; the phases that were reached."""
    first = Situation(State.IDLE, 1000.0)
    seen, frontier = {phase(first)}, deque([first])
    while frontier:
        before = frontier.popleft()
        for act, loops, auxiliary, current_a, passed_s in news:
            now_s = before.now_s + passed_s
            reading = None if current_a is None else Reading(now_s, current_a, 1.0)
            command = None
            if act is not None:
                command = Command(act, "Ann", 1, the_plan if act is Act.START else None)
            after, outputs, happenings = step(
                before, Inputs(now_s, reading, command, None, loops, auxiliary), LIMITS
            )
            check(before, after, outputs, happenings)
            if phase(after) not in seen:
                seen.add(phase(after))
                frontier.append(after)
    return seen


@pytest.mark.parametrize(
    "news",
    [
        pytest.param(NOTHING_TO_ACT_ON + ACTS_WITHOUT_CURRENT, id="acts when no current flows"),
        pytest.param(ALL, id="all at once", marks=pytest.mark.long),
    ],
)
def test_every_reachable_combination_of_run_contactor_and_interlocks(plan, stage, news):
    """Over acts, loops, the auxiliary contact, currents, and times that pass."""
    seen = explore(plan(stage(2.0), target_ah=0.001), news)
    assert {state for state, *_ in seen} == set(State)
    assert any(stuck for _, _, (_, _, stuck, _), *_ in seen)
