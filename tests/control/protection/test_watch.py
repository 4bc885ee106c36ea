"""What the detectors are shown, when, and what becomes of what they find."""

from dataclasses import replace

import pytest

from daemon.control.protection.alarms import Sign
from daemon.control.protection.watch import Watch
from daemon.control.states import Act, State
from drivers.contracts import Mode, Reading


class Notes:
    """A detector that keeps all it is shown, and finds what it is told to."""

    def __init__(self):
        self.seen = []
        self.forgotten = 0
        self.find = ()

    def look(self, seen):
        self.seen.append(seen)
        return self.find

    def forget(self):
        self.forgotten += 1


@pytest.fixture
def notes():
    return Notes()


@pytest.fixture
def watched_tank(tank, notes):
    """The ideal supply, watched; `cycle` is what the loop does."""
    watch = Watch((notes,))
    tank.tells_output = True

    def cycle(act=None, **more):
        at_s = tank.next_s()
        before = tank.now_s
        tank.now_s = at_s
        reading = more.pop("reading", tank.reading())
        tank.now_s = before
        tank.signs = watch.look(tank.situation, reading)
        return tank.tick(act, at_s=at_s, reading=reading, **more)

    tank.cycle = cycle
    tank.cycle()
    return tank


def many(tank, ticks):
    for _ in range(ticks):
        tank.cycle()


def test_nothing_is_shown_of_a_tank_at_rest(watched_tank, notes):
    many(watched_tank, 20)
    assert notes.seen == []


def test_a_reading_is_shown_beside_what_was_asked_for(watched_tank, notes, plan, stage):
    watched_tank.cycle(Act.START, plan=plan(stage(2.0, ceiling_v=4.0)))
    started_s = watched_tank.now_s
    many(watched_tank, 5)
    shown = notes.seen[-1]
    assert shown.at_s == watched_tank.now_s
    assert (shown.current_a, shown.voltage_v, shown.output_on) == (2.0, 1.0, True)
    assert (shown.set_current_a, shown.ceiling_v, shown.before_a) == (2.0, 4.0, 2.0)
    assert shown.least_a == 0.0
    assert shown.started_s == pytest.approx(started_s)
    assert shown.steady_s == pytest.approx(0.5)
    assert shown.area_dm2 == pytest.approx(watched_tank.situation.run.plan.area_dm2)
    assert len(notes.seen) == 5


def test_what_was_read_before_the_output_went_on_is_not_shown(watched_tank, notes, plan):
    early = Reading(watched_tank.now_s + 0.001, 0.0, 0.0)
    watched_tank.cycle(Act.START, plan=plan())
    watched_tank.cycle(reading=early)
    assert notes.seen == []
    watched_tank.cycle()
    assert len(notes.seen) == 1


def test_nor_is_one_without_a_current_or_one_that_was_shown(watched_tank, notes, plan):
    watched_tank.cycle(Act.START, plan=plan())
    watched_tank.cycle()
    watched_tank.cycle(reading=replace(watched_tank.reading(), monotonic_s=1e6, current_a=None))
    watched_tank.cycle(reading=Reading(notes.seen[-1].at_s, 2.0, 1.0))
    assert len(notes.seen) == 1


def test_a_ramp_keeps_the_steady_time_small(watched_tank, notes, plan, stage):
    watched_tank.cycle(Act.START, plan=plan(stage(2.0, ramp_s=10.0)))
    many(watched_tank, 90)
    assert max(shown.steady_s for shown in notes.seen) <= 0.1 + 1e-9
    many(watched_tank, 60)
    assert notes.seen[-1].steady_s == pytest.approx(5.0, abs=0.2)


def test_the_greater_current_before_a_stage_is_known_for_a_second(watched_tank, notes, plan, stage):
    stages = (stage(2.0, duration_s=5.0), stage(3.0, duration_s=0.5), stage(0.5))
    watched_tank.cycle(Act.START, plan=plan(*stages))
    started_s = watched_tank.now_s
    many(watched_tank, 100)
    before = {round(shown.at_s - started_s, 1): shown.before_a for shown in notes.seen}
    assert before[4.8] == 2.0
    assert before[5.4] == before[6.3] == 3.0
    assert before[6.7] == 0.5


