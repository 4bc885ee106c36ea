"""What is said of a dosing pump: in a line, on the page's first view, in the plain sentence."""

from datetime import UTC

import pytest

from daemon.api.pump_words import gives, line, short
from daemon.api.sentence import sentence
from daemon.api.socket.messages import DueStatus, Status
from daemon.api.socket.pumps import PumpStatus

PUMP = PumpStatus(
    additive="brightener", dose_ml=3.0, flow_ml_s=0.5, most_day_ml=20.0, owed_ml=1.2, day_ml=6.0,
    why_not="1.2 of 3 mL are used up", passes=True, last_ml=2.98,
    last_utc="2026-11-25T03:12:00+00:00",
)  # fmt: skip
LOW = "the level is low or not known: interlock open: level"
DUE = DueStatus(kind="dose", name="brightener", amount_ml=3.0, open_ml=3.1, doses=1, in_ah=-0.1)


def pump(**changes):
    return PUMP.model_copy(update=changes)


def status(*pumps, dues=()):
    return Status(
        state="idle", utc="2026-11-25T06:00:00+00:00", monotonic_s=1.0, rate=1.0, current_a=0.0,
        voltage_v=0.0, reading_age_s=0.1, mode=None, output_on=False, supply="A,B,1,2", run=None,
        bath="Copper 1", bath_charge_ah=0.0, dues=dues, pumps=pumps,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "the pump rests: 1.2 of 3 mL are used up; last 2.98 mL at 03:12"),
        ({"runs": True, "why_not": None}, "the pump gives 3 mL; last 2.98 mL at 03:12"),
        ({"runs": True, "by_hand": True}, "the pump runs by hand; last 2.98 mL at 03:12"),
        (
            {"why_not": None, "last_ml": None},
            "the pump is about to run: the record takes its word first",
        ),
        (
            {"last_ml": 1.3, "last_cut_short": LOW},
            "the pump rests: 1.2 of 3 mL are used up; last 1.3 mL at 03:12, cut short: " + LOW,
        ),
    ],
)
def test_a_line(changes, said):
    found = line(pump(**changes), status(), UTC)
    assert found == f"brightener: {said}; 6 of 20 mL in 24 h"


def test_on_the_first_view_stands_what_runs_and_what_should():
    assert short(status(PUMP)) == ""
    runs = pump(runs=True, why_not=None)
    kept = pump(additive="carrier", due=True, why_not=LOW)
    assert short(status(runs, kept)) == (
        f"brightener: the pump gives 3 mL; carrier: the pump rests: {LOW}"
    )


def test_a_dose_that_it_is_kept_from_is_told_with_the_time_and_what_is_owed():
    kept = pump(due=True, why_not=LOW, owed_ml=5.02, kept_utc="2026-11-25T02:10:00+00:00")
    said = f"brightener: not dosed since 02:10, 5.02 mL are owed: {LOW}"
    assert short(status(kept), UTC) == said
    assert line(kept, status(), UTC).startswith(f"{said}; last 2.98 mL at 03:12")


def test_what_cut_the_last_dose_short_and_still_stands_is_not_said_twice():
    low = pump(why_not=LOW, passes=False, last_ml=1.3, last_cut_short=LOW)
    assert line(low, status(), UTC) == (
        f"brightener: the pump rests: {LOW}; last 1.3 mL at 03:12, cut short by that; "
        "6 of 20 mL in 24 h"
    )


def test_who_gives_what_falls_due():
    assert gives(PUMP) == "; its pump gives it, 3 mL at a time, at most 20 mL in 24 h"


def test_the_sentence_wants_of_nobody_what_a_pump_gives():
    assert "The bath wants" in sentence(status(dues=(DUE,)))
    assert "The bath wants" not in sentence(status(pump(due=True), dues=(DUE,)))
    assert "The bath wants" not in sentence(status(pump(why_not=None), dues=(DUE,)))


def test_the_sentence_says_why_a_pump_that_should_does_not():
    said = sentence(status(pump(due=True, why_not=LOW, passes=False), dues=(DUE,)))
    assert said.endswith(f"The bath wants 3 mL of brightener. The pump of brightener rests: {LOW}.")
