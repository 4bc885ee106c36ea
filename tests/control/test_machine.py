"""Whatever comes in whatever order: what must hold at every tick.

`long` explores far: pytest tests/control/test_machine.py -m long
"""

from dataclasses import FrozenInstanceError, fields, replace

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test

from daemon.control.obey import refusal
from daemon.control.protection.causes import INTERLOCK
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table
from daemon.control.situation import (
    OFF,
    Command,
    Inputs,
    Limits,
    RunOver,
    Situation,
)
from daemon.control.states import ALLOWED, OPEN, PLATING, Act, State
from daemon.control.step import step
from drivers.contracts import Reading

TABLE = Table(
    {
        **DEFAULTS,
        INTERLOCK + "lid": Effects(Stop.HOLD),
        INTERLOCK + "level": Effects(Stop.STOP),
        INTERLOCK + "emergency stop": Effects(Stop.ABORT),
    }
)
LIMITS = Limits(table=TABLE)
RESTING = {State.HELD, State.STOPPED, State.ABORTED, State.COMPLETE}

LOOPS = (
    "lid",
    "level",
    "emergency stop",
)

currents = st.sampled_from([0.5, 2.0, 5.0])
ends = st.fixed_dictionaries(
    {},
    optional={
        "charge_ah": st.sampled_from([0.0, 0.001, 0.01]),
        "thickness_um": st.sampled_from([0.0, 0.002, 0.01]),
        "duration_s": st.sampled_from([0.0, 1.0, 5.0]),
        "cell_voltage_below_v": st.just(1.5),
    },
)
rows = st.lists(
    st.tuples(currents, st.sampled_from([0.0, 0.05, 3.0]), ends), min_size=1, max_size=4
)


