"""Dosing pumps through worker, loop and runner, on mock pins, beside what leaves the bottle.

360 mL/Ah are used, so that 2 A use 0.2 mL/s: a dose of 3 mL each 15 s, which takes 6 s at 0.5 mL/s.
"""

from itertools import pairwise
from types import SimpleNamespace

import pytest
from gpiozero.pins.mock import MockFactory

from daemon.api.plans.file import read_plan
from daemon.bath.dosing import DoseKept, Tally
from daemon.bath.due import Dues
from daemon.clock import to_ms
from daemon.control.dosing_pump import Hindrance, PumpRules
from daemon.control.notices import DOSE_KEPT, DOSE_OWED_NO_MORE
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table
from daemon.control.situation import Limits
from daemon.control.states import Act, State
from daemon.record.entries import Audited, BathEntered, Noted
from daemon.service.cycle.runner import Quit
from daemon.service.devices.pins import CYCLE_S, InterlockLoop, Pins
from daemon.service.pumps.doser import BY_HAND, Doser, PumpAct, Ways
from drivers.contracts import Rating
from drivers.pins.lines import ContactInput, HeartbeatLine
from drivers.simulator.inline import SimulatedSupply

PUMP, LEVEL, STOP_BUTTON, AGITATION = 24, 13, 22, 25
LOOPS = {"level": LEVEL, "emergency stop": STOP_BUTTON, "agitation": AGITATION}
ROWS = {
    "interlock: level": Effects(Stop.NOTHING),
    "interlock: emergency stop": Effects(Stop.ABORT),
    "interlock: agitation": Effects(Stop.HOLD, after_s=60.0),
}
TABLE = Table({**DEFAULTS, **ROWS})
RULES = PumpRules(
    "brightener", 3.0, 0.5, most_day_ml=30.0, pause_s=5.0, drop_out_s=0.5, cycle_s=CYCLE_S
)
PLAN = """\
title = "Bracket"
area = "1.8 dm²"
target = "10 µm"
voltage_ceiling = "6 V"
caps = { charge = "3 Ah", duration = "3 h" }
[[stage]]
name = "build"
current = "2 A"
"""


class Bottle:
    """What hangs on the pins: the pump behind its circuit, and three loops.

    The pump runs from the first edge until `drop_out_s` after the last; `left_ml` has left the
    bottle by then. `wired` are the loops that are closed.
    """

    def __init__(self, clock):
        self.clock = clock
        self.factory = MockFactory()
        line = HeartbeatLine(PUMP, self.factory, "pump of brightener")
        loops = [
            InterlockLoop(name, ContactInput(pin, name, self.factory), debounce_s=0.05)
            for name, pin in LOOPS.items()
        ]
        self.pins = Pins(None, None, loops, clock.monotonic_s, pumps={"brightener": line})
        self.wired = set(LOOPS)
        self.left_ml = 0.0
        self.edges_s = []
        self._level, self._seen_s = False, clock.now_s
        self.follow()

    def follow(self):
        now_s, level = self.clock.now_s, self.factory.pin(PUMP).state
        if self.edges_s:
            until_s = min(now_s, self.edges_s[-1] + RULES.drop_out_s)
            self.left_ml += RULES.flow_ml_s * max(0.0, until_s - self._seen_s)
        self._seen_s = now_s
        if level != self._level:
            self._level = level
            self.edges_s.append(now_s)
        for name, pin in LOOPS.items():
            contact = self.factory.pin(pin)
            (contact.drive_high if name in self.wired else contact.drive_low)()

    @property
    def runs(self):
        moved_s = self.clock.now_s - self.edges_s[-1] if self.edges_s else 1e9
        return moved_s < RULES.drop_out_s


@pytest.fixture
def account():
    """What the bath's account says, and whether the record has kept what was put."""
    # The rig's bath has seen 10 A·h.
    tally = Tally("brightener", 360_000.0, 3.0, 10.0, 0.0)
    return SimpleNamespace(dues=Dues((tally,)), kept=True)


@pytest.fixture
def dosed(new_rig, clock, account):
    """The daemon's inside with a pump, on a supply."""
    bottle = Bottle(clock)

    def make(supply, rating):
        def doser(put):
            ways = Ways(put, lambda: lambda: account.kept, lambda: account.dues)
            return Doser("bath", {"brightener": (RULES, "level")}, bottle.pins, TABLE, ways)

        rig = new_rig(
            supply, rating=rating, limits=Limits(table=TABLE), pins=bottle.pins,
            world=bottle.follow, doser=doser,
        )  # fmt: skip
        rig.bottle, rig.doser = bottle, rig.loop._doser
        return rig

    yield make
    bottle.pins.close()


