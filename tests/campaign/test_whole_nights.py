"""Whole nights: a few from fresh seeds hold, and each invariant tells when it is broken."""

from dataclasses import replace
from random import SystemRandom

import pytest
from night import again, kept
from night.drawn import Drawn, Incident
from night.faults import ALL
from night.world import World
from whole_nights import outcome_of

from daemon.control.situation import OFF
from daemon.control.states import Act
from daemon.record.entries import AlarmRaised, Noted
from daemon.record.summary import nah


@pytest.fixture(scope="module")
def fresh():
    """A seed that nobody has seen."""
    return SystemRandom().randrange(10**9)


@pytest.mark.parametrize("night", range(4))
def test_a_night_holds(night, fresh):
    seed = fresh + night
    outcome = outcome_of(seed)
    assert outcome.found == [], f"whole_nights.py --replay {seed}"
    assert outcome.counts["comparisons"] > 0


@pytest.mark.parametrize("night", range(200))
def test_a_short_night_holds(night, fresh):
    seed = fresh + night
    outcome = outcome_of(seed, short=True)
    assert outcome.found == [], f"whole_nights.py --short --replay {seed}"
    assert outcome.hours < 2.0


def test_a_night_is_drawn_from_its_seed_alone():
    def told():
        drawn = night_of(31, 0.4, ("wire loses replies", 200.0, 60.0), ("loop killed", 600.0, 5.0),
                         ("meter spikes", 605.0, 30.0), keeps=True)  # fmt: skip
        checks = World(drawn).run()
        return checks.notes, checks.counts, checks.found

    assert told() == told()


def test_every_kind_of_fault_can_be_drawn():
    drawn = {incident.fault.name for seed in range(3000) for incident in Drawn(seed).incidents}
    assert drawn == set(ALL)
    assert len(ALL) >= 20


# Each invariant is broken once, by a daemon that does something wrong, and says so.


def night_of(seed=5, hours=0.4, *faults, **changes):
    """A short night with these faults, each at a moment, s, and so long, s."""
    drawn = Drawn(seed)
    drawn.hours, drawn.incidents = hours, []
    for name, at_s, lasts_s in faults:
        drawn.incidents.append(Incident(ALL[name], at_s, lasts_s))
    plain = {"has_contactor": False, "has_auxiliary": False, "has_loops": False, "keeps": False,
             "has_signals": False, "has_shunt": False, "shunt_counts": False, "period_s": 0.2,
             "gap_s": 3.0, "lost_s": 3.0, "quiet_s": 2.1, "is_told": False}  # fmt: skip
    for name, value in (plain | changes).items():
        setattr(drawn, name, value)
    return drawn


def broken(drawn, tamper):
    """The numbers of the invariants that are told broken; without the tampering none are."""
    return {number for number, _, _ in World(drawn, tamper).run().found}


SHORT = ("plug pulled", 300.0, 30.0)
DROPS = ("supply drops its output", 300.0, 30.0)


def test_the_short_nights_below_hold():
    for drawn in (
        night_of(5, 0.4, SHORT),
        night_of(5, 0.4, DROPS),
        night_of(5, 0.4, ("loop killed", 400.0, 10.0), keeps=True),
        # The later fault of the wire is over before the earlier, which stays.
        night_of(5, 0.4, ("wire silent", 300.0, 60.0), ("wire silent", 300.1, 1.0)),
        # While there is no loop, somebody has the current on again: nobody else did.
        night_of(5, 0.4, ("loop hangs", 300.0, 60.0), ("supply switched on by hand", 301.4, 60.0),
                 keeps=True),
    ):  # fmt: skip
        assert World(drawn).run().found == []


def test_1_a_trip_that_is_dropped_is_told():
    def tamper(daemon):
        worker = daemon.worker
        send = worker.demand
        worker.demand = lambda demand: None if demand == OFF else send(demand)
        # And nobody is told of it.
        daemon.loop._limits = replace(daemon.loop._limits, off_s=1e9)

    assert 1 in broken(night_of(5, 0.4, ("part lost", 300.0, 600.0)), tamper)