class Tank(RuleBasedStateMachine):
    """A tank, its supply and its line, each of which may do what it likes."""

    make_plan = make_stage = None  # set by the test
    limits = LIMITS

    def __init__(self):
        super().__init__()
        self.open_loops = ()
        self.auxiliary = None
        self.obeys = True
        self.now_s = 1000.0
        self.situation = Situation(State.IDLE, self.now_s)
        self.sent = [Reading(self.now_s, 0.0, 0.0)]
        self.off_since_s = self.now_s
        self.spent_s = 0.0
        self.wake_at_s = None
        self.quiet = False
        self.stuck_a = None

    # What the world does.

    @rule(dt_s=st.sampled_from([0.0, 1e-9, 0.01, 0.1, 0.1, 0.1, 0.1]))
    def tick(self, dt_s):
        self.step(dt_s, self.fresh(dt_s))

    @rule(ticks=st.integers(2, 60))
    def many_ticks(self, ticks):
        for _ in range(ticks):
            self.step(LIMITS.period_s, self.fresh(LIMITS.period_s))

    @rule()
    def wake(self):
        dt_s = LIMITS.period_s if self.wake_at_s is None else self.wake_at_s - self.now_s
        self.step(dt_s, self.fresh(dt_s))

    @rule(dt_s=st.sampled_from([0.1, 0.9, 1.1, 2.9, 3.1, 60.0]))
    def silence(self, dt_s):
        self.step(dt_s, None)

    @rule(dt_s=st.sampled_from([1.1, 30.0]))
    def hang(self, dt_s):
        self.step(dt_s, self.fresh(dt_s))

    @rule(back=st.integers(1, 5))
    def old_reading(self, back):
        self.step(LIMITS.period_s, self.sent[-min(back, len(self.sent))])

    @rule(voltage_v=st.sampled_from([None, 1.0, 3.0]), current_missing=st.booleans())
    def odd_reading(self, voltage_v, current_missing):
        seen = self.fresh(LIMITS.period_s)
        current_a = None if current_missing or seen is None else seen.current_a
        odd = Reading(self.now_s + LIMITS.period_s, current_a, voltage_v)
        self.step(LIMITS.period_s, odd)

    @rule(with_reading=st.booleans())
    def trouble(self, with_reading):
        reading = self.fresh(LIMITS.period_s) if with_reading else None
        self.step(LIMITS.period_s, reading, trouble="no answer")

    @rule(act=st.sampled_from([a for a in Act if a is not Act.START]), trouble=st.booleans())
    def person(self, act, trouble):
        self.act(act, None, "no answer" if trouble else None)

    @precondition(lambda self: self.situation.state in ALLOWED[Act.START])
    @rule(
        rows=rows,
        target_ah=st.sampled_from([0.001, 0.01, 1.0]),
        charge_cap_ah=st.sampled_from([0.002, 0.02, 2.0]),
        duration_cap_s=st.sampled_from([2.0, 20.0, 1e6]),
        trouble=st.booleans(),
    )
    def start(self, rows, target_ah, charge_cap_ah, duration_cap_s, trouble):
        made = [self.make_stage(a, ramp_s=ramp_s, **until) for a, ramp_s, until in rows]
        plan = self.make_plan(
            *made,
            target_ah=target_ah,
            charge_cap_ah=charge_cap_ah,
            duration_cap_s=duration_cap_s,
        )
        self.act(Act.START, plan, "no answer" if trouble else None)

    @rule(current_a=st.sampled_from([None, None, 0.0, 0.01, 1.0]))
    def supply_sticks(self, current_a):
        self.stuck_a = current_a

    @rule(loops=st.sets(st.sampled_from(LOOPS), max_size=2))
    def loops_open_and_close(self, loops):
        self.open_loops = tuple(loop for loop in LOOPS if loop in loops)

    @rule(obeys=st.booleans(), auxiliary=st.sampled_from([None, True, False]))
    def contactor_fails_or_comes_back(self, obeys, auxiliary):
        """It obeys within a tick, or stays as it is; without one there is nothing to be seen."""
        if self.limits.pull_in_s > 0:
            self.obeys, self.auxiliary = obeys, auxiliary

    # What follows.

    def flowing_a(self):
        if self.stuck_a is not None:
            return self.stuck_a
        demand = self.situation.demand
        return demand.current_a if demand.output_on else 0.0

    def fresh(self, dt_s):
        return Reading(self.now_s + dt_s, self.flowing_a(), 1.0)

    def act(self, act, plan, trouble):
        reading = self.fresh(LIMITS.period_s)
        was_on = self.situation.demand.output_on
        self.step(LIMITS.period_s, reading, Command(act, "Ann", 1, plan), trouble)
        # Behind a contactor the output goes on later.
        if self.limits.pull_in_s == 0 and self.situation.demand.output_on and not was_on:
            assert act in (Act.START, Act.RESUME)
            assert self.situation.reading.current_a < LIMITS.gone_a
            assert trouble is None

    def step(self, dt_s, reading, command=None, trouble=None):
        before, limits = self.situation, self.limits
        if self.obeys and self.auxiliary is not None:
            self.auxiliary = before.contactor.closed
        self.now_s += dt_s
        kept = repr(before)
        inputs = Inputs(self.now_s, reading, command, trouble, self.open_loops, self.auxiliary)
        after, outputs, happenings = step(before, inputs, limits)
        assert repr(before) == kept
        assert step(before, inputs, limits) == (after, outputs, happenings)
        assert after.now_s == self.now_s
        assert outputs.demand == after.demand
        if outputs.wake_at_s is not None:
            assert self.now_s < outputs.wake_at_s < self.now_s + limits.period_s
        self.wake_at_s = outputs.wake_at_s
        if reading is not None and reading.current_a is not None:
            self.sent.append(reading)
        if before.demand.output_on and not after.demand.output_on:
            self.off_since_s = self.now_s
        self.situation = after
        self.check_output(after)
        self.check_contactor(before, after)
        self.check_count(before, after)
        self.check_time(before, after, dt_s)
        self.check_rest(before, after, happenings)

    def check_output(self, after):
        demand, winding = after.demand, after.wind_down
        if not demand.output_on:
            assert demand == OFF
            return
        if after.state in PLATING and winding is None:
            stages = after.run.plan.stages
            stage = stages[after.progress.stage]
            assert 0 <= demand.current_a <= max(s.current_a for s in stages)
            assert demand.voltage_v == stage.voltage_ceiling_v
            assert self.now_s - after.count.last_s <= LIMITS.lost_s
            return
        assert after.state in (State.HOLDING, State.STOPPING, State.RUNNING)
        assert winding.goal in (State.HELD, State.STOPPED, State.COMPLETE)
        assert demand.current_a == 0.0
        assert self.now_s < winding.since_s + LIMITS.down_s

    def check_contactor(self, before, after):
        contactor, winding = after.contactor, after.wind_down
        assert contactor.closed or not after.demand.output_on
        if not contactor.closed:
            return
        assert after.state in (*PLATING, State.HOLDING, State.STOPPING)
        assert "emergency stop" not in after.open_loops
        if after.state not in PLATING or winding is not None:
            assert winding.off_since_s is None
            assert after.demand.current_a == 0.0
        if not before.contactor.closed:
            assert not after.open_loops

    def check_count(self, before, after):
        if after.count is None:
            return
        if before.run is after.run:
            assert after.count.charge_ah >= before.count.charge_ah
            assert after.count.gap_greatest_ah >= before.count.gap_greatest_ah
            assert after.count.last_s >= before.count.last_s
        if after.state in PLATING and after.wind_down is None:
            plan, count = after.run.plan, after.count
            assert count.greatest_ah < plan.charge_cap_ah
            assert count.best_ah < after.run.target_ah
            assert after.progress.running_s < plan.duration_cap_s
        if after.run is not before.run:
            self.spent_s = 0.0

    def check_time(self, before, after, dt_s):
        if after.run is None:
            return
        was_plating = (
            before.state in PLATING and before.wind_down is None and before.demand.output_on
        )
        if was_plating and after.run is before.run:
            self.spent_s += dt_s
        assert after.progress.running_s == pytest.approx(self.spent_s, abs=1e-6)

    def check_rest(self, before, after, happenings):
        overs = [over for over in happenings if isinstance(over, RunOver)]
        ended = before.state in OPEN and after.state not in OPEN
        assert len(overs) == (1 if ended else 0)
        if after.state in RESTING and before.state is not after.state:
            seen = after.reading
            assert not after.demand.output_on
            assert seen.monotonic_s > self.off_since_s
            assert abs(seen.current_a) < LIMITS.gone_a
        if after.state is State.HELD or after.state not in OPEN:
            assert after.demand == OFF


