"""Whole runs through worker, loop and runner on a virtual clock, beside the tank's truth."""

from collections import deque
from importlib.resources import files
from itertools import pairwise

import pytest

from daemon.api.plans.file import read_plan
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.control.outlook import Outlook, Row
from daemon.control.panel import Correction, MeterFacts
from daemon.control.situation import Event, Limits
from daemon.control.states import Act, State
from daemon.record.entries import (
    AlarmChanged,
    AlarmRaised,
    CountedBy,
    Noted,
    RunEnded,
    RunOpened,
    Sample,
    StageEnded,
)
from daemon.service.devices.meter_worker import Seen
from daemon.service.devices.ripples import RippleSeen
from daemon.service.devices.supply_worker import Missed, Trouble
from daemon.service.rehearsal.foreteller import Foretold
from drivers.channels.ripple import NotMeasured, Ripple
from drivers.contracts import Reading, Temperature
from drivers.errors import NoReplyError, PortUnavailableError, SetPointRefusedError
from drivers.simulator.inline import SimulatedSupply

LAMP_FOOT = files("daemon.service").joinpath("examples/lamp_foot.toml").read_text("utf-8")

SHORT = """\
title = "Short"
area = "1.8 dm²"
target = "0.3 µm"
voltage_ceiling = "6 V"
caps = { charge = "1 Ah", duration = "1 h" }

[[stage]]
name = "strike"
current = "0.5 A"
ramp = "20 s"
until = { duration = "40 s" }

[[stage]]
name = "build"
current = "2 A"
"""


def start(rig, text=SHORT, **more):
    return rig.order(Act.START, plan=read_plan(text, "plan"), text=text, **more)


def copper_error(rig):
    """How far the counted mass is from what the tank really deposited, as a share."""
    (ended,) = rig.recorded(RunEnded)
    return ended.mass_g / rig.supply.truth().deposited_g - 1


# Runs to their target.


@pytest.mark.parametrize("period_s", [2.0, 10.0])
def test_the_example_plan_reaches_its_target_and_counts_the_copper(
    clock, new_rig, tank_rig, over, period_s
):
    limits = Limits(
        period_s=period_s, gap_s=5 * period_s, lost_s=15 * period_s, down_s=2 * period_s
    )
    tank = tank_rig.supply
    rig = new_rig(tank, rating=tank.rating, limits=limits, period_s=period_s)
    start(rig, LAMP_FOOT, from_start_s=25.0)
    assert rig.run(over)
    (ended,) = rig.recorded(RunEnded)
    assert ended.state == "complete"
    assert ended.thickness_um == pytest.approx(25.0, rel=2e-3)
    # Against the tank's own copper, not our count.
    assert abs(copper_error(rig)) < 2e-3
    # 25 µm on 1.8 dm² of copper of 8.96 g/cm³: 4.032 g.
    assert tank.truth().deposited_g == pytest.approx(25e-4 * 180 * 8.96, rel=2e-3)
    assert tank.truth().current_a == 0.0


def test_a_short_plan_at_ten_readings_a_second_counts_within_a_thousandth(tank_rig, over):
    start(tank_rig)
    assert tank_rig.run(over)
    (ended,) = tank_rig.recorded(RunEnded)
    assert ended.state == "complete"
    assert ended.charge_ah == pytest.approx(tank_rig.supply.truth().charge_ah, rel=1e-3)
    assert abs(copper_error(tank_rig)) < 1e-3
    assert ended.thickness_um == pytest.approx(0.3, rel=2e-3)


def test_hold_and_resume_lose_nothing(tank_rig, over):
    start(tank_rig)
    hold = tank_rig.order(Act.HOLD, 60.0)
    resume = tank_rig.order(Act.RESUME, 400.0)
    assert tank_rig.run(over)
    assert (hold.error, resume.error) == (None, None)
    (ended,) = tank_rig.recorded(RunEnded)
    assert ended.state == "complete"
    assert ended.charge_ah == pytest.approx(tank_rig.supply.truth().charge_ah, rel=1e-3)
    assert ended.elapsed_s > ended.running_s + 330