@pytest.fixture
def rig(dosed, supply):
    return dosed(supply, Rating(5.0, 30.0, 0.001, 0.01))


@pytest.fixture
def tank(dosed, clock):
    """The same on the simulated tank."""
    supply = SimulatedSupply(clock.monotonic_s)
    supply.open()
    return dosed(supply, supply.rating)


def start(rig, from_start_s=0.5):
    return rig.order(Act.START, from_start_s, plan=read_plan(PLAN, "plan"), text=PLAN)


def doses(rig):
    return rig.recorded(BathEntered)


def given_ml(rig):
    return [entry.amounts["brightener"] for entry in doses(rig)]


def seen(rig):
    (pump,) = rig.doser.seen
    return pump


def charge(rig):
    """The bath's, A·h."""
    return rig.loop.view.bath_charge_ah


def running(rig):
    return seen(rig).runs


def at_dose(rig, then, after_s=2.0):
    """Do something once the first dose has run for a while."""
    follow, began = rig.bottle.follow, []

    def watch():
        follow()
        if running(rig) and not began:
            began.append(rig.clock.now_s)
            rig.at(rig.clock.now_s - 1000.0 + after_s, then)

    rig._world = watch


# Doses by the charge.


def test_what_charge_uses_up_is_dosed_and_entered_as_it_left_the_bottle(tank):
    rig = tank
    start(rig)
    rig.run(until=lambda rig: len(doses(rig)) == 4 and not rig.bottle.runs, most_s=100.0)
    # A whole dose, to a cycle, and never more of it.
    assert all(3.0 - 0.5 * CYCLE_S - 1e-6 <= ml <= 3.0 + 1e-6 for ml in given_ml(rig))
    assert sum(given_ml(rig)) == pytest.approx(rig.bottle.left_ml, abs=4 * 0.5 * CYCLE_S)
    # By the tank's own charge: 3 mL for 8.33 mA·h, but for the first and the last 6 s.
    ended_s = [entry.utc_ms / 1000 for entry in doses(rig)]
    assert all(14.5 <= b - a <= 15.5 for a, b in pairwise(ended_s))
    used_ml = 360.0 * rig.supply.truth().charge_ah
    assert used_ml - 3.0 < sum(given_ml(rig)) < used_ml
    entry = doses(rig)[0]
    assert (entry.kind, entry.who, entry.run_id) == ("dose", "the pump of brightener", 7)
    assert entry.amounts["volume"] == entry.amounts["brightener"] / 1000
    assert entry.facts["origin"] == "pump"
    assert "cut_short" not in entry.facts
    # As many words that a dose begins as that it is over, each by the same mark.
    events = [each for each in rig.recorded(Noted) if each.kind.startswith("pump dose")]
    assert [each.kind for each in events] == ["pump dose begun", "pump dose over"] * 4
    assert events[0].data["begun_utc_ms"] == events[1].data["begun_utc_ms"]
    assert entry.facts["begun_utc_ms"] == events[0].data["begun_utc_ms"]
    (tally,) = rig.doser.dues().tallies
    assert tally.open_ml == pytest.approx(-sum(given_ml(rig)))


def test_the_line_moves_while_it_doses_and_at_no_other_time(rig):
    start(rig)
    rig.run(until=lambda rig: len(doses(rig)) == 1, most_s=60.0)
    pauses_s = [b - a for a, b in pairwise(rig.bottle.edges_s)]
    assert max(pauses_s) <= CYCLE_S + 1e-6
    # 3 mL at 0.5 mL/s, the drop-out's half second among them.
    assert rig.bottle.edges_s[-1] - rig.bottle.edges_s[0] == pytest.approx(5.5, abs=0.11)
    assert rig.bottle.factory.pin(PUMP).state is False


def test_until_the_record_has_the_word_the_pump_stands(rig, account):
    account.kept = False
    start(rig)
    edges = []
    rig.at(30.0, lambda: edges.append((len(rig.bottle.edges_s), seen(rig).hindrance)))
    rig.at(30.0, lambda: setattr(account, "kept", True))
    rig.run(until=lambda rig: len(doses(rig)) == 1, most_s=100.0)
    assert edges == [(0, None)]
    assert rig.bottle.edges_s[0] >= 1030.0