def run(plan, stage, examples, steps, limits=LIMITS):
    class Machine(Tank):
        make_plan = staticmethod(plan)
        make_stage = staticmethod(stage)

    Machine.limits = limits
    run_state_machine_as_test(
        Machine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            deadline=None,
            phases=[phase for phase in Phase if phase is not Phase.explain],
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_whatever_comes_in_whatever_order(plan, stage):
    run(plan, stage, 60, 40)


def test_whatever_comes_to_a_tank_with_a_contactor(plan, stage):
    run(plan, stage, 60, 40, replace(LIMITS, pull_in_s=2.0, drop_out_s=1.0))


@pytest.mark.long
def test_whatever_comes_for_long(plan, stage):
    run(plan, stage, 2000, 100)
    run(plan, stage, 2000, 100, replace(LIMITS, pull_in_s=2.0, drop_out_s=1.0))


def test_a_situation_never_changes(tank):
    tank.bring_to(State.RUNNING)
    for field in fields(tank.situation):
        with pytest.raises(FrozenInstanceError):
            setattr(tank.situation, field.name, None)


def test_refusal_and_step_agree(tank):
    """What `refusal` allows has an effect, what it refuses has none."""
    for state in State:
        tank.__init__()
        tank.bring_to(state)
        for act in Act:
            if act is Act.START:
                continue
            command = Command(act, "Ann")
            after, _, _ = step(tank.situation, Inputs(tank.now_s, None, command), tank.limits)
            refused = refusal(tank.situation, act, tank.now_s, tank.limits) is not None
            assert refused == (after.state is tank.state)