def test_no_current_flows_while_held(tank_rig):
    start(tank_rig)
    tank_rig.order(Act.HOLD, 60.0)
    seen = []
    tank_rig.at(62.0, lambda: seen.append(tank_rig.supply.truth()))
    tank_rig.at(300.0, lambda: seen.append(tank_rig.supply.truth()))
    tank_rig.run(most_s=310.0)
    assert seen[0].current_a < 1e-6
    assert seen[0].charge_ah == pytest.approx(seen[1].charge_ah)
    assert seen[0].charge_ah > 0


@pytest.mark.parametrize(("act", "state"), [(Act.STOP, State.STOPPED), (Act.ABORT, State.ABORTED)])
def test_a_person_ends_the_run(tank_rig, over, act, state):
    start(tank_rig)
    tank_rig.order(act, 70.0)
    tank_rig.run(over)
    (ended,) = tank_rig.recorded(RunEnded)
    assert (ended.state, tank_rig.situation.state) == (state.value, state)
    assert "Ann" in ended.reason
    assert tank_rig.supply.truth().current_a < 1e-3
    assert ended.charge_ah == pytest.approx(tank_rig.supply.truth().charge_ah, rel=2e-3)


# What goes into the record.


def test_the_record_gets_a_run_in_order(tank_rig, over):
    start(tank_rig)
    tank_rig.run(over)
    kinds = [type(entry) for entry in tank_rig.entries]
    (opened,) = tank_rig.recorded(RunOpened)
    (ended,) = tank_rig.recorded(RunEnded)
    assert kinds.index(RunOpened) < kinds.index(Sample)
    assert kinds.index(RunEnded) > max(i for i, kind in enumerate(kinds) if kind is Sample)
    assert (opened.run_id, opened.bath, opened.title, opened.who) == (7, "bath", "Short", "Ann")
    assert opened.plan == SHORT
    assert (opened.metal, opened.area_dm2, opened.target_um) == ("Cu", 1.8, 0.3)
    stages = tank_rig.recorded(StageEnded)
    assert [(s.index, s.name, s.ended_by) for s in stages] == [
        (0, "strike", "duration"),
        (1, "build", "target"),
    ]
    assert sum(s.charge_ah for s in stages) == pytest.approx(ended.charge_ah, rel=1e-3)
    assert stages[0].started_s == 0.0
    assert stages[0].ended_s == stages[1].started_s == pytest.approx(40.0, abs=0.2)


KNOWN = MeterFacts(Correction(1.25, 0.0), MeterDoubt(0.002, 0.001), calibration_id=4)


def test_a_run_keeps_what_it_is_counted_by(rig, over):
    """What is learned during a run is known from the next one on."""
    later = MeterFacts(Correction(1.0, 0.005), MeterDoubt(), calibration_id=5)
    rig.panel.learn("supply", KNOWN)
    start(rig, from_start_s=1.0)
    rig.at(20.0, lambda: rig.panel.learn("supply", later))
    rig.order(Act.STOP, from_start_s=60.0)
    start(rig, from_start_s=65.0)
    rig.order(Act.STOP, from_start_s=70.0)
    rig.run(most_s=80.0)

    first, second = rig.recorded(RunOpened)
    assert first.counted_by == CountedBy("supply", 1.25, 0.0, 4, KNOWN.doubt)
    assert second.counted_by == CountedBy("supply", 1.0, 0.005, 5, later.doubt)
    # The supply reads 2 A in the first run's last stage: 1.6 A by what was known at its start.
    assert max(s.current_a for s in rig.recorded(Sample) if s.run_id == first.run_id) == 1.6


def test_the_baths_temperature_goes_with_each_sample(rig, clock, over):
    """A bath that warms by 0.01 °C each second; its thermometer breaks after 30 s."""
    began_s = clock.now_s
    for k in range(31):
        bath = Seen("the bath", Temperature(began_s + k, 20 + k / 100))
        rig.at(k, Seen("a room", Temperature(began_s + k, 5.0)))
        rig.at(k, bath)
    start(rig, from_start_s=10.0)
    rig.order(Act.STOP, from_start_s=140.0)
    rig.run(over)

    samples = rig.recorded(Sample)
    by_time = {round(s.elapsed_s): s.temperature_c for s in samples}
    assert by_time[10] == pytest.approx(20.2, abs=0.02)
    # Its last word is from 20 s after the run's start.
    assert by_time[75] == 20.3
    assert by_time[85] is None


