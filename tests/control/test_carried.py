"""A run that goes on with a part from an earlier one: thickness, ends, caps and charge."""

import pytest

from daemon.chemistry.uncertainty import MeterDoubt
from daemon.control.doubt import thickness_doubt
from daemon.control.situation import Carried, Command, Inputs, StageOver
from daemon.control.states import Act, State
from daemon.control.step import step


def go_on(tank, plan, carried, doubt=None):
    """Start a run that carries this over."""
    tank.tick()
    more = {} if doubt is None else {"doubt": doubt}
    command = Command(Act.START, "Ann", 2, plan, carried=carried, **more)
    tank.situation, _, happenings = step(
        tank.situation, Inputs(tank.now_s, tank.reading(), command), tank.limits
    )
    tank.log.extend((tank.now_s, happening) for happening in happenings)
    assert tank.state is State.RUNNING
    return tank


def test_the_target_is_that_of_the_whole_deposit(tank, plan, stage):
    go_on(tank, plan(stage(2.0), target_ah=0.02), Carried(charge_ah=0.015))
    begun_s = tank.now_s
    tank.run_to(State.COMPLETE)
    # 0.005 Ah at 2 A are 9 s.
    assert tank.now_s - begun_s == pytest.approx(9.0, abs=0.3)
    assert tank.situation.count.best_ah == pytest.approx(0.02, abs=5e-5)
    assert tank.true_as / 3600 == pytest.approx(0.005, abs=5e-5)


def test_it_goes_on_in_the_stage_in_which_it_was(tank, plan, stage):
    """0.012 Ah of the second stage's 0.016 Ah are done."""
    stages = (
        stage(1.0, name="cover", charge_ah=0.01), stage(2.0, name="build", charge_ah=0.016),
        stage(1.0, name="level"),
    )  # fmt: skip
    carried = Carried(charge_ah=0.022, stage=1, stage_from_ah=0.01)
    go_on(tank, plan(*stages, target_ah=0.05), carried)
    begun_s = tank.now_s
    tank.run_to(State.COMPLETE)
    (build_s, build), (_, level) = tank.said(StageOver)
    assert [build.name, level.name] == ["build", "level"]
    assert build_s - begun_s == pytest.approx(0.004 * 3600 / 2, abs=0.2)
    assert build.charge_ah == pytest.approx(0.016, abs=1e-5)


def test_the_cap_on_charge_is_that_of_the_whole_deposit_and_its_gaps(tank, plan, stage):
    carried = Carried(charge_ah=0.010, gap_greatest_ah=0.004)
    go_on(tank, plan(stage(2.0), target_ah=1.0, charge_cap_ah=0.02), carried)
    tank.run_to(State.STOPPED)
    assert tank.true_as / 3600 == pytest.approx(0.006, abs=5e-5)
    assert tank.situation.reason.startswith("cap on charge reached")


def test_what_nobody_saw_stays_in_doubt(tank, plan, stage):
    bare = plan(stage(2.0), target_ah=1.0)
    go_on(tank, bare, Carried(charge_ah=0.1, gap_greatest_ah=0.05), MeterDoubt())
    thickness = thickness_doubt(tank.situation.run, tank.situation.count)
    assert thickness.value == pytest.approx(0.125, abs=1e-3)
    gaps = {share.name: share.u for share in thickness.shares}["gaps"]
    # All of it or nothing: half of 0.05 Ah either way; here 1 Ah is 1 µm.
    assert gaps == pytest.approx(0.025)


def test_a_fresh_run_carries_nothing(tank, plan):
    tank.start(plan())
    assert tank.situation.run.carried == Carried()
    assert tank.situation.count.charge_ah == 0.0
