"""What a message says of the tank: of the current above all."""

from dataclasses import replace

import pytest

from daemon.api.plans.file import read_plan
from daemon.control.protection import causes
from daemon.control.protection.alarms import NO_ALARMS, Sign, advanced
from daemon.control.protection.effects import DEFAULT_TABLE
from daemon.control.situation import Situation, WindDown
from daemon.control.states import Act, State
from daemon.service.telling.tank import Current, Tank, tank_of
from drivers.contracts import Reading

LOST_S = 3.0


def at(state, age_s=0.1):
    return Situation(state, 100.0, Reading(100.0 - age_s, 1.0, 1.0, None, None))


@pytest.mark.parametrize(("state", "current"), [
    (State.IDLE, Current.OFF),
    (State.RUNNING, Current.ON),
    (State.RESTARTING, Current.ON),
    (State.HOLDING, Current.FALLING),
    (State.HELD, Current.OFF),
    (State.STOPPING, Current.FALLING),
    (State.STOPPED, Current.OFF),
    (State.ABORTING, Current.FALLING),
    (State.ABORTED, Current.OFF),
    (State.COMPLETE, Current.OFF),
])  # fmt: skip
def test_the_current_by_state(state, current):
    assert tank_of(at(state), LOST_S) == Tank(state, current)


def test_at_the_target_the_current_is_on_its_way_down_though_the_run_is_running():
    winding = replace(at(State.RUNNING), wind_down=WindDown(State.COMPLETE, "target", 99.0))
    assert tank_of(winding, LOST_S).current is Current.FALLING


@pytest.mark.parametrize("state", list(State))
def test_without_a_fresh_reading_nobody_says_that_it_is_off(state):
    assert tank_of(at(state, age_s=3.1), LOST_S).current is Current.UNKNOWN
    assert tank_of(replace(at(state), reading=None), LOST_S).current is Current.UNKNOWN


@pytest.mark.parametrize("cause", [causes.OUTPUT_DID_NOT_STOP, causes.CURRENT_WITHOUT_RUN])
@pytest.mark.parametrize("age_s", [0.1, 60.0])
def test_an_alarm_of_current_that_flows_goes_above_all(cause, age_s):
    alarms = advanced(NO_ALARMS, [Sign(cause, "1.2 A")], DEFAULT_TABLE, 100.0, [])
    situation = replace(at(State.ABORTING, age_s), alarms=alarms)
    assert tank_of(situation, LOST_S).current is Current.NOT_OFF
    gone = advanced(alarms, [], DEFAULT_TABLE, 101.0, [])
    assert tank_of(replace(at(State.ABORTED), alarms=gone), LOST_S).current is Current.OFF


PLAN = """\
title = "Key fob"
area = "1.8 dm²"
target = "0.3 µm"
voltage_ceiling = "6 V"
caps = { charge = "1 Ah", duration = "1 h" }

[[stage]]
name = "build"
current = "2 A"
"""


def test_the_run(tank_rig, over):
    assert tank_of(tank_rig.loop.situation, LOST_S).run_id is None
    tank_rig.order(Act.START, plan=read_plan(PLAN, "plan"), text=PLAN)
    assert tank_rig.run(over)
    tank = tank_of(tank_rig.loop.situation, LOST_S)
    assert (tank.state, tank.current) == (State.COMPLETE, Current.OFF)
    assert (tank.run_id, tank.title, tank.target_um) == (7, "Key fob", 0.3)
    # By the tank's own copper of 8.96 g/cm³.
    deposited_g = tank_rig.supply.truth().deposited_g
    assert tank.thickness_um == pytest.approx(deposited_g / 8.96 / 180 * 1e4, rel=0.01)