def test_samples_rise_in_time_and_charge_and_belong_to_the_run(tank_rig, over):
    start(tank_rig)
    tank_rig.run(over)
    samples = tank_rig.recorded(Sample)
    elapsed = [sample.elapsed_s for sample in samples]
    assert elapsed[0] >= 0
    assert all(a < b for a, b in pairwise(elapsed))
    (ended,) = tank_rig.recorded(RunEnded)
    assert samples[-1].charge_ah == pytest.approx(ended.charge_ah)
    assert {sample.run_id for sample in samples} == {7}
    # The strike's ramp, at its middle, is asked for and given.
    at_ten = min(samples, key=lambda sample: abs(sample.elapsed_s - 10.0))
    assert at_ten.set_current_a == pytest.approx(0.25, abs=0.01)
    assert at_ten.current_a == pytest.approx(0.25, abs=0.01)


def test_a_reading_from_before_the_start_is_no_sample(tank_rig):
    start(tank_rig, from_start_s=1.05)
    tank_rig.run(most_s=1.2)
    taken_s = tank_rig.situation.run.started_s - 0.01
    tank_rig.entries.clear()
    tank_rig.loop.cycle(Reading(taken_s, 0.0, 0.0))
    assert not tank_rig.recorded(Sample)


def test_nothing_is_sampled_at_rest(tank_rig):
    tank_rig.run(most_s=20.0)
    assert not tank_rig.recorded(Sample)
    assert not tank_rig.recorded(Noted)


def test_the_set_points_of_a_ramp_are_no_more_than_the_readings(tank_rig, mocker):
    spy = mocker.spy(tank_rig.supply, "set_points")
    start(tank_rig)
    tank_rig.run(most_s=20.0)
    # 20 s of ramp at 10 readings a second.
    assert 150 < spy.call_count <= 205


# Faults.


def test_a_port_lost_while_plating_aborts_with_the_port_in_the_reason(rig, supply, over):
    start(rig)

    def pull():
        supply.faults["read"].append(PortUnavailableError("/dev/x: the port was lost"))

    rig.at(30.0, pull)
    rig.run(over)
    (ended,) = rig.recorded(RunEnded)
    assert ended.state == "aborted"
    assert ended.reason == "device failed: /dev/x: the port was lost"
    assert not supply.on
    # It came back half a second later, and nothing has switched it on again.
    assert supply.said("output_on") == [("output_on",)]


def test_after_a_lost_port_and_a_reset_the_next_run_works(rig, supply):
    start(rig)
    rig.at(
        30.0,
        lambda: supply.faults["read"].append(PortUnavailableError("/dev/x: the port was lost")),
    )
    rig.order(Act.RESET, 40.0)
    second = start(rig, from_start_s=41.0)
    rig.run(until=lambda rig: rig.clock.now_s > 1043 and supply.on, most_s=100.0)
    assert second.error is None
    assert [opened.run_id for opened in rig.recorded(RunOpened)] == [7, 8]
    assert len(supply.said("output_on")) == 2


def test_a_port_lost_at_rest_does_not_keep_the_next_run_from_plating(rig, supply):
    rig.at(
        2.0, lambda: supply.faults["read"].append(PortUnavailableError("/dev/x: the port was lost"))
    )
    started = start(rig, from_start_s=10.0)
    rig.run(until=lambda _: supply.on, most_s=60.0)
    assert started.error is None
    assert rig.recorded("trouble") == ["/dev/x: the port was lost"]
    assert len(supply.said("output_on")) == 1


def test_a_refused_set_point_aborts_the_run_before_it_has_begun(rig, supply, over):
    supply.always["set_points"] = SetPointRefusedError("CURR 0: refused")
    start(rig)
    rig.run(over)
    (ended,) = rig.recorded(RunEnded)
    assert (ended.state, ended.reason) == ("aborted", "device failed: CURR 0: refused")
    assert not supply.said("output_on")


def test_a_supply_that_is_silent_too_long_aborts_and_goes_off(rig, supply, over):
    start(rig)
    rig.at(30.0, lambda: supply.faults["read"].extend([NoReplyError("silence")] * 40))
    rig.run(over)
    (ended,) = rig.recorded(RunEnded)
    assert ended.state == "aborted"
    assert "reading lost" in ended.reason
    assert not supply.on
    assert rig.recorded("reply missing") == ["silence"]


