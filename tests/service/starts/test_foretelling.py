"""What a plan meets with: 10 µm of copper on 1 dm² at 2 A, which is 0.7558 A·h in 22.7 min.

13.231 µm by 1 A·h/dm², with CODATA 2018 and 8.96 g/cm³.
"""

import pytest

from daemon.api.plans.file import read_plan
from daemon.api.socket.pumps import PumpStatus
from daemon.bath.anodes import AnodesLeft
from daemon.bath.description import Interval
from daemon.bath.dosing import Tally
from daemon.bath.due import Dues
from daemon.bath.upkeep import Upkeep
from daemon.chemistry.uncertainty import NO_DOUBT
from daemon.control.situation import NOTHING_CARRIED, Carried
from daemon.service.starts.foretelling import anode_notes, course_note, due_notes, going_on_note
from tests.plates import PLATE

PLAN = read_plan(PLATE, "plan")


def notes(dues, carried=NOTHING_CARRIED, pumps=()):
    return due_notes(dues, 100.0, 0, PLAN, NO_DOUBT, carried, pumps)


def brightener(open_ml, dose_ml=5.0):
    return Dues((Tally("brightener", 1000.0, dose_ml, 100.0, open_ml),))


def test_what_the_plan_takes():
    assert course_note(PLAN, NO_DOUBT, NOTHING_CARRIED) == (
        "the plan can work: 0.7558 Ah in about 23 min at its currents"
    )
    carried = Carried(charge_ah=0.5)
    assert course_note(PLAN, NO_DOUBT, carried).startswith(
        "the plan can work: 0.2558 Ah in about 8"
    )


def test_where_a_part_is_taken_up():
    """0.5 A·h are 6.615 µm; and what is a hair short of the target never reads as there."""
    assert going_on_note(PLAN, Carried(charge_ah=0.5)) == (
        "it goes on in stage 1 of 1, build, at 2 A, with 6.6 of 10 µm on the part"
    )
    # The middle of what is not known counts: 0.5 to 0.51 A·h are 6.68 µm.
    unsure = Carried(charge_ah=0.5, gap_greatest_ah=0.01)
    assert "with 6.7 of 10 µm" in going_on_note(PLAN, unsure)
    assert "with 9.9 of 10 µm" in going_on_note(PLAN, Carried(charge_ah=0.7557))


def test_a_dose_that_falls_due_after_the_run_is_not_told():
    assert notes(brightener(4.2)) == ()  # 0.8 mL at 1000 mL/kAh are 0.8 A·h
    assert notes(Dues()) == ()


def test_a_dose_within_it_is_told_with_its_time():
    """0.5 mL at 1000 mL/kAh are 0.5 A·h, at 2 A 15 min."""
    assert notes(brightener(4.5)) == (
        "5 mL of brightener falls due after 0.50 Ah of this run, in about 15 min",
    )
    # With 0.3 A·h on the part 0.456 A·h are to come.
    assert notes(brightener(4.5), Carried(charge_ah=0.3)) == ()


def test_what_a_pump_gives_it_is_said_to():
    pump = PumpStatus(additive="brightener", dose_ml=3.0, flow_ml_s=0.5, most_day_ml=20.0)
    gives = "; its pump gives it, 3 mL at a time, at most 20 mL in 24 h"
    due, later = notes(brightener(5.2), pumps=(pump,)), notes(brightener(4.5), pumps=(pump,))
    assert due[0].startswith("5 mL of brightener now")
    assert later[0].startswith("5 mL of brightener falls due after 0.50 Ah")
    assert [len(due), len(later)] == [1, 1]
    assert due[0].endswith(gives)
    assert later[0].endswith(gives)
    other = pump.model_copy(update={"additive": "carrier"})
    assert not notes(brightener(4.5), pumps=(other,))[0].endswith(gives)


def test_several_within_it():
    """A tenth of a mL each 0.1 A·h: the first after 0.05."""
    assert notes(brightener(0.05, dose_ml=0.1)) == (
        "0.1 mL of brightener falls due after 0.05 Ah of this run, in about 90 s; "
        "8 times in all before its end",
    )


def test_what_is_due_already_comes_first_and_what_follows_too():
    assert notes(brightener(5.2, dose_ml=0.5))[0] == (
        "10 doses of 0.5 mL of brightener now, overdue by 4.7 Ah"
    )
    assert len(notes(brightener(5.2, dose_ml=0.5))) == 2


@pytest.mark.parametrize(
    ("interval", "from_ah", "told"),
    [
        (Interval(every_ah=50.0), 50.5, ["carbon treatment falls due during this run"]),
        (Interval(every_ah=50.0), 51.0, []),
        (Interval(every_s=1200.0), 0.0, ["carbon treatment falls due during this run"]),
        (Interval(every_s=3600.0), 0.0, []),
        (Interval(every_ah=50.0), 40.0, ["carbon treatment now, overdue by 10.0 Ah"]),
        (
            Interval(every_ah=50.0, every_s=1200.0),
            40.0,
            ["carbon treatment now, overdue by 10.0 Ah"],
        ),
    ],
)
def test_upkeep_by_charge_and_by_time(interval, from_ah, told):
    dues = Dues((), (Upkeep("carbon treatment", interval, from_ah, 0),))
    assert list(notes(dues)) == told


def anodes(area_dm2, greatest_a):
    return Dues(anodes=AnodesLeft(None, None, None, area_dm2, greatest_a, worn=False))


def test_a_plan_that_asks_for_more_than_the_anodes_bear():
    """2 A on 0.8 dm² are 2.5 A/dm²; at 2 A/dm² they bear 1.6 A."""
    assert anode_notes(anodes(0.8, 1.6), PLAN) == (
        "the plan's 2 A are 2.5 A/dm² on 0.8 dm² of anodes, which bear 2 A/dm²: hang more of them,"
        " or plate at 1.6 A at most",
    )


@pytest.mark.parametrize("dues", [anodes(1.0, 2.0), anodes(1.0, None), anodes(None, None), Dues()])
def test_anodes_that_bear_it_or_of_which_nothing_is_known(dues):
    assert anode_notes(dues, PLAN) == ()