def test_the_line_is_low_in_each_cycle_in_which_it_shall_not_move(rig):
    """Whatever level its last edge has left it at, or somebody else has put it to."""
    rig.at(1.0, lambda: rig.bottle.factory.pin(PUMP)._set_state(True))
    levels = []
    rig.at(1.2, lambda: levels.append(rig.bottle.factory.pin(PUMP).state))
    rig.run(most_s=2.0)
    assert levels == [False]


def test_at_rest_nothing_is_dosed_however_much_is_owed(rig, account):
    account.dues = Dues((Tally("brightener", 360_000.0, 3.0, 10.0, 50.0),))
    assert seen(rig).hindrance.words == "the daemon has just started"
    rig.run(most_s=30.0)
    assert rig.bottle.edges_s == []
    assert seen(rig).hindrance.words == "no run plates"
    assert seen(rig).hindrance.passes
    assert seen(rig).due


# What stops it.


def test_a_level_that_goes_low_cuts_the_dose_short_and_what_was_given_counts(rig):
    start(rig)
    at_dose(rig, lambda: rig.bottle.wired.discard("level"))
    found = []
    rig.at(59.0, lambda: found.append((rig.situation.state, seen(rig).hindrance)))
    rig.at(59.0, lambda: found.append((rig.bottle.left_ml, len(doses(rig)))))
    rig.at(60.0, lambda: rig.bottle.wired.add("level"))
    rig.run(until=lambda rig: len(doses(rig)) == 2, most_s=100.0)
    first, second = doses(rig)
    # 2 s, the debounce and the drop-out.
    assert first.amounts["brightener"] == pytest.approx(0.5 * 2.6, abs=0.06)
    low = "the level is low or not known: interlock open: level"
    assert first.facts["cut_short"] == low
    assert found == [
        (State.RUNNING, Hindrance(low, "level")),
        (pytest.approx(first.amounts["brightener"], abs=0.026), 1),
    ]
    assert second.utc_ms - first.utc_ms > 40_000
    assert "cut_short" not in second.facts


def test_a_loop_that_was_never_looked_at_is_not_known_to_be_closed(rig):
    assert not Bottle(rig.clock).pins.is_closed("level")
    assert not rig.bottle.pins.is_closed("no such loop")
    rig.bottle.pins.look(0.0)
    assert rig.bottle.pins.is_closed("level")


def stop_button(rig):
    rig.bottle.wired.discard("emergency stop")


@pytest.mark.parametrize(
    ("then", "state", "why"),
    [
        (stop_button, State.ABORTED, "the run is aborting: interlock open: emergency stop"),
        (lambda rig: rig.order(Act.HOLD, 0.0), State.HELD, "the run is holding"),
        (lambda rig: rig.order(Act.STOP, 0.0), State.STOPPED, "the run is stopping"),
        (lambda rig: rig.order(Act.ABORT, 0.0), State.ABORTED, "the run is aborting"),
        (lambda rig: rig.mailbox.put(Quit("SIGTERM")), State.STOPPED, "the run is stopping"),
    ],
)
def test_a_trip_and_every_stop_end_the_dose_in_the_same_cycle(rig, then, state, why):
    start(rig)
    stopped_s = []

    def act():
        stopped_s.append(rig.clock.now_s)
        then(rig)

    at_dose(rig, act)
    rig.run(until=lambda rig: rig.situation.state is state, most_s=60.0)
    (entry,) = doses(rig)
    assert entry.facts["cut_short"].startswith(why)
    # An interlock is believed after its debounce, and acted on in the cycle that does.
    assert rig.bottle.edges_s[-1] - stopped_s[0] <= 0.16
    assert entry.amounts["brightener"] == pytest.approx(1.25, abs=0.1)
    assert rig.bottle.left_ml <= entry.amounts["brightener"] + 0.026
    assert rig.bottle.factory.pin(PUMP).state is False


def test_after_a_hold_the_rest_stays_owed_and_is_dosed_with_what_follows(rig):
    start(rig)
    at_dose(rig, lambda: rig.order(Act.HOLD, 0.0))
    rig.order(Act.RESUME, 30.0)
    rig.run(until=lambda rig: len(doses(rig)) == 2, most_s=100.0)
    first, second = given_ml(rig)
    assert (first, second) == (pytest.approx(1.25, abs=0.1), pytest.approx(3.0, abs=0.03))


