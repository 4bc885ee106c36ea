"""The runner: orders, mail, beats, and the end of the daemon in every state."""

import pytest

from daemon.api.plans.file import read_plan
from daemon.control.states import Act, State
from daemon.record.entries import RunEnded, RunOpened
from daemon.service.cycle.runner import Order, Quit
from drivers.errors import NoReplyError, PortUnavailableError
from tests.plates import PLATE as PLAN


def start(rig, from_start_s=0.2):
    return rig.order(Act.START, from_start_s, plan=read_plan(PLAN, "plan"), text=PLAN)


# Orders.


def test_orders_are_answered_in_their_order(rig):
    orders = [
        start(rig, 1.0),
        start(rig, 1.01),
        rig.order(Act.HOLD, 2.0),
        rig.order(Act.RESUME, 5.0),
        rig.order(Act.RESET, 6.0),
    ]
    rig.run(most_s=8.0)
    assert [order.answered.is_set() for order in orders] == [True] * 5
    errors = [order.error for order in orders]
    assert (errors[0], errors[2], errors[3]) == (None, None, None)
    assert "cannot start a run that is running" in errors[1]
    assert "cannot reset a run that is" in errors[4]
    assert len(rig.recorded(RunOpened)) == 1


def test_an_order_that_its_asker_gave_up_is_not_done(rig, supply):
    order = start(rig, 1.0)
    assert order.take()  # the asker withdraws it
    rig.run(most_s=5.0)
    assert not order.answered.is_set()
    assert not rig.recorded(RunOpened)
    assert not supply.said("output_on")


def test_an_order_that_the_loop_has_done_cannot_be_withdrawn(rig):
    order = start(rig, 1.0)
    rig.run(most_s=2.0)
    assert not order.take()
    assert order.answered.is_set()


def test_a_refused_start_takes_no_run_number(rig, supply):
    first = start(rig, 0.2)
    abort = rig.order(Act.ABORT, 5.0)
    refused = start(rig, 8.0)
    reset = rig.order(Act.RESET, 9.0)
    last = start(rig, 10.0)
    rig.run(most_s=12.0)
    assert [order.error is None for order in (first, abort, refused, reset, last)] == [
        True, True, False, True, True,
    ]  # fmt: skip
    assert "look at the tank" in refused.error
    assert [opened.run_id for opened in rig.recorded(RunOpened)] == [7, 8]


# Beats.


def test_a_beat_follows_each_cycle_also_without_any_news(rig, supply):
    rig.lost_worker = True
    rig.run(most_s=10.0)
    # 1.5 periods of 0.1 s.
    assert 60 <= rig.beats <= 110


def test_readings_that_stop_are_missed_though_the_worker_says_nothing(rig, supply, over):
    start(rig)

    def die():
        rig.lost_worker = True

    rig.at(5.0, die)
    rig.run(until=lambda rig: rig.situation.state is State.ABORTING, most_s=60.0)
    assert rig.clock.now_s < 1000 + 5 + 3.5 + 10
    assert rig.raised()[0] == "reading lost"


# The end.


def test_quitting_at_rest_is_done_at_once(rig):
    assert rig.run(most_s=1.0) is True
    assert not rig.recorded(RunEnded)


@pytest.mark.parametrize(
    ("acts", "state"),
    [
        ((), "stopped"),
        (((Act.HOLD, 5.0),), "stopped"),
        (((Act.HOLD, 5.9),), "stopped"),
        (((Act.HOLD, 3.0), (Act.RESUME, 5.0)), "stopped"),
        (((Act.STOP, 5.99),), "stopped"),
        (((Act.ABORT, 5.99),), "aborted"),
    ],
    ids=["running", "held", "holding", "restarting", "stopping", "aborting"],
)
def test_quitting_takes_the_current_down_and_closes_the_run(rig, supply, acts, state):
    start(rig)
    for act, moment_s in acts:
        rig.order(act, moment_s)
    assert rig.run(most_s=6.0) is True
    (ended,) = rig.recorded(RunEnded)
    assert ended.state == state
    assert not supply.on
    if not acts:
        # In good order: to 0 A first, then off.
        assert supply.said("set_points", "output_off")[-2:] == [
            ("set_points", 0.0, 6.0),
            ("output_off",),
        ]
        assert ended.reason == "stopped by SIGTERM"


