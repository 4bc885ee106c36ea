"""The life of an alarm: each event in each of IEC 62682's states, and what is never lost."""

import re
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from daemon.control.protection import alarms as life
from daemon.control.protection.alarms import NO_ALARMS, Life, Sign
from daemon.control.protection.causes import CAUSES, cause_named
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table

SHORT = Sign("short", "0.02 V at 1.50 A")
COLD = Sign("bath too cold", "16.2 °C, at least 18 °C is wanted")
HOT = Sign("bath too hot", "41.0 °C, at most 40 °C is wanted")


class Desk:
    """Alarms, a clock, and everything that was said of them."""

    def __init__(self, table=None):
        self.table = table or Table()
        self.alarms, self.changes, self.now_s = NO_ALARMS, [], 100.0

    def see(self, *signs, after_s=1.0):
        self.now_s += after_s
        self.alarms = life.advanced(self.alarms, signs, self.table, self.now_s, self.changes)

    def acknowledge(self, number=None):
        self.alarms = life.acknowledged(self.alarms, number, "Ann", self.changes)

    def shelve(self, number=1, for_s=60.0):
        self.alarms = life.shelved(self.alarms, number, "Ann", self.now_s + for_s, self.changes)

    def unshelve(self, number=1):
        self.alarms = life.unshelved(self.alarms, number, "Ann", self.changes)

    def stop(self, cause="short", stop=Stop.ABORT):
        self.alarms = life.having_stopped(self.alarms, cause, stop, self.changes)

    def reset(self):
        self.alarms = life.reset(self.alarms, "Ann", self.changes)

    @property
    def states(self):
        return {alarm.cause: alarm.life for alarm in self.alarms.standing}

    @property
    def said(self):
        return [f"{change.alarm.cause} {change.what}" for change in self.changes]


def brought_to(state):
    """A desk with the alarm of "short" in a state; "normal" has none."""
    desk = Desk()
    if state == "normal":
        return desk
    desk.see(SHORT)
    match state:
        case Life.ACKNOWLEDGED:
            desk.acknowledge()
        case Life.RETURNED:
            desk.see()
        case Life.LATCHED:
            desk.stop()
            desk.acknowledge()
            desk.see()
        case Life.SHELVED:
            desk.shelve()
    return desk


NORMAL, UN, AC, RE, LA, SH = ("normal", *Life)
EVENTS = {
    "comes": lambda desk: desk.see(SHORT),
    "goes": lambda desk: desk.see(),
    "acknowledged": lambda desk: desk.acknowledge(),
    "shelved": lambda desk: desk.shelve(),
    "unshelved": lambda desk: desk.unshelve(),
    "reset": lambda desk: desk.reset(),
    "stops the run": lambda desk: desk.stop(),
}
# Rows: states. Columns: events, in the order of EVENTS.
AFTER = {
    NORMAL: (UN, NORMAL, NORMAL, NORMAL, NORMAL, NORMAL, NORMAL),
    UN: (UN, RE, AC, SH, UN, UN, UN),
    AC: (AC, NORMAL, AC, SH, AC, AC, AC),
    RE: (UN, RE, NORMAL, SH, RE, RE, RE),
    LA: (UN, LA, LA, SH, LA, NORMAL, LA),
    SH: (SH, SH, SH, SH, UN, SH, SH),
}


@pytest.mark.parametrize(("state", "event"), list(product(AFTER, range(len(EVENTS)))))
def test_each_event_in_each_state(state, event):
    desk = brought_to(state)
    assert desk.states.get("short", "normal") == state
    list(EVENTS.values())[event](desk)
    assert desk.states.get("short", "normal") == AFTER[state][event]


