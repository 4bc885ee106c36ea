"""The daemon's word about itself, and as the command line prints it."""

import dataclasses
from types import SimpleNamespace

import pytest

from daemon.api.plans.file import read_plan
from daemon.api.sentence import sentence
from daemon.bath.description import Interval
from daemon.bath.dosing import Tally
from daemon.bath.due import Dues
from daemon.bath.upkeep import Upkeep
from daemon.clock import to_ms
from daemon.control.states import Act
from daemon.service.commands import report
from daemon.service.devices.ripples import RippleSeen
from daemon.service.socket.status import Speaker
from drivers.channels.ripple import NotMeasured, Ripple

PLAN = """\
title = "Lamp foot"
area = "1.8 dm²"
target = "25 µm"
voltage_ceiling = "6 V"
caps = { charge = "10 Ah", duration = "10 h" }
[[stage]]
name = "strike"
current = "0.5 A"
until = { duration = "60 s" }
[[stage]]
name = "build"
current = "2 A"
"""

UM_PER_AH = 3600 * 63.546 / (2 * 96485.33212) / 8.96 * 100 / 1.8
"""Faraday's law for copper of 8.96 g/cm³ on 1.8 dm², µm per A·h (CODATA 2018)."""


@pytest.fixture
def writer():
    return SimpleNamespace(unrecorded=0, fault=None)


@pytest.fixture
def status(rig, clock, writer):
    """The status after a run of so many seconds, with these acts in it."""

    def after(seconds=1.0, *acts, text=PLAN):
        if text is not None:
            rig.order(Act.START, 0.2, plan=read_plan(text, "plan"), text=text)
        for act, moment_s in acts:
            rig.order(act, moment_s)
        found = []
        speaker = Speaker(
            rig.loop, rig.panel, clock, writer, "A,B,1,2", "Acid copper", lambda: None
        )
        rig.at(seconds, lambda: found.append(speaker.status()))
        rig.run(most_s=seconds + 0.5)
        return found[0]

    return after


def test_before_any_reading_nothing_is_claimed(rig, clock, writer):
    status = Speaker(
        rig.loop, rig.panel, clock, writer, "A,B,1,2", "Acid copper", lambda: None
    ).status()
    assert status.state == "idle"
    assert (status.current_a, status.voltage_v, status.reading_age_s) == (None, None, None)
    assert status.run is None
    said = report.text(status)
    assert said.count("not read") == 2


def test_at_rest(status):
    told = status(5.0, text=None)
    assert (told.state, told.current_a, told.output_on, told.run) == ("idle", 0.0, False, None)
    assert told.reading_age_s == pytest.approx(0.0, abs=0.11)
    assert (told.bath, told.bath_charge_ah, told.supply) == ("Acid copper", 10.0, "A,B,1,2")


def test_while_plating(status):
    told = status(120.2)
    run = told.run
    # 60 s of 0.5 A and 60 s of 2 A.
    charge_ah = (60 * 0.5 + 60 * 2) / 3600
    assert told.state == "running"
    assert told.output_on
    assert told.bath_charge_ah == pytest.approx(10 + charge_ah, rel=2e-3)
    assert (run.run_id, run.title, run.stage) == (7, "Lamp foot", 1)
    assert [(stage.name, stage.state) for stage in run.stages] == [
        ("strike", "done"),
        ("build", "under way"),
    ]
    assert run.charge_ah == pytest.approx(charge_ah, rel=5e-3)
    assert run.thickness_um == pytest.approx(charge_ah * UM_PER_AH, rel=5e-3)
    assert run.mass_g == pytest.approx(charge_ah * 1.185495, rel=5e-3)
    assert run.running_s == pytest.approx(120.0, abs=0.3)
    left_ah = 25 / UM_PER_AH - charge_ah
    assert run.remaining_s == pytest.approx(left_ah / 2 * 3600, rel=5e-3)
    assert (run.set_current_a, run.set_voltage_v) == (2.0, 6.0)


def test_what_falls_due_of_the_bath_and_when_by_the_run_under_way(rig, clock, writer):
    """The bath begins at 10 A·h, at which 4.9 of 5 mL are open: 150 mL/kAh use 0.1 mL in 0.667 A·h.

    30 s of 0.5 A are counted; 30 s more of it and then 2 A come to the rest.
    """
    dues = Dues(
        (Tally("brightener", 150.0, 5.0, 10.0, 4.9), Tally("carrier", 1.0, 5.0, 10.0, 0.0)),
        (Upkeep("filtration", Interval(every_s=3600.0), 0.0, to_ms(clock.utc())),),
    )
    rig.order(Act.START, 0.2, plan=read_plan(PLAN, "plan"), text=PLAN)
    found = []
    speaker = Speaker(rig.loop, rig.panel, clock, writer, "s", "b", lambda: None, lambda: dues)
    rig.at(30.2, lambda: found.append(speaker.status()))
    rig.run(most_s=31.0)
    brightener, carrier, filtration = found[0].dues
    in_ah = 0.1 / 150 * 1000
    assert brightener.in_ah == pytest.approx(in_ah - 30 * 0.5 / 3600, rel=2e-3)
    assert brightener.plating_s == pytest.approx(
        30 + (in_ah - 60 * 0.5 / 3600) / 2 * 3600, rel=5e-3
    )
    # This one comes long after the run's end.
    assert (carrier.in_ah > 4000, carrier.plating_s) == (True, None)
    assert filtration.in_s == pytest.approx(3600 - 30.2, abs=0.1)
    assert "due        5 mL of brightener in 0.66 Ah, at the plan's current in 20 min" in (
        report.text(found[0]).splitlines()
    )