def test_2_a_charge_that_is_counted_short_is_told():
    def tamper(daemon):
        panel = daemon.panel
        take = panel.take

        def short(name, reading):
            counted = take(name, reading)
            return counted and replace(counted, current_a=0.95 * counted.current_a)

        panel.take = short

    assert 2 in broken(night_of(), tamper)


def test_3_an_entry_that_is_lost_is_told():
    for keeps in (False, True):

        def tamper(daemon):
            put = daemon.writer.put
            daemon.writer.put = lambda e: (
                None if isinstance(e, Noted) and e.kind == "act" else put(e)
            )

        assert 3 in broken(night_of(keeps=keeps), tamper)


def test_3_commits_that_come_late_are_told():
    def tamper(daemon):
        flush = daemon.flush
        daemon.flush = lambda quiet: flush(quiet) if daemon.world.clock.now_s < 1350.0 else None

    assert 3 in broken(night_of(5, 0.4, ("loop killed", 400.0, 10.0), keeps=True), tamper)


def test_4_an_alarm_that_is_recorded_twice_or_without_a_close_up_is_told():
    def twice(daemon):
        put = daemon.scribe._put

        def again_(entry):
            put(entry)
            if isinstance(entry, AlarmRaised):
                put(replace(entry, number=entry.number + 100))

        daemon.scribe._put = again_

    def bare(daemon):
        daemon.scribe._close_ups.due = daemon.scribe._close_ups.finish = lambda _: []

    for tamper in (twice, bare):
        assert 4 in broken(night_of(5, 0.4, DROPS), tamper)


def test_5_a_cap_that_is_passed_is_told():
    def tamper(daemon):
        daemon.plan = replace(daemon.plan, charge_cap_ah=1e6, duration_cap_s=1e6)
        checks = daemon.world.checks
        see = checks._see_caps

        def by_the_plan_as_it_was_meant(run, count, situation):
            meant = replace(run, plan=replace(run.plan, duration_cap_s=300.0))
            see(meant, count, situation)

        checks._see_caps = by_the_plan_as_it_was_meant

    assert 5 in broken(night_of(), tamper)


def test_6_an_output_that_goes_on_at_rest_is_told():
    def tamper(daemon):
        def switch_on():
            daemon.world.supply.set_points(1.0, 3.0)
            daemon.world.supply.output(True)

        daemon.world.at(daemon.world.clock.now_s + 0.5, switch_on)

    assert 6 in broken(night_of(), tamper)


def test_7_a_run_that_goes_on_by_itself_is_told():
    def tamper(daemon):
        people = daemon.world.people
        order = people.order

        def slyly(act, *args, **more):
            done = order(act, *args, **more)
            if act is Act.START:
                people._orders.remove(done)
            return done

        people.order = slyly

    assert 7 in broken(night_of(), tamper)


def test_8_a_sum_that_drifts_is_told():
    def tamper(daemon):
        counted = daemon.scribe.counted

        def drifting(situation, reading, *rest):
            count = situation.count
            if count is not None:
                more = replace(count, charge_ah=count.charge_ah * (1.0 + 1e-6))
                situation = replace(situation, count=more)
            counted(situation, reading, *rest)

        daemon.scribe.counted = drifting

    assert 8 in broken(night_of(), tamper)


def test_8_a_mean_that_is_wrong_is_told(monkeypatch):
    true = again.summarise

    def wrong(samples, before):
        found = true(samples, before)
        return found._replace(charge_nah=found.charge_nah + nah(1e-8))

    monkeypatch.setattr(again, "summarise", wrong)
    assert 8 in broken(night_of(), None)


def test_8_a_minute_that_is_wrong_in_the_record_is_told(monkeypatch):
    true = kept.from_row
    monkeypatch.setattr(
        kept, "from_row", lambda row: true(row)._replace(charge_nah=true(row).charge_nah + 60)
    )
    assert 8 in broken(night_of(keeps=True), None)