def test_a_cause_that_comes_again_is_the_same_alarm_and_wants_to_be_acknowledged_again():
    desk = brought_to(Life.RETURNED)
    desk.acknowledge()
    assert desk.states == {}
    desk.see(SHORT)
    desk.acknowledge()
    assert [alarm.number for alarm in desk.alarms.standing] == [2]
    desk.stop()
    desk.see()
    desk.see(SHORT)
    (alarm,) = desk.alarms.standing
    assert (alarm.number, alarm.times, alarm.life) == (2, 2, Life.UNACKNOWLEDGED)


def test_one_that_has_stopped_a_run_stays_until_somebody_has_looked_at_the_tank():
    desk = brought_to(Life.LATCHED)
    for _ in range(100):
        desk.see(after_s=3600.0)
        desk.acknowledge()
    assert desk.states == {"short": Life.LATCHED}
    desk.reset()
    assert desk.states == {}
    assert desk.said[-1] == "short cleared"


def test_a_reset_clears_nothing_that_is_still_there():
    desk = Desk()
    desk.see(SHORT)
    desk.stop()
    desk.reset()
    assert desk.states == {"short": Life.ACKNOWLEDGED}
    assert life.why_not(desk.alarms, desk.table) == "short: 0.02 V at 1.50 A"


def test_the_first_that_stopped_the_run_is_first_out():
    desk = Desk()
    desk.see(HOT)
    desk.stop("bath too hot", Stop.HOLD)
    desk.see(HOT, SHORT)
    desk.stop()
    assert [(a.cause, a.first_out, a.stopped) for a in desk.alarms.standing] == [
        ("bath too hot", True, Stop.HOLD), ("short", False, Stop.ABORT),
    ]  # fmt: skip


@pytest.mark.parametrize("cause", list(CAUSES))
def test_what_a_cause_explains_raises_nothing_with_it_or_after_it(cause):
    consequences = [Sign(name, "seen") for name in sorted(cause_named(cause).explains)]
    for signs in ([*consequences, Sign(cause, "seen")], [Sign(cause, "seen"), *consequences]):
        desk = Desk()
        desk.see(*signs)
        assert list(desk.states) == [cause]
        desk.see(*signs)
        assert desk.said == [f"{cause} raised"]


def test_causes_never_explain_each_other_in_a_ring():
    """Two causes that explain each other would both be silent."""
    for name, cause in CAUSES.items():
        for explained in cause.explains:
            assert name not in CAUSES[explained].explains


def test_a_consequence_that_outlives_its_cause_is_raised_then():
    desk = Desk()
    desk.see(SHORT, Sign("current off the plan", "2.0 A, 1.5 A is planned"))
    desk.see(Sign("current off the plan", "2.0 A, 1.5 A is planned"))
    assert desk.states["current off the plan"] is Life.UNACKNOWLEDGED


def test_a_shelf_ends_by_itself_and_the_alarm_wants_to_be_acknowledged():
    desk = Desk()
    desk.see(COLD)
    desk.shelve(for_s=60.0)
    desk.see(COLD, after_s=59.0)
    assert desk.states == {"bath too cold": Life.SHELVED}
    assert life.next_due_s(desk.alarms, desk.table, desk.now_s) == pytest.approx(161.0)
    desk.see(COLD, after_s=1.0)
    assert desk.states == {"bath too cold": Life.UNACKNOWLEDGED}


def test_one_that_goes_while_it_is_shelved_is_over_when_the_shelf_ends_and_it_is_acknowledged():
    desk = Desk()
    desk.see(COLD)
    desk.shelve(for_s=10.0)
    desk.see()
    desk.see(after_s=10.0)
    assert desk.states == {"bath too cold": Life.RETURNED}


def test_a_shelf_keeps_beacon_and_siren_quiet_and_stops_the_run_all_the_same():
    desk = Desk()
    desk.see(SHORT)
    assert (life.beacon(desk.alarms, desk.table), life.siren(desk.alarms, desk.table)) == (
        True,
    ) * 2
    desk.shelve()
    assert not life.beacon(desk.alarms, desk.table)
    assert not life.siren(desk.alarms, desk.table)
    assert [alarm.cause for alarm in life.stops(desk.alarms, desk.table, desk.now_s)] == ["short"]