def test_a_cause_that_will_stop_the_run_stops_the_pump_before(rig):
    """Agitation is lost: the run is held after a minute, and nothing is dosed until then."""
    start(rig)
    at_dose(rig, lambda: rig.bottle.wired.discard("agitation"))
    states = []
    rig.run(
        until=lambda rig: states.append(rig.situation.state) or len(doses(rig)) == 1, most_s=60.0
    )
    assert states[-2] is State.RUNNING
    assert doses(rig)[0].facts["cut_short"] == "interlock open: agitation"


def test_while_the_loop_hangs_the_pump_stands(rig):
    start(rig)

    def hang():
        for _ in range(100):
            rig.clock.now_s += 0.01
            rig.bottle.follow()

    at_dose(rig, hang)
    rig.run(until=lambda rig: len(doses(rig)) == 1 and not rig.bottle.runs, most_s=60.0)
    assert max(b - a for a, b in pairwise(rig.bottle.edges_s)) >= 1.0
    assert rig.bottle.left_ml == pytest.approx(given_ml(rig)[0], abs=0.06)


def test_a_cycle_that_fails_gives_no_edge(rig, mocker):
    start(rig)
    edges = []

    def fail(*_):
        edges.append(len(rig.bottle.factory.pin(PUMP).states))
        raise OSError("out of memory")

    at_dose(rig, lambda: mocker.patch.object(rig.loop._scribe, "_put", fail))
    with pytest.raises(OSError, match="out of memory"):
        rig.run(most_s=60.0)
    assert edges == [len(rig.bottle.factory.pin(PUMP).states)]
    assert edges[0] > 20


def test_a_line_that_cannot_be_moved_doses_no_more(rig, mocker):
    start(rig)
    pin = type(rig.bottle.factory.pin(PUMP))
    broken = RuntimeError("chip gone")
    at_dose(rig, lambda: mocker.patch.object(pin, "_set_state", side_effect=broken))
    rig.run(most_s=60.0)
    assert len(doses(rig)) == 1
    assert doses(rig)[0].facts["cut_short"] == (
        "the pump's line cannot be moved: GPIO24, pump of brightener: chip gone"
    )
    mocker.stopall()


def test_what_is_unwell_and_a_proof_test_keep_it_still(rig):
    start(rig)
    rig.doser.busy = lambda: "a proof test is under way"
    told = []
    rig.at(20.0, lambda: told.append(seen(rig).hindrance))
    rig.at(20.0, lambda: setattr(rig.bottle.pins, "unwell", lambda: "the record is behind"))
    rig.at(22.0, lambda: told.append(seen(rig).hindrance))
    rig.run(most_s=25.0)
    assert [(each.words, each.passes) for each in told] == [
        ("a proof test is under way", True),
        ("the record is behind", False),
    ]
    assert rig.bottle.edges_s == []


# What the account says.


def by_hand(rig, at_s, volume_ml, begun_utc_ms=None):
    """A dose that was entered, `at_s` from the start; the end of the day before is less than 0."""
    utc_ms = to_ms(rig.clock.utc()) + round(1000 * at_s)
    return DoseKept("brightener", utc_ms, volume_ml, begun_utc_ms)


def test_a_dose_by_hand_counts_against_what_is_owed_and_is_left_to_mix(rig, account):
    start(rig)
    (tally,) = account.dues.tallies

    def enter():
        account.dues = Dues((tally,), doses=(by_hand(rig, 0.0, 2.0),)).after(
            [by_hand(rig, 0.0, 2.0)]
        )

    rig.at(10.0, enter)
    rig.run(until=lambda rig: len(doses(rig)) == 1, most_s=60.0)
    # 3 mL and the 2 mL by hand are used up after 25 s, and not after 15; 6 s for the dose.
    assert rig.clock.now_s - 1000.5 == pytest.approx(31.0, abs=0.7)


def test_the_most_a_day_is_read_from_the_account_after_a_restart(rig, account):
    (tally,) = account.dues.tallies
    old = [by_hand(rig, -3600.0 * n, 3.0, begun_utc_ms=n) for n in range(1, 10)]
    early = by_hand(rig, -3600.0 * 30, 20.0)
    account.dues = Dues((tally,), doses=(early, *old))
    start(rig)
    told = []
    rig.at(55.0, lambda: told.append(seen(rig).hindrance))
    rig.run(most_s=56.0)
    # 27 of 30 mL were given: one more, and then no more.
    assert len(doses(rig)) == 1
    words = "30 mL were given in the last 24 h, and 30 mL is the most"
    assert [(each.words, each.passes) for each in told] == [(words, False)]