def test_quitting_while_aborting_with_a_dead_line_gives_up_after_a_while(rig, supply):
    start(rig)

    def pull():
        supply.always["read"] = PortUnavailableError("/dev/x: the port was lost")
        supply.always["open"] = PortUnavailableError("/dev/x: cannot be opened")

    rig.at(5.0, pull)
    assert rig.run(most_s=20.0) is False
    assert rig.situation.state is State.ABORTING
    assert rig.clock.now_s - 1000 == pytest.approx(30.0, abs=0.5)
    assert not rig.recorded(RunEnded)


def test_quitting_with_an_output_that_came_on_by_itself_does_not_say_all_is_well(rig, supply):
    def hand_on_the_panel():
        supply.on, supply.current_a = True, 1.0
        supply.always["output_off"] = NoReplyError("silence")

    rig.at(2.0, hand_on_the_panel)
    assert rig.run(most_s=10.0) is False


def test_no_run_starts_while_the_daemon_ends(rig, supply):
    start(rig, 0.2)
    late = start(rig, 20.0)
    stuck = NoReplyError("silence")
    rig.at(4.9, lambda: supply.always.update(output_off=stuck))
    rig.at(5.0, Quit("SIGTERM"))
    rig.at(6.0, supply.always.clear)
    assert rig.run(most_s=100.0) is True
    assert not late.answered.is_set()
    assert len(rig.recorded(RunOpened)) == 1


def test_a_start_behind_a_quit_is_refused(rig, supply):
    start(rig, 0.2)
    supply.faults["output_off"].extend([NoReplyError("silence")] * 3)
    late = Order(Act.START, "Ann", read_plan(PLAN, "plan"), PLAN)

    def race():
        rig.mailbox.put(Quit("SIGTERM"))
        rig.mailbox.put(late)

    rig.at(5.0, race)
    assert rig.run(most_s=100.0) is True
    assert late.error is not None
    assert len(rig.recorded(RunOpened)) == 1


def test_being_told_twice_gives_no_more_time(rig, supply):
    start(rig)
    rig.at(4.9, lambda: supply.always.update(output_off=NoReplyError("silence")))
    rig.at(5.0, Quit("SIGTERM"))
    rig.at(12.0, Quit("SIGTERM"))
    assert rig.run(most_s=100.0) is False
    assert rig.clock.now_s - 1000 == pytest.approx(15.0, abs=0.5)


def test_one_question_starts_one_run(rig):
    first = rig.order(Act.START, plan=read_plan(PLAN, "plan"), text=PLAN, after_run=6)
    again = rig.order(Act.START, 0.3, plan=read_plan(PLAN, "plan"), text=PLAN, after_run=6)
    rig.order(Act.ABORT, 0.5)
    rig.order(Act.RESET, 8.0)
    # The page is loaded again when that run is long over: its question was about run 6.
    late = rig.order(Act.START, 9.0, plan=read_plan(PLAN, "plan"), text=PLAN, after_run=6)
    rig.run(most_s=12.0)
    assert first.error is None
    assert again.error == "run 7 has been started since this was asked: look at it first"
    assert late.error == "run 7 has been started since this was asked: look at it first"
    assert [entry.run_id for entry in rig.recorded(RunOpened)] == [7]


def test_who_knows_the_newest_run_may_start(rig):
    order = rig.order(Act.START, plan=read_plan(PLAN, "plan"), text=PLAN, after_run=6)
    rig.run(most_s=1.0)
    assert order.error is None