def test_one_that_comes_again_on_its_shelf_stays_quiet():
    desk = Desk()
    desk.see(SHORT)
    desk.shelve()
    desk.see()
    desk.see(SHORT)
    (alarm,) = desk.alarms.standing
    assert (alarm.times, alarm.acknowledged_by, alarm.shelved_by) == (2, "Ann", "Ann")
    assert not life.siren(desk.alarms, desk.table)


def test_acknowledging_silences_the_siren_and_leaves_the_beacon():
    desk = Desk()
    desk.see(SHORT)
    desk.acknowledge(1)
    assert life.beacon(desk.alarms, desk.table)
    assert not life.siren(desk.alarms, desk.table)


def test_beacon_and_siren_come_with_the_causes_that_want_them_alone():
    desk = Desk()
    desk.see(Sign("clock stepped", "the wall clock was set by 60.0 s"))
    assert not life.beacon(desk.alarms, desk.table)
    desk.see(Sign("clock stepped", "the wall clock was set by 60.0 s"), COLD)
    assert life.beacon(desk.alarms, desk.table)
    assert not life.siren(desk.alarms, desk.table)
    desk.see(COLD, SHORT)
    assert life.siren(desk.alarms, desk.table)


def test_what_is_told_anew_does_not_put_off_its_stop():
    desk = Desk(Table({**DEFAULTS, "short": Effects(Stop.ABORT, after_s=5.0)}))
    desk.see(SHORT)
    desk.see(replace(SHORT, repeat=1), after_s=3.0)
    (alarm,) = desk.alarms.standing
    assert (alarm.times, alarm.raised_s, alarm.since_s) == (2, 101.0, 101.0)
    assert list(life.stops(desk.alarms, desk.table, 105.9)) == []
    assert [each.cause for each in life.stops(desk.alarms, desk.table, 106.0)] == ["short"]


def test_each_change_of_an_alarm_is_told_and_with_it_who_made_it():
    desk = Desk()
    desk.see(SHORT)
    desk.stop()
    desk.shelve()
    desk.unshelve()
    desk.acknowledge()
    desk.see()
    desk.see(SHORT)
    desk.see()
    desk.reset()
    assert [(change.what, change.who) for change in desk.changes] == [
        ("raised", None),
        ("stopped the run", None),
        ("shelved", "Ann"),
        ("unshelved", "Ann"),
        ("acknowledged", "Ann"),
        ("returned", None),
        ("raised again", None),
        ("returned", None),
        ("cleared", "Ann"),
    ]
    assert {change.alarm.cause for change in desk.changes} == {"short"}


def test_a_shelf_that_runs_out_is_told_and_nobody_made_it():
    desk = Desk()
    desk.see(COLD)
    desk.shelve(for_s=10.0)
    desk.see(COLD, after_s=10.0)
    assert [(change.what, change.who) for change in desk.changes[-2:]] == [
        ("shelved", "Ann"),
        ("unshelved", None),
    ]


def test_a_stop_waits_for_its_delay_and_is_forgotten_when_the_cause_goes_before():
    table = Table({**DEFAULTS, "bath too hot": Effects(Stop.HOLD, after_s=30.0)})
    desk = Desk(table)
    desk.see(HOT)
    assert life.next_due_s(desk.alarms, table, desk.now_s) == desk.now_s + 30.0
    desk.see(HOT, after_s=29.0)
    assert life.stops(desk.alarms, table, desk.now_s) == []
    desk.see()
    desk.see(HOT)
    desk.see(HOT, after_s=29.0)
    assert life.stops(desk.alarms, table, desk.now_s) == []
    desk.see(HOT, after_s=1.0)
    assert [alarm.cause for alarm in life.stops(desk.alarms, table, desk.now_s)] == ["bath too hot"]