def test_what_the_account_has_got_meanwhile_counts_once(rig, account):
    start(rig)
    rig.run(until=lambda rig: len(doses(rig)) == 2, most_s=60.0)
    kept = [
        DoseKept(
            "brightener", entry.at_utc_ms, entry.amounts["brightener"],
            entry.facts["begun_utc_ms"],
        )
        for entry in doses(rig)
    ]  # fmt: skip
    before = rig.doser.dues().tallies[0].open_ml
    day_ml = seen(rig).day_ml
    # As the account is read anew after somebody's entry: it has the first of both already.
    (tally,) = account.dues.tallies
    account.dues = Dues((tally,), doses=(kept[0],)).after(kept[:1])
    assert rig.doser.dues().tallies[0].open_ml == pytest.approx(before)
    rig.loop.cycle()
    assert seen(rig).day_ml == pytest.approx(day_ml) == pytest.approx(sum(given_ml(rig)))
    assert seen(rig).owed_ml == pytest.approx(rig.doser.dues().tallies[0].open_at_ml(charge(rig)))


def test_a_wall_clock_that_is_set_on_gives_no_new_day(rig):
    """30 mL are the most; what was pumped is timed by the clock that never steps."""
    start(rig)
    rig.at(100.0, lambda: setattr(rig.clock, "wall_offset_s", 2 * 86_400.0))
    told = []
    rig.at(185.0, lambda: told.append(seen(rig).hindrance.words))
    rig.run(most_s=186.0)
    assert 27.0 < sum(given_ml(rig)) <= 30.0
    assert told[0].endswith("and 30 mL is the most")


# Kept from a dose.


def kept_events(rig):
    """Of doses that were kept back: kind and words."""
    return [
        (each.kind, each.text)
        for each in rig.recorded(Noted)
        if each.kind in (DOSE_KEPT, DOSE_OWED_NO_MORE)
    ]


LOW = "the level is low or not known: interlock open: level"


def test_a_low_level_is_told_once_with_the_reason_until_the_dose_is_given(rig):
    """3 mL are owed after 15 s; the level is low until the 60th."""
    rig.bottle.wired.discard("level")
    start(rig)
    shown = []
    rig.at(20.0, lambda: shown.append(seen(rig).kept))
    rig.at(59.0, lambda: shown.append(seen(rig).kept))
    rig.at(60.0, lambda: rig.bottle.wired.add("level"))
    rig.run(until=lambda rig: len(doses(rig)) == 2, most_s=100.0)
    (kept, text), (over, _) = kept_events(rig)
    assert (kept, over) == (DOSE_KEPT, DOSE_OWED_NO_MORE)
    # 0.2 mL a second: told 10 s after the first whole dose was owed.
    assert text == f"5 mL of brightener are owed and not given: {LOW}"
    assert shown[0] is None
    assert (shown[1].additive, shown[1].words) == ("brightener", LOW)
    assert seen(rig).kept is None


def test_a_level_that_comes_and_goes_is_told_once(rig):
    start(rig)
    for at_s in range(16, 100, 20):
        rig.at(at_s + 0.0, lambda: rig.bottle.wired.discard("level"))
        rig.at(at_s + 17.0, lambda: rig.bottle.wired.add("level"))
    rig.run(most_s=110.0)
    assert [entry.facts["cut_short"] for entry in doses(rig)].count(LOW) >= 2
    assert [kind for kind, _ in kept_events(rig)].count(DOSE_KEPT) == 1


def test_a_days_most_and_a_trip_are_told_too(rig, account):
    (tally,) = account.dues.tallies
    account.dues = Dues((tally,), doses=(by_hand(rig, -3600.0, 30.0),))
    start(rig)
    rig.at(60.0, lambda: stop_button(rig))
    rig.run(most_s=90.0)
    told = [text.split("given: ", 1)[1] for kind, text in kept_events(rig) if kind == DOSE_KEPT]
    assert told == [
        "30 mL were given in the last 24 h, and 30 mL is the most",
        "interlock open: emergency stop: it stopped the run",
    ]


def test_without_a_run_no_dose_is_missed(rig, account):
    account.dues = Dues((Tally("brightener", 360_000.0, 3.0, 10.0, 50.0),))
    rig.bottle.wired.discard("level")
    rig.run(most_s=60.0)
    assert seen(rig).due
    assert kept_events(rig) == []


