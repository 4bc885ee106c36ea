"""The supply's worker, turn by turn: what is on the wire when, and what the loop is told."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from daemon.control.situation import OFF, Demand
from daemon.service.devices import supply_worker
from daemon.service.devices.supply_worker import Missed, SupplyWorker, Trouble
from drivers.contracts import Rating, Reading
from drivers.errors import (
    CommandRefusedError,
    DriverError,
    NoReplyError,
    PortUnavailableError,
    SetPointRefusedError,
)

RATING = Rating(current_a=5.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01)
PERIOD_S = 0.1
TWO_AMPERES = Demand(output_on=True, current_a=2.0, voltage_v=4.0)


class Hands:
    """A worker, its news, and time that moves on to whatever it waits for."""

    def __init__(self, supply, clock):
        self.supply, self.clock = supply, clock
        self.news = []
        self.worker = SupplyWorker(supply, RATING, clock, PERIOD_S, self.news.append)
        self.worker.open()
        supply.calls.clear()

    def turn(self):
        """One turn at the present moment."""
        self.worker.turn()

    def wait(self):
        """Let the worker wait for what is due next, and see to it."""
        self.worker.turn()
        self.clock.advance_to(self.clock.asked_s)
        self.worker.turn()

    def run_for(self, seconds):
        end_s = self.clock.now_s + seconds
        while True:
            self.worker.turn()
            if self.clock.asked_s > end_s:
                self.clock.advance_to(end_s)
                return
            self.clock.advance_to(self.clock.asked_s)
            self.worker.turn()

    def demand(self, demand):
        """Demand, and let the worker hear it now."""
        self.worker.demand(demand)
        self.turn()

    def plate(self, demand=TWO_AMPERES):
        self.demand(demand)
        self.supply.calls.clear()
        self.news.clear()

    def told(self, kind):
        return [news for news in self.news if isinstance(news, kind)]


@pytest.fixture
def hands(supply, clock):
    return Hands(supply, clock)


# The grid of readings.


def test_a_reading_a_period_on_an_absolute_grid(hands, clock):
    start_s = clock.now_s
    hands.run_for(1.05)
    stamps = [reading.monotonic_s - start_s for reading in hands.told(Reading)]
    assert stamps == pytest.approx([0.1 * i for i in range(11)])


def test_slow_exchanges_do_not_shift_the_grid(hands, supply, clock):
    start_s = clock.now_s
    supply.takes_s = 0.03
    hands.run_for(1.0)
    stamps = [reading.monotonic_s - start_s for reading in hands.told(Reading)]
    # Each is labelled with the middle of its exchange, and each began on the grid.
    assert stamps == pytest.approx([0.1 * i + 0.015 for i in range(len(stamps))])
    assert len(stamps) >= 10


def test_after_a_stall_the_grid_goes_on_without_catching_up(hands, supply, clock):
    start_s = clock.now_s
    hands.wait()
    hands.news.clear()
    supply.takes_s = 0.75
    hands.wait()
    supply.takes_s = 0.0
    hands.run_for(0.35)
    stamps = [reading.monotonic_s - start_s for reading in hands.told(Reading)]
    # One slow reading from 0.1 to 0.85, then the next points of the grid, none of those missed.
    assert stamps == pytest.approx([0.475, 0.9, 1.0, 1.1, 1.2])


def test_a_reading_at_a_moment_besides_the_grid(hands, clock):
    start_s = clock.now_s
    hands.wait()
    hands.news.clear()
    hands.worker.read_at(start_s + 0.137)
    hands.run_for(0.25)
    stamps = [reading.monotonic_s - start_s for reading in hands.told(Reading)]
    assert stamps == pytest.approx([0.1, 0.137, 0.2])


# Demands.


def test_set_points_stand_before_the_output_is_on(hands, supply):
    hands.demand(TWO_AMPERES)
    assert supply.said("set_points", "output_on") == [("set_points", 2.0, 4.0), ("output_on",)]


def test_a_change_of_current_is_bracketed_by_readings_of_which_a_fresh_one_spares_the_first(
    hands, supply, clock
):
    hands.wait()
    supply.calls.clear()
    hands.demand(TWO_AMPERES)
    assert [call[0] for call in supply.calls] == ["set_points", "output_on", "read"]
    clock.now_s += 0.05
    hands.demand(Demand(True, 0.0, 4.0))
    assert [call[0] for call in supply.calls[3:]] == ["read", "set_points", "read"]


def test_output_off_is_said_before_anything_is_read(hands, supply, clock):
    hands.plate()
    clock.now_s += 0.05
    hands.demand(OFF)
    assert [call[0] for call in supply.calls] == ["output_off", "read"]


def test_steps_of_a_ramp_wait_for_the_next_reading(hands, supply, clock):
    """A demand for each reading, as the loop makes them, is no reason to read faster."""
    hands.plate(Demand(True, 0.1, 4.0))
    for step in range(1, 1001):
        hands.worker.demand(Demand(True, 0.1 + 0.001 * step, 4.0))
        clock.now_s += 0.001
        hands.turn()
    # One second of a ramp with a demand each millisecond.
    assert len(supply.said("set_points")) == pytest.approx(10, abs=1)
    assert len(supply.said("read")) == pytest.approx(20, abs=2)
    assert supply.current_a == pytest.approx(1.1, abs=0.11)


def test_of_many_demands_only_the_newest_is_obeyed(hands, supply):
    hands.worker.demand(TWO_AMPERES)
    hands.worker.demand(Demand(True, 3.0, 4.0))
    hands.worker.demand(OFF)
    hands.turn()
    assert not supply.said("set_points", "output_on")


def test_a_change_below_the_supply_s_step_is_not_sent(hands, supply):
    hands.plate()
    hands.worker.demand(Demand(True, 2.0004, 4.0))
    hands.run_for(1.0)
    assert not supply.said("set_points")


def test_off_that_is_said_again_is_sent_again(hands, supply):
    hands.demand(OFF)
    hands.demand(OFF)
    assert supply.said("output_off") == [("output_off",), ("output_off",)]


# Replies that do not come.


def test_lost_replies_are_told_of_once_a_minute_and_end_nothing(hands, supply):
    hands.plate()
    supply.always["read"] = NoReplyError("/dev/x: MEAS:CURR?: nothing came within 0.5 s")
    hands.run_for(59.0)
    assert hands.news == [Missed("/dev/x: MEAS:CURR?: nothing came within 0.5 s")]
    hands.run_for(59.0)
    assert len(hands.news) == 2
    assert supply.on


def test_readings_go_on_once_replies_come_again(hands, supply):
    supply.faults["read"].extend([NoReplyError("silence")] * 3)
    hands.run_for(1.0)
    assert len(hands.told(Reading)) == pytest.approx(8, abs=1)


def test_a_link_error_within_set_points_is_tried_again(hands, supply):
    supply.faults["set_points"].append(NoReplyError("silence"))
    hands.demand(TWO_AMPERES)
    assert not supply.on
    hands.wait()
    assert supply.on
    assert supply.current_a == 2.0
    assert not hands.told(Trouble)


@pytest.mark.parametrize("current_a", [0.0, 1.5], ids=["bringing it down", "a ramp"])
def test_an_output_that_goes_off_while_set_points_are_lost_stays_off(hands, supply, current_a):
    """Whoever sees it off decides; "on" is said once for each time that it is wanted on."""
    hands.plate()
    supply.faults["set_points"].extend([NoReplyError("silence")] * 2)
    hands.demand(Demand(output_on=True, current_a=current_a, voltage_v=4.0))
    supply.on = False  # by itself, or by hand
    for _ in range(4):
        hands.wait()
    assert supply.current_a == current_a
    assert supply.said("output_on") == []
    assert not supply.on


def test_a_link_error_while_switching_on_is_never_taken_for_done(hands, supply):
    supply.faults["output_on"].append(NoReplyError("silence"))
    hands.demand(TWO_AMPERES)
    hands.wait()
    assert supply.said("output_on") == [("output_on",), ("output_on",)]
    assert supply.on


def test_off_wins_over_an_on_that_was_not_confirmed(hands, supply):
    supply.always["output_on"] = NoReplyError("silence")
    hands.demand(TWO_AMPERES)
    supply.on = True  # the command arrived, its confirmation did not
    hands.demand(OFF)
    assert not supply.on


def test_output_off_that_fails_is_tried_at_each_turn_until_it_is_done(hands, supply):
    hands.plate()
    supply.faults["output_off"].extend([NoReplyError("silence")] * 5)
    hands.demand(OFF)
    hands.run_for(2.0)
    assert supply.said("output_off") == [("output_off",)] * 6
    assert not supply.on


# Devices that say no.


def test_a_refused_set_point_is_a_trouble_and_nothing_is_switched_on(hands, supply):
    supply.always["set_points"] = SetPointRefusedError("CURR: 2 A was set, 1 A reads back")
    hands.demand(TWO_AMPERES)
    assert hands.told(Trouble) == [Trouble("CURR: 2 A was set, 1 A reads back")]
    assert not supply.said("output_on")


def test_after_a_trouble_the_output_goes_off_without_waiting_for_the_loop(hands, supply):
    hands.plate()
    supply.always["set_points"] = SetPointRefusedError("refused")
    hands.worker.demand(Demand(True, 3.0, 4.0))
    hands.run_for(0.25)
    assert not supply.on


def test_after_a_trouble_an_old_demand_switches_nothing_on(hands, supply):
    supply.faults["set_points"].append(SetPointRefusedError("refused"))
    hands.demand(TWO_AMPERES)
    hands.worker.demand(Demand(True, 2.1, 4.0))
    hands.run_for(1.0)
    assert not supply.said("output_on")


def test_a_trouble_each_period_makes_no_flood(hands, supply):
    hands.plate()
    supply.always["output_off"] = CommandRefusedError("OUTP OFF: the output is on")
    hands.demand(OFF)
    hands.run_for(59.0)
    assert hands.told(Trouble) == [Trouble("OUTP OFF: the output is on")]
    # Told of once, tried all the time.
    assert len(supply.said("output_off")) > 500


def test_a_second_trouble_of_another_kind_is_told(hands, supply):
    hands.plate()
    supply.always["output_off"] = CommandRefusedError("OUTP OFF: the output is on")
    hands.demand(OFF)
    supply.always["output_off"] = PortUnavailableError("the port was lost")
    hands.run_for(1.0)
    assert [trouble.text for trouble in hands.told(Trouble)] == [
        "OUTP OFF: the output is on",
        "the port was lost",
    ]


# A line that is lost.


def lose(hands):
    """Pull the plug at the next reading; it stays out."""
    hands.supply.faults["read"].append(PortUnavailableError("/dev/x: the port was lost"))
    hands.supply.always["open"] = PortUnavailableError("/dev/x: cannot be opened")
    hands.wait()
    hands.supply.on = True  # the supply goes on by itself: nobody can tell it otherwise


def test_a_lost_port_is_told_at_once_and_closed(hands, supply):
    hands.plate()
    lose(hands)
    assert hands.news[-1] == Trouble("/dev/x: the port was lost")
    assert not supply.open_


def test_a_lost_port_is_opened_again_ever_more_rarely(hands, supply):
    lose(hands)
    supply.calls.clear()
    hands.run_for(60.0)
    assert 10 <= len(supply.said("open")) <= 16
    assert len(hands.told(Trouble)) == 1


def test_a_port_that_is_back_has_its_output_off_and_stays_so(hands, supply):
    hands.plate()
    lose(hands)
    hands.worker.demand(TWO_AMPERES)  # on its way when the line broke
    hands.run_for(1.0)
    supply.always.clear()
    hands.run_for(20.0)
    assert hands.told(Reading)[-1].current_a == 0.0
    assert not supply.said("output_on")
    assert not supply.on


def test_after_the_loop_has_heard_of_it_current_can_be_demanded_again(hands, supply):
    hands.plate()
    lose(hands)
    hands.worker.demand(OFF)  # the loop's answer to the trouble
    supply.always.clear()
    hands.run_for(10.0)
    hands.demand(TWO_AMPERES)
    assert supply.on


def test_a_line_lost_at_rest_does_not_lock_for_ever(hands, supply):
    lose(hands)
    hands.worker.demand(OFF)
    supply.always.clear()
    hands.run_for(10.0)
    hands.demand(TWO_AMPERES)
    assert supply.on


def test_a_start_that_meets_a_lost_port_is_a_trouble_at_once(hands, supply):
    lose(hands)
    hands.worker.demand(OFF)
    hands.run_for(1.0)
    hands.news.clear()
    hands.demand(TWO_AMPERES)
    assert hands.told(Trouble) == [Trouble("/dev/x: the port was lost")]
    supply.always.clear()
    hands.run_for(10.0)
    assert not supply.said("output_on")


def test_a_port_that_comes_and_goes_at_rest_makes_no_flood(hands, supply):
    supply.always["read"] = PortUnavailableError("/dev/x: the port was lost")
    hands.run_for(59.0)
    assert len(hands.told(Trouble)) == 1
    assert len(supply.said("open")) > 10


def test_output_off_on_a_line_that_is_lost_then(hands, supply):
    hands.plate()
    supply.faults["output_off"].append(PortUnavailableError("gone"))
    hands.demand(OFF)
    assert hands.told(Trouble) == [Trouble("gone")]
    hands.run_for(2.0)
    assert not supply.on  # opening it again has switched it off


# The end.


def test_stop_switches_off_before_it_closes(hands, supply):
    hands.plate()
    hands.worker.stop()
    assert [call[0] for call in supply.calls] == ["output_off", "close"]


def test_stop_may_be_called_twice(hands, supply):
    hands.worker.stop()
    hands.worker.stop()
    assert len(supply.said("output_off")) == 1


def test_stop_tells_when_the_output_did_not_go_off(hands, supply):
    hands.plate()
    supply.always["output_off"] = NoReplyError("silence")
    with pytest.raises(DriverError, match="silence"):
        hands.worker.stop()
    assert not supply.open_


def test_the_thread_reads_obeys_and_ends(hands, supply):
    done = threading.Event()
    supply.output = lambda on: (setattr(supply, "on", on), done.set())
    hands.worker.start()
    hands.worker.demand(TWO_AMPERES)
    assert done.wait(10)
    assert hands.worker.well
    hands.worker.stop()
    assert not supply.on
    assert not hands.worker.well


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_thread_that_dies_of_a_bug_is_not_well_and_stop_still_switches_off(hands, supply, clock):
    hands.plate()
    supply.always["read"] = ZeroDivisionError("a bug")
    clock.now_s += 1
    hands.worker.start()
    for thread in threading.enumerate():
        if thread.name == "supply":
            thread.join(10)
    assert not hands.worker.well
    hands.worker.stop()
    assert not supply.on


def test_a_thread_that_is_stuck_is_not_well(hands, supply, clock):
    entered, leave = threading.Event(), threading.Event()

    def hang():
        entered.set()
        leave.wait(10)
        return Reading(clock.now_s, 0.0, 0.0)

    supply.read = hang
    hands.worker.start()
    assert entered.wait(10)
    clock.now_s += 10
    assert hands.worker.well
    clock.now_s += 30
    assert not hands.worker.well
    leave.set()
    hands.worker.stop()


# The line lent to somebody else.


class Borrower:
    """Uses the line, and notes what had been said on it by then."""

    def __init__(self, supply, result=None):
        self._supply, self._result = supply, result
        self.found = None

    def __call__(self):
        self.found = list(self._supply.calls)
        assert not self._supply.open_
        return self._result


def lent(hands, use):
    """What `lend` gives while the worker has its turns."""
    with ThreadPoolExecutor() as pool:
        loan = pool.submit(hands.worker.lend, use)
        while not loan.done():
            hands.worker.turn()
        return loan.result()


@pytest.mark.parametrize("result", [None, "it does not work"])
def test_the_line_is_lent_between_two_exchanges_and_then_opened_anew(hands, supply, result):
    hands.turn()
    hands.news.clear()
    borrower = Borrower(supply, result)
    assert lent(hands, borrower) == result
    assert borrower.found[-1] == ("close",)
    assert supply.calls[len(borrower.found) :][:2] == [("open",), ("read",)]
    assert hands.told(Reading)
    assert not hands.told(Trouble)


def test_the_line_is_not_lent_while_current_flows(hands, supply):
    hands.plate()
    borrower = Borrower(supply)
    assert lent(hands, borrower) == "the supply's output is not known to be off"
    assert borrower.found is None
    assert supply.on
    assert not supply.said("close")


def test_the_line_is_not_lent_when_current_is_demanded_at_the_same_time(hands, supply):
    hands.worker.demand(TWO_AMPERES)
    borrower = Borrower(supply)
    assert "not known to be off" in lent(hands, borrower)
    assert borrower.found is None


def test_the_line_is_not_lent_before_off_was_confirmed(hands, supply):
    hands.plate()
    supply.faults["output_off"].append(NoReplyError("nothing came"))
    hands.worker.demand(OFF)
    borrower = Borrower(supply)
    assert "not known to be off" in lent(hands, borrower)
    assert borrower.found is None
    assert lent(hands, borrower) is None


def test_a_lost_line_is_not_lent(hands, supply):
    supply.faults["read"].append(PortUnavailableError("the port is gone"))
    hands.turn()
    borrower = Borrower(supply)
    assert lent(hands, borrower) == "the port is gone"
    assert borrower.found is None


@pytest.mark.parametrize("error", [PortUnavailableError("it is taken"), NoReplyError("nothing")])
def test_a_line_that_does_not_come_back_is_a_trouble(hands, supply, error):
    hands.turn()
    supply.faults["open"].append(error)
    assert lent(hands, Borrower(supply)) == str(error)
    (trouble,) = hands.told(Trouble)
    assert trouble.text == str(error)
    hands.run_for(2.0)
    assert supply.open_


def test_what_its_borrower_has_given_up_is_not_done_later(hands, supply, monkeypatch):
    monkeypatch.setattr(supply_worker, "LEND_LIMIT_S", 0.0)
    borrower = Borrower(supply)
    assert "did not get to it within 0 s" in hands.worker.lend(borrower)
    hands.turn()
    assert borrower.found is None