def test_the_gravest_stop_comes_first():
    desk = Desk()
    desk.see(HOT, SHORT)
    assert [a.cause for a in life.stops(desk.alarms, desk.table, 200.0)] == [
        "short",
        "bath too hot",
    ]


def test_one_that_is_repeated_wants_to_be_acknowledged_again():
    desk = Desk()
    desk.see(Sign("output did not stop", "2 A after 2 s", repeat=1))
    desk.acknowledge()
    desk.see(Sign("output did not stop", "2 A after 2 s", repeat=1))
    assert desk.states == {"output did not stop": Life.ACKNOWLEDGED}
    desk.see(Sign("output did not stop", "2 A after 6 s", repeat=2))
    (alarm,) = desk.alarms.standing
    assert (alarm.life, alarm.seen) == (Life.UNACKNOWLEDGED, "2 A after 6 s")


def test_a_cause_without_a_row_aborts():
    assert Table({}).row("interlock: leak").stop is Stop.ABORT


def test_each_cause_has_a_row_and_words():
    assert set(DEFAULTS) == set(CAUSES)
    assert cause_named("interlock: lid").name == "interlock: lid"
    for cause in (*CAUSES.values(), cause_named("interlock: lid")):
        assert cause.check
        assert re.fullmatch(r"[A-Z][^A-Z].*[a-z]\.", cause.need)
        assert cause.explains <= set(CAUSES)


class AnyOrder(RuleBasedStateMachine):
    """Whatever comes in whatever order."""

    def __init__(self):
        super().__init__()
        self.desk, self.there = Desk(), ()

    @rule(names=st.sets(st.sampled_from(sorted(CAUSES)), max_size=4), after_s=st.floats(0.01, 100))
    def see(self, names, after_s):
        self.there = tuple(Sign(name, "seen") for name in sorted(names))
        self.desk.see(*self.there, after_s=after_s)

    @rule(number=st.one_of(st.none(), st.integers(1, 12)))
    def acknowledge(self, number):
        self.desk.acknowledge(number)

    @rule(number=st.integers(1, 12), for_s=st.floats(1.0, 500.0))
    def shelve(self, number, for_s):
        self.desk.shelve(number, for_s)

    @rule(number=st.integers(1, 12))
    def unshelve(self, number):
        self.desk.unshelve(number)

    @rule(cause=st.sampled_from(sorted(CAUSES)), stop=st.sampled_from([Stop.HOLD, Stop.ABORT]))
    def stop(self, cause, stop):
        self.desk.stop(cause, stop)

    @rule()
    def reset(self):
        self.desk.reset()

    @invariant()
    def each_cause_has_one_alarm_and_no_number_comes_twice(self):
        causes = [alarm.cause for alarm in self.desk.alarms.standing]
        assert len(causes) == len(set(causes))
        raised = [c.alarm.number for c in self.desk.changes if c.what == life.RAISED]
        assert raised == list(range(1, len(raised) + 1))

    @invariant()
    def nothing_that_is_there_is_silent(self):
        standing = {alarm.cause: alarm for alarm in self.desk.alarms.standing}
        active = {cause for cause, alarm in standing.items() if alarm.active}
        explained = set().union(*(cause_named(sign.cause).explains for sign in self.there))
        for sign in self.there:
            assert sign.cause in active or sign.cause in explained

    @invariant()
    def nothing_is_over_that_nobody_has_seen(self):
        for alarm in self.desk.alarms.standing:
            assert (
                alarm.active
                or alarm.latched
                or alarm.acknowledged_by is None
                or (alarm.shelved_until_s is not None)
            )
        for change in self.desk.changes:
            if change.what == life.CLEARED:
                assert change.alarm.acknowledged_by == "Ann"
                assert not change.alarm.active
                assert not change.alarm.latched


def test_any_order():
    run_state_machine_as_test(
        AnyOrder, settings=settings(max_examples=150, stateful_step_count=40, deadline=None)
    )