def test_a_few_lost_replies_cost_nothing(rig, supply, over):
    start(rig)
    rig.at(30.0, lambda: supply.faults["read"].extend([NoReplyError("silence")] * 4))
    rig.run(over)
    (ended,) = rig.recorded(RunEnded)
    assert ended.state == "complete"
    assert ended.gap_greatest_ah == 0.0


def test_a_supply_that_hangs_for_two_seconds_is_a_gap_with_bounds(rig, supply, over):
    start(rig)

    def hang(seconds):
        supply.takes_s = seconds

    rig.at(60.0, lambda: hang(2.5))
    rig.at(60.5, lambda: hang(0.0))
    rig.run(over)
    (ended,) = rig.recorded(RunEnded)
    assert ended.state == "complete"
    assert ended.gap_least_ah == 0.0
    assert ended.gap_greatest_ah > 0.0
    assert rig.recorded("gap")


def test_an_output_that_stays_on_is_alarmed_and_tried_again(rig, supply, over):
    start(rig)
    supply.always["output_off"] = NoReplyError("silence")
    rig.order(Act.ABORT, 30.0)
    rig.at(60.0, supply.always.clear)
    rig.run(over)
    assert len(rig.recorded("output did not stop")) >= 3
    assert not supply.on
    assert rig.situation.state is State.ABORTED


def test_an_output_that_comes_on_by_itself_at_rest_is_switched_off(rig, supply):
    def hand_on_the_panel():
        supply.on, supply.current_a = True, 1.0

    rig.at(5.0, hand_on_the_panel)
    rig.run(most_s=15.0)
    assert not supply.on
    assert len(rig.recorded("output did not stop")) == 1


def test_a_trouble_tells_the_worker_off_once_more(rig):
    sent = []
    rig.worker.demand = sent.append
    rig.loop.cycle(Trouble("gone"))
    assert [demand.output_on for demand in sent] == [False]


def test_missing_replies_are_noted_with_the_run(rig):
    rig.at(0.1, Missed("nothing came at rest"))
    start(rig)
    rig.at(1.0, Missed("nothing came in time"))
    rig.run(most_s=2.0)
    notes = [entry for entry in rig.recorded(Noted) if entry.kind == "reply missing"]
    assert [(note.text, note.run_id) for note in notes] == [
        ("nothing came at rest", None),
        ("nothing came in time", 7),
    ]


# Several meters.


class Shunt:
    """A meter in the tank's circuit: shows `gain` times the true current, and fails in `faults`.

    `always` is a failure that stays.
    """

    def __init__(self, supply, clock, gain=1.0):
        self._supply = supply
        self._clock = clock
        self.gain = gain
        self.read_s = []
        self.faults = deque()
        self.always = None

    def open(self):
        """Nothing to open."""

    def close(self):
        """Nothing to close."""

    def read(self):
        fault = self.faults.popleft() if self.faults else self.always
        if fault is not None:
            raise fault
        self.read_s.append(self._clock.now_s)
        return Reading(self._clock.now_s, self.gain * self.true_a(), None)

    def true_a(self):
        if isinstance(self._supply, SimulatedSupply):
            return self._supply.truth().current_a
        return self._supply.current_a if self._supply.on else 0.0


class Thermometer(Shunt):
    def read(self):
        return Temperature(self._clock.now_s, 24.5)


DOUBT = MeterDoubt(gain=0.01, offset_a=0.01)
LOST = PortUnavailableError("curr1_input: the chip was taken away")


@pytest.fixture
def shunt(supply, clock):
    return Shunt(supply, clock)


@pytest.fixture
def shunt_rig(supply, shunt, new_rig):
    """The daemon's inside with a shunt that counts, on a scripted supply."""
    return new_rig(supply, meters={"shunt": shunt}, doubt=DOUBT)


def test_the_shunt_counts_while_the_supply_gives_the_voltage(clock, tank_rig, new_rig, over):
    """A supply that shows 3 % too little beside a shunt that is right."""
    tank = tank_rig.supply
    true = tank.bench.supply.measure

    def low():
        seen = true()
        return seen._replace(current_a=0.97 * seen.current_a)

    tank.bench.supply.measure = low
    rig = new_rig(tank, rating=tank.rating, meters={"shunt": Shunt(tank, clock)}, doubt=DOUBT)
    start(rig)
    assert rig.run(over)
    (ended,) = rig.recorded(RunEnded)
    assert ended.state == "complete"
    assert ended.charge_ah == pytest.approx(tank.truth().charge_ah, rel=1e-3)
    samples = rig.recorded(Sample)
    plating = [sample for sample in samples if sample.elapsed_s > 60 and sample.set_current_a > 1.9]
    assert all(sample.current_a == pytest.approx(2.0, abs=0.02) for sample in plating[2:-5])
    assert all(sample.voltage_v > 0.3 for sample in plating[2:-5])