def test_the_smaller_current_before_a_stage_is_known_for_a_second(watched_tank, notes, plan, stage):
    watched_tank.cycle(Act.START, plan=plan(stage(2.0, duration_s=5.0), stage(3.0)))
    started_s = watched_tank.now_s
    many(watched_tank, 100)
    least = {round(shown.at_s - started_s, 1): shown.least_a for shown in notes.seen}
    # Nothing was asked for before the start.
    assert least[0.5] == 0.0
    assert least[1.5] == least[5.9] == 2.0
    assert least[6.7] == 3.0


def test_at_slow_readings_it_is_known_for_two_of_them(watched_tank, notes, plan, stage):
    watched_tank.with_limits(period_s=1.0, gap_s=3.0, lost_s=5.0)
    watched_tank.grid = 0
    watched_tank.start_s = watched_tank.now_s + 1.0
    watched_tank.cycle(Act.START, plan=plan(stage(2.0, duration_s=10.0), stage(0.5)))
    many(watched_tank, 20)
    falls_at_s = next(shown.at_s for shown in notes.seen if shown.set_current_a == 0.5)
    before = {shown.at_s - falls_at_s: shown.before_a for shown in notes.seen}
    assert before[0.0] == before[1.0] == 2.0
    assert before[3.0] == 0.5


def test_what_is_found_stands_until_the_next_reading_says_otherwise(watched_tank, notes, plan):
    watched_tank.cycle(Act.START, plan=plan())
    watched_tank.cycle()
    notes.find = (Sign("whisker", "0.8 V"),)
    watched_tank.cycle()
    watched_tank.silent = True
    assert watched_tank.signs == notes.find
    watched_tank.cycle(reading=Reading(0.0, None, None))
    assert watched_tank.signs == notes.find
    notes.find = ()
    watched_tank.cycle()
    assert watched_tank.signs == ()


def test_it_ends_with_the_plating_and_all_begins_anew(watched_tank, notes, plan):
    watched_tank.cycle(Act.START, plan=plan())
    many(watched_tank, 3)
    notes.find = (Sign("short", "0.03 V"),)
    watched_tank.cycle()
    shown = len(notes.seen)
    many(watched_tank, 30)
    assert watched_tank.state is State.ABORTED
    assert watched_tank.signs == ()
    assert (len(notes.seen), notes.forgotten) == (shown, 1)


def test_after_a_hold_it_is_as_at_a_start(watched_tank, notes, plan):
    watched_tank.cycle(Act.START, plan=plan())
    many(watched_tank, 5)
    watched_tank.cycle(Act.HOLD)
    many(watched_tank, 20)
    assert watched_tank.state is State.HELD
    shown = len(notes.seen)
    watched_tank.cycle(Act.RESUME)
    resumed_s = watched_tank.now_s
    many(watched_tank, 5)
    assert notes.forgotten == 1
    assert all(s.started_s >= resumed_s for s in notes.seen[shown:])
    assert len(notes.seen) > shown


def test_the_contactor_is_waited_for(watched_tank, notes, plan):
    watched_tank.with_limits(pull_in_s=1.0)
    watched_tank.cycle(Act.START, plan=plan())
    many(watched_tank, 8)
    assert notes.seen == []
    many(watched_tank, 10)
    assert notes.seen[0].started_s == pytest.approx(watched_tank.now_s - 0.8, abs=0.2)


def test_mode_is_passed_on(watched_tank, notes, plan):
    watched_tank.cycle(Act.START, plan=plan())
    at_s = watched_tank.next_s()
    watched_tank.cycle(reading=Reading(at_s, 2.0, 1.0, Mode.CONSTANT_VOLTAGE, None))
    assert (notes.seen[-1].mode, notes.seen[-1].output_on) == (Mode.CONSTANT_VOLTAGE, None)
