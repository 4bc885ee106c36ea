"""What has to be proven before an output goes on."""

import pytest

from daemon.api.plans.file import read_plan
from daemon.api.socket.client import ACT_PATIENCE_S
from daemon.control.situation import AlarmAct
from daemon.control.states import Act
from daemon.record.entries import RunOpened
from daemon.service.cycle.runner import Order
from daemon.service.devices.supply_worker import LEND_LIMIT_S
from daemon.service.socket.server import KEPT_LIMIT_S
from daemon.service.supervision.beat import PROOF_LIMIT_S
from daemon.service.supervision.proven import proven_first
from tests.plates import PLATE as PLAN

WHY = "the guard cannot switch the output off by its own way: no such port"


def start():
    return Order(Act.START, "Ann", plan=read_plan(PLAN, "plan"), text=PLAN)


@pytest.mark.parametrize("act", [Act.START, Act.RESUME])
def test_what_switches_on_is_proven_first(act):
    steps = []
    hand_in = proven_first(lambda: steps.append("proof"), steps.append)
    order = Order(act, "Ann")
    hand_in(order)
    assert steps == ["proof", order]
    assert order.unproven is None


@pytest.mark.parametrize(
    "act", [Act.HOLD, Act.STOP, Act.ABORT, Act.RESET, AlarmAct("acknowledge", "Ann", None, None)]
)
def test_nothing_else_waits_for_a_proof(act):
    steps = []
    order = Order(act, "Ann")
    proven_first(lambda: steps.append("proof"), steps.append)(order)
    assert steps == [order]


def test_a_start_without_proof_is_refused_with_the_reason(rig, supply):
    order = start()
    hand_in = proven_first(lambda: "no such port", rig.mailbox.put)
    rig.at(0.5, lambda: hand_in(order))
    rig.run(most_s=2.0)
    assert order.error == WHY
    assert not supply.said("output_on")
    assert not rig.recorded(RunOpened)


def test_a_resume_without_proof_is_refused_and_the_run_stays_held(rig, supply):
    first, resumed, again = start(), Order(Act.RESUME, "Ann"), Order(Act.RESUME, "Ann")
    rig.at(0.5, first)
    rig.order(Act.HOLD, 3.0)
    rig.at(8.0, lambda: proven_first(lambda: "no such port", rig.mailbox.put)(resumed))
    rig.at(9.0, lambda: proven_first(lambda: None, rig.mailbox.put)(again))
    rig.run(most_s=12.0)
    assert (first.error, resumed.error, again.error) == (None, WHY, None)
    assert len(supply.said("output_on")) == 2


def test_a_better_reason_to_refuse_is_told_instead(rig):
    rig.at(0.5, start())
    second = start()
    rig.at(2.0, lambda: proven_first(lambda: "no such port", rig.mailbox.put)(second))
    rig.run(most_s=3.0)
    assert "cannot start a run that is running" in second.error


def test_whoever_asks_hears_what_came_of_the_proof():
    """Each waits longer than what it waits for: nothing is done that was given up."""
    assert PROOF_LIMIT_S < LEND_LIMIT_S
    assert LEND_LIMIT_S + KEPT_LIMIT_S < ACT_PATIENCE_S