def test_an_end_is_met_by_the_shunt_s_own_reading(shunt_rig, shunt, over):
    """It is read at the moment of the target, and not only on its grid."""
    start(shunt_rig)
    shunt_rig.run(over)
    (ended,) = shunt_rig.recorded(RunEnded)
    assert ended.state == "complete"
    # The jump from 2 A to none lies somewhere within a tenth of a second: 0.06 % of 181 A·s.
    assert ended.thickness_um == pytest.approx(0.3, rel=6e-4)
    off_grid = [at_s for at_s in shunt.read_s if abs(10 * at_s - round(10 * at_s)) > 1e-3]
    assert any(abs(at_s - 1000.2 - ended.elapsed_s) < 0.2 for at_s in off_grid)


def test_a_stage_s_voltage_is_the_supply_s_where_the_shunt_has_none(shunt_rig, over):
    until = '{ cell_voltage_below = "1.5 V", duration = "40 min" }'
    start(shunt_rig, SHORT.replace('{ duration = "40 s" }', until))
    shunt_rig.run(over)
    first, _ = shunt_rig.recorded(StageEnded)
    # The scripted supply shows 1 V; it has to be there for 3 s at full current.
    assert first.ended_by == "cell voltage"
    assert first.ended_s == pytest.approx(23.0, abs=0.5)


def test_a_counting_meter_that_is_lost_aborts_the_run_although_the_supply_reads_well(
    shunt_rig, shunt, supply, over
):
    start(shunt_rig)
    shunt_rig.at(30.0, lambda: setattr(shunt, "always", LOST))
    shunt_rig.run(over)
    (ended,) = shunt_rig.recorded(RunEnded)
    assert ended.state == "aborted"
    assert ended.reason.startswith("reading lost: the newest is 3.")
    assert 32.5 < ended.elapsed_s < 33.5
    assert not supply.on
    assert shunt_rig.recorded("meter unread") == [str(LOST)]
    # By the supply's own meter the current is seen gone; what passed unseen has its bounds.
    assert not shunt_rig.recorded("output did not stop")
    assert ended.gap_greatest_ah == pytest.approx(3.2 * 0.5 / 3600, rel=0.1)


def test_with_the_counting_meter_lost_an_output_that_stays_on_is_still_told(
    shunt_rig, shunt, supply
):
    start(shunt_rig)
    shunt_rig.at(30.0, lambda: setattr(shunt, "always", LOST))
    supply.always["output_off"] = NoReplyError("silence")
    shunt_rig.run(until=lambda rig: rig.recorded("output did not stop"), most_s=60.0)
    assert "the supply says that it is still on" in shunt_rig.recorded("output did not stop")[0]


def test_nothing_is_started_while_the_counting_meter_is_lost(shunt_rig, shunt):
    shunt_rig.at(2.0, lambda: setattr(shunt, "always", LOST))
    refused = start(shunt_rig, from_start_s=10.0)
    shunt_rig.run(most_s=11.0)
    assert refused.error.startswith("the newest reading is 8.")


def test_a_counting_meter_that_comes_back_soon_is_a_gap(shunt_rig, shunt, over):
    start(shunt_rig)
    shunt_rig.at(60.0, lambda: shunt.faults.extend([NoReplyError("no value")] * 15))
    shunt_rig.run(over)
    (ended,) = shunt_rig.recorded(RunEnded)
    assert ended.state == "complete"
    # 15 readings of 0.1 s at 2 A were missed: 1.6 s.
    assert ended.gap_greatest_ah == pytest.approx(3.2 / 3600, rel=0.01)
    assert len(shunt_rig.recorded("gap")) == 1


def test_a_supply_that_is_silent_while_the_shunt_counts_aborts_with_words(shunt_rig, supply, over):
    start(shunt_rig)
    shunt_rig.at(30.0, lambda: supply.always.update(read=NoReplyError("silence")))
    shunt_rig.run(over)
    (ended,) = shunt_rig.recorded(RunEnded)
    assert ended.state == "aborted"
    assert ended.reason.startswith("device failed: the supply is silent: its newest reading is 3.")
    assert shunt_rig.raised() == ["device failed"]
    # By the shunt the current is seen gone, though the supply says nothing.
    assert not supply.on
    assert 32.5 < ended.elapsed_s < 33.5