def test_what_passes_by_itself_is_not_told(rig):
    start(rig)
    rig.doser.busy = lambda: "a proof test is under way"
    due = []
    rig.at(49.0, lambda: due.append(seen(rig).due))
    rig.run(most_s=50.0)
    assert due == [True]
    assert kept_events(rig) == []


def test_a_persons_dose_ends_it(rig, account):
    rig.bottle.wired.discard("level")
    start(rig)
    (tally,) = account.dues.tallies

    def enter():
        account.dues = Dues((tally,)).after([by_hand(rig, 0.0, 8.0)])

    rig.at(40.0, enter)
    rig.run(most_s=45.0)
    assert [kind for kind, _ in kept_events(rig)] == [DOSE_KEPT, DOSE_OWED_NO_MORE]
    assert seen(rig).kept is None


# By hand.


def test_a_run_by_hand_lasts_as_long_as_it_was_asked_for_and_enters_nothing(rig):
    order = rig.order(PumpAct("brightener", 30.0), 1.0)
    rig.run(until=lambda rig: seen(rig).ran is not None and not rig.bottle.runs, most_s=60.0)
    assert order.error is None
    assert seen(rig).ran.ran_s == pytest.approx(30.0, abs=0.051)
    assert seen(rig).ran.cut_short is None
    assert rig.bottle.left_ml == pytest.approx(0.5 * seen(rig).ran.ran_s, abs=0.03)
    assert doses(rig) == []
    (asked,) = [each for each in rig.recorded(Audited) if each.what == "run a pump"]
    assert (asked.who, asked.detail, asked.refused) == ("Ann", "brightener for 30 s", None)
    (told,) = rig.recorded(BY_HAND)
    assert told.startswith("the pump of brightener ran for ")


def test_a_run_by_hand_is_stopped_by_hand_and_ended_by_a_run(rig):
    rig.order(PumpAct("brightener", 60.0), 1.0)
    rig.order(PumpAct("brightener", None), 6.0)
    rig.order(PumpAct("brightener", 60.0), 10.0)
    start(rig, 15.0)
    ran = []
    rig.at(8.0, lambda: ran.append(seen(rig).ran))
    rig.run(most_s=20.0)
    ran.append(seen(rig).ran)
    assert [each.ran_s for each in ran] == pytest.approx([5.5, 5.5], abs=0.1)
    assert ran[0].cut_short == "stopped by Ann"
    assert ran[1].cut_short.startswith("a run is under way")
    assert len([each for each in rig.recorded(BY_HAND) if "cut short" in each]) == 2


@pytest.mark.parametrize(
    ("act", "why"),
    [
        (PumpAct("carrier", 30.0), "'carrier' has no pump; pumps: brightener"),
        (PumpAct("brightener", 1.0), "a pump is run for 2 to 300 s, got 1 s"),
        (PumpAct("brightener", 301.0), "a pump is run for 2 to 300 s, got 301 s"),
        (PumpAct("brightener", None), "the pump of brightener is not run by hand"),
    ],
)
def test_what_cannot_be_asked_of_a_pump(rig, act, why):
    order = rig.order(act, 1.0)
    rig.run(most_s=2.0)
    assert order.error == why
    assert [each.refused for each in rig.recorded(Audited)] == [why]
    assert rig.bottle.edges_s == []


def test_a_low_level_a_run_and_another_run_by_hand_refuse_one(rig):
    rig.at(0.5, lambda: rig.bottle.wired.discard("level"))
    low = rig.order(PumpAct("brightener", 30.0), 1.0)
    rig.at(1.5, lambda: rig.bottle.wired.add("level"))
    first = rig.order(PumpAct("brightener", 10.0), 2.0)
    second = rig.order(PumpAct("brightener", 10.0), 3.0)
    start(rig, 20.0)
    during = rig.order(PumpAct("brightener", 10.0), 25.0)
    rig.run(most_s=30.0)
    assert low.error == "the level is low or not known: interlock open: level"
    assert first.error is None
    assert second.error == "the pump of brightener is run by hand already"
    assert during.error.startswith("a run is under way")


def test_without_pumps_in_the_settings_none_is_run(tank_rig):
    order = tank_rig.order(PumpAct("brightener", 30.0), 1.0)
    tank_rig.run(most_s=2.0)
    assert order.error == "there is no [[pump]] in the settings"