def test_time_to_go_counts_the_stages_to_come(status):
    run = status(30.2).run
    left_ah = 25 / UM_PER_AH - 60 * 0.5 / 3600
    assert run.remaining_s == pytest.approx(30 + left_ah / 2 * 3600, rel=5e-3)


def test_an_output_switched_on_by_hand_at_rest_is_told(rig, supply, clock, writer):
    speaker = Speaker(rig.loop, rig.panel, clock, writer, "A,B,1,2", "Acid copper", lambda: None)
    found = []

    def hand_on_the_panel():
        supply.on, supply.current_a = True, 1.0

    rig.at(1.0, lambda: found.append(speaker.status()))
    rig.at(2.0, hand_on_the_panel)
    rig.at(2.15, lambda: found.append(speaker.status()))
    rig.at(6.0, lambda: found.append(speaker.status()))
    rig.run(most_s=7.0)
    assert [(told.state, told.output_on) for told in found] == [
        ("idle", False),
        ("idle", True),
        # It was switched off again.
        ("idle", False),
    ]
    assert sentence(found[1]) == (
        "Current with no run. 1.000 A flows while the run is idle. Switch the supply off by hand."
    )


@pytest.mark.parametrize(("acts", "output_on"), [((), True), (((Act.STOP, 11.0),), False)])
def test_an_output_of_which_the_supply_says_nothing_is_as_it_was_told(
    status, supply, mocker, acts, output_on
):
    real = type(supply).read
    mocker.patch.object(
        type(supply), "read", lambda self: dataclasses.replace(real(self), output_on=None)
    )
    assert status(20.0, *acts).output_on is output_on


def test_the_ripple_is_that_of_the_last_look_while_something_plates(rig, clock, writer):
    speaker = Speaker(rig.loop, rig.panel, clock, writer, "A,B,1,2", "Acid copper", lambda: None)
    found = []
    rig.order(Act.START, 0.2, plan=read_plan(PLAN, "plan"), text=PLAN)
    rig.at(10.0, lambda: rig.mailbox.put(RippleSeen("supply", clock.now_s, Ripple(2.1, 7.4))))
    rig.order(Act.HOLD, 40.0)
    rig.order(Act.RESUME, 60.0)
    for moment_s in (5.0, 30.0, 50.0, 65.0, 165.0):
        rig.at(moment_s, lambda: found.append(speaker.status().meters[0].ripple))
    rig.at(170.0, lambda: rig.mailbox.put(RippleSeen("supply", clock.now_s, NotMeasured.TOO_SLOW)))
    rig.at(171.0, lambda: found.append(speaker.status().meters[0].ripple))
    rig.run(most_s=172.0)
    never, seen, held, resumed, overdue, slow = found
    assert (seen.rms_percent, seen.peak_to_peak_percent, seen.not_measured) == (2.1, 7.4, None)
    assert seen.age_s == pytest.approx(20.0, abs=0.2)
    assert resumed.age_s == pytest.approx(55.0, abs=0.2)
    assert (never, held, overdue) == (None, None, None)
    assert (slow.rms_percent, slow.not_measured) == (None, "the meter samples too slowly")


def test_held_has_no_time_to_go(status):
    told = status(30.0, (Act.HOLD, 20.0))
    assert told.state == "held"
    assert told.run.remaining_s is None
    assert not told.output_on
    assert "Ann" in told.run.reason
    assert "to go" not in report.text(told)


def test_after_an_abort_the_reason_stays(status):
    told = status(30.0, (Act.ABORT, 20.0))
    assert told.state == "aborted"
    assert told.run.reason == "aborted by Ann"
    assert [stage.state for stage in told.run.stages] == ["to come", "to come"]


def test_a_record_that_cannot_be_written_is_told(status, writer):
    writer.unrecorded, writer.fault = 12, "database or disk is full"
    told = status(1.0)
    assert told.unrecorded == 12
    assert "database or disk is full" in told.notice


def test_the_report_has_the_figures_with_their_units(status):
    lines = report.text(status(120.2)).splitlines()
    table = {line.split(maxsplit=1)[0]: line.split(maxsplit=1)[1] for line in lines[1:]}
    assert table["run"] == "7, Lamp foot"
    assert table["stage"] == "2 of 2, build"
    # 0.042 Ah of 7.35 µm each; a plan's area is taken as within 5 %, its efficiency within 1 %.
    assert table["thickness"] == "0.31 ± 0.02 µm (95 %), target 25 µm"
    assert table["charge"].startswith("0.041")
    assert "g of Cu" in table["charge"]
    assert table["current"] == "2.000 A"
    assert table["voltage"] == "1.000 V"
    assert table["bath"].startswith("Acid copper, 10.04")
    assert table["supply"] == "A,B,1,2"


def test_open_interlocks_are_said(rig, clock, writer):
    loops = ("lid",)
    situation = dataclasses.replace(rig.situation, open_loops=loops)
    rig.loop.view = dataclasses.replace(rig.loop.view, situation=situation)
    status = Speaker(
        rig.loop, rig.panel, clock, writer, "A,B,1,2", "Acid copper", lambda: None
    ).status()
    assert status.notice == "interlock open: lid"