def test_a_supply_silent_at_rest_is_not_started_nor_resumed(shunt_rig, supply):
    shunt_rig.at(2.0, lambda: supply.always.update(read=NoReplyError("silence")))
    refused = start(shunt_rig, from_start_s=10.0)
    shunt_rig.at(11.0, supply.always.clear)
    begun = start(shunt_rig, from_start_s=12.0)
    shunt_rig.order(Act.HOLD, 20.0)
    shunt_rig.at(30.0, lambda: supply.always.update(read=NoReplyError("silence")))
    resumed = shunt_rig.order(Act.RESUME, 40.0)
    states = []
    shunt_rig.at(44.0, lambda: states.append(shunt_rig.situation.state))
    shunt_rig.run(most_s=45.0)
    assert refused.error.startswith("the supply is silent: its newest reading is 8.")
    assert begun.error is None
    assert resumed.error.startswith("the supply is silent")
    assert states == [State.HELD]
    assert not shunt_rig.recorded("trouble")


def test_a_supply_of_which_nothing_was_read_yet_is_not_started(shunt_rig, supply):
    supply.always["read"] = NoReplyError("silence")
    refused = start(shunt_rig)
    shunt_rig.run(most_s=1.0)
    assert refused.error == "the supply is silent: nothing was read from it yet"


def test_an_output_that_the_supply_says_is_on_is_seen_by_a_shunt_without_current(shunt_rig, supply):
    """A cell without contact: the shunt reads nothing, the supply knows better."""
    shunt_rig.at(5.0, lambda: setattr(supply, "on", True))
    shunt_rig.run(until=lambda rig: rig.recorded("output did not stop"), most_s=20.0)
    (text,) = shunt_rig.recorded("output did not stop")
    assert "the supply says that it is still on" in text


def test_meters_that_disagree_are_one_alarm_that_comes_again(shunt_rig, shunt, supply, over):
    start(shunt_rig, SHORT.replace('"0.3 µm"', '"0.8 µm"'))
    shunt_rig.at(60.0, lambda: setattr(shunt, "gain", 1.09))
    shunt_rig.at(100.0, lambda: setattr(shunt, "gain", 1.0))
    shunt_rig.at(110.0, lambda: setattr(shunt, "gain", 0.91))
    shunt_rig.run(until=lambda rig: rig.clock.now_s > 1150.0, most_s=200.0)
    (raised,) = [e for e in shunt_rig.recorded(AlarmRaised) if e.cause == "meters disagree"]
    assert raised.run_id == 7
    assert raised.seen.startswith("shunt reads 2.180 A, supply 2.000 A: 0.180 A apart")
    assert (raised.figures["shunt"], raised.figures["supply"]) == pytest.approx((2.18, 2.0))
    changes = [e for e in shunt_rig.recorded(AlarmChanged) if e.number == raised.number]
    assert [change.what for change in changes[:2]] == ["returned", "raised again"]
    moments = [raised.monotonic_s, *(change.monotonic_s for change in changes[:2])]
    assert moments == pytest.approx([1071.0, 1101.0, 1121.0], abs=1.6)


def test_what_a_look_at_the_ripple_explains_is_no_disagreement(shunt_rig, shunt):
    raised = []
    start(shunt_rig, SHORT.replace('"0.3 µm"', '"0.8 µm"'))
    shunt_rig.at(60.0, lambda: setattr(shunt, "gain", 1.09))
    shunt_rig.at(61.0, RippleSeen("shunt", 1061.0, Ripple(9.0, 18.0)))
    shunt_rig.at(100.0, lambda: raised.append(shunt_rig.raised()))
    # The rectifier is mended, and what is left is the meter's.
    shunt_rig.at(101.0, RippleSeen("shunt", 1101.0, NotMeasured.TOO_FEW))
    shunt_rig.at(120.0, lambda: raised.append(shunt_rig.raised()))
    shunt_rig.run(most_s=121.0)
    assert raised == [[], ["meters disagree"]]


def test_meters_that_agree_are_no_alarm_on_ramps_and_steps(shunt_rig, over):
    start(shunt_rig)
    shunt_rig.order(Act.HOLD, 60.0)
    shunt_rig.order(Act.RESUME, 80.0)
    shunt_rig.run(over)
    assert shunt_rig.situation.state is State.COMPLETE
    assert shunt_rig.raised() == []


def test_the_newest_temperature_is_kept_by_its_name_and_counts_for_nothing(
    supply, clock, new_rig, over
):
    meters = {"shunt": Shunt(supply, clock), "bath": Thermometer(supply, clock)}
    rig = new_rig(supply, meters=meters)
    start(rig)
    rig.run(over)
    assert rig.situation.state is State.COMPLETE
    assert list(rig.loop.temperatures) == ["bath"]
    kept = rig.loop.temperatures["bath"]
    assert kept.temperature_c == 24.5
    assert clock.now_s - kept.monotonic_s < 0.3


def test_a_plan_is_held_against_the_doubt_of_what_counts(shunt_rig):
    assert shunt_rig.loop.doubt == DOUBT
    start(shunt_rig)
    shunt_rig.run(most_s=1.0)
    assert shunt_rig.situation.run.doubt == DOUBT


# Clocks and the bath.


def test_a_step_of_the_wall_clock_is_an_event_and_changes_no_figure(tank_rig, clock, over):
    start(tank_rig)

    def step_back():
        clock.wall_offset_s = -3600.0

    tank_rig.at(60.0, step_back)
    tank_rig.run(over)
    (text,) = tank_rig.recorded("clock stepped")
    assert "-3600.0 s" in text
    (ended,) = tank_rig.recorded(RunEnded)
    assert ended.state == "complete"
    assert ended.charge_ah == pytest.approx(tank_rig.supply.truth().charge_ah, rel=1e-3)


def test_a_slewed_wall_clock_is_no_event(tank_rig, clock):
    def slew():
        clock.wall_offset_s += 0.0005

    for second in range(1, 100):
        tank_rig.at(second, slew)
    tank_rig.run(most_s=100.0)
    assert not tank_rig.recorded("clock stepped")


def test_the_bath_has_the_charge_of_a_run_once_it_is_over(tank_rig, over):
    assert tank_rig.loop.view.bath_charge_ah == 10.0
    start(tank_rig)
    tank_rig.run(over)
    (ended,) = tank_rig.recorded(RunEnded)
    assert tank_rig.loop.view.bath_charge_ah == pytest.approx(10.0 + ended.charge_ah)


def test_an_event_outside_of_any_run_is_noted_without_one(rig):
    rig.loop.note(Event("run interrupted", "the daemon stopped", {"run": 3}))
    (note,) = rig.recorded(Noted)
    assert (note.run_id, note.kind, note.data) == (None, "run interrupted", {"run": 3})


# A run that was foretold.


LONG = SHORT.replace("0.3 µm", "10 µm").replace("1 Ah", "3 Ah")
"""About 41 min at 2 A."""


def foretelling(run_id, volts):
    """What a run was foretold: this voltage, ± 0.1 V, wherever it is."""
    rows = [Row(stage, 0.0, volts - 0.1, volts + 0.1, 0.0, 99.0) for stage in range(3)]
    return Foretold(run_id, Outlook(run_id, rows), Event("foretold", "would work"))


def test_a_run_off_its_rehearsal_is_told_and_goes_on(tank_rig, over):
    start(tank_rig, LONG)
    tank_rig.at(70.0, foretelling(7, 3.0))
    seen = []
    tank_rig.at(600.0, lambda: seen.append(tank_rig.loop.off_rehearsal))
    assert tank_rig.run(over)
    (told,) = tank_rig.recorded("off the rehearsal")
    assert told.startswith("voltage ")
    assert told.endswith("2.90 to 3.10 V was foretold")
    assert seen == [told]
    assert tank_rig.recorded("foretold") == ["would work"]
    (ended,) = tank_rig.recorded(RunEnded)
    assert ended.state == "complete"
    assert tank_rig.raised() == []
    assert tank_rig.loop.off_rehearsal is None


def test_what_another_run_was_foretold_is_nobodys(tank_rig, over):
    start(tank_rig, LONG)
    tank_rig.at(70.0, foretelling(6, 3.0))
    assert tank_rig.run(over)
    assert tank_rig.recorded("foretold") == []
    assert tank_rig.recorded("off the rehearsal") == []
