"""Every refusal of a plan, with its words and its units."""

from dataclasses import replace

import pytest

from daemon.control.feasibility import misfits, problems
from daemon.control.situation import Carried
from drivers.contracts import Rating

RATING = Rating(current_a=10.0, voltage_v=15.0, current_step_a=0.01, voltage_step_v=0.05)


def test_a_plan_that_can_work_has_no_problems(plan, stage):
    assert problems(plan(stage(10.0, ceiling_v=15.0), target_ah=5.0), RATING) == []


def test_the_limits_themselves_are_allowed(plan, stage):
    whole = plan(
        stage(0.01, ceiling_v=0.05), target_ah=0.01, charge_cap_ah=0.01, duration_cap_s=3600
    )
    assert problems(whole, RATING) == []


@pytest.mark.parametrize(
    ("current_a", "ceiling_v", "words"),
    [
        (12.0, 4.0, "asks for 12 A, at most 10 A can be given and measured"),
        (10.0001, 4.0, "asks for 10.0001 A, at most 10 A can be given and measured"),
        (0.009, 4.0, "asks for 0.009 A, less than the supply's smallest step of 0.01 A"),
        (0.0, 4.0, "asks for 0 A, less than the supply's smallest step of 0.01 A"),
        (-1.0, 4.0, "asks for -1 A, less than the supply's smallest step of 0.01 A"),
        (2.0, 15.002, "voltage ceiling 15.002 V, the supply gives at most 15 V"),
        (2.0, 0.0, "voltage ceiling 0 V, less than the supply's smallest step of 0.05 V"),
    ],
)
def test_what_the_supply_cannot_do(plan, stage, current_a, ceiling_v, words):
    whole = plan(stage(1.0, duration_s=60.0), stage(current_a, ceiling_v=ceiling_v, name="build"))
    assert problems(whole, RATING) == [f"stage 2, 'build': {words}"]


def test_every_problem_of_every_stage_is_told(plan, stage):
    whole = plan(stage(20.0, ceiling_v=30.0), stage(11.0, name="second"))
    found = problems(whole, RATING)
    assert [text.split(":")[0] for text in found] == [
        "stage 1, 'plate'",
        "stage 1, 'plate'",
        "stage 2, 'second'",
    ]


@pytest.mark.parametrize(
    ("until", "ends_at"),
    [
        ({"charge_ah": 0.4}, "0.4"),
        ({"thickness_um": 0.75}, "0.75"),
        ({"duration_s": 900.0}, "0.5"),
        ({"duration_s": 900.0, "charge_ah": 0.2, "thickness_um": 0.3}, "0.2"),
    ],
)
def test_a_target_that_the_stages_do_not_reach(plan, stage, until, ends_at):
    found = problems(plan(stage(2.0, **until), target_ah=1.0), RATING)
    assert found == [f"target 1 µm is out of reach: the stages end at {ends_at} µm"]


def test_a_target_above_the_cap_on_charge(plan, stage):
    found = problems(plan(stage(2.0), target_ah=1.25, charge_cap_ah=1.0), RATING)
    assert found == ["target 1.25 µm needs 1.25 Ah, the cap on charge is 1 Ah"]


def test_a_target_that_takes_longer_than_the_cap_on_time(plan, stage):
    # 0.5 Ah at 2 A is a quarter of an hour; the ramp of 10 min costs half of itself.
    whole = plan(stage(2.0, ramp_s=600.0), target_ah=0.5, duration_cap_s=900.0)
    assert problems(whole, RATING) == [
        "target 0.5 µm needs 0.333333 h at the stages' currents, the cap on time is 0.25 h"
    ]
    assert problems(replace(whole, duration_cap_s=1200.0), RATING) == []


def test_both_caps_are_told(plan, stage):
    found = problems(plan(stage(2.0), target_ah=2.0, charge_cap_ah=1.0, duration_cap_s=60), RATING)
    assert len(found) == 2


def test_a_part_that_has_its_thickness_already_is_not_plated(plan, stage):
    # 1 Ah and half of a gap's 0.5 Ah, where each is a micrometre.
    done = Carried(charge_ah=1.0, gap_greatest_ah=0.5)
    found = problems(plan(stage(2.0), target_ah=1.25), RATING, carried=done)
    assert found == ["1.25 µm are on the part, the target is 1.25 µm"]
    assert problems(plan(stage(2.0), target_ah=1.3), RATING, carried=done) == []


def test_a_part_whose_stages_are_all_done_is_not_plated(plan, stage):
    whole = plan(stage(1.0, duration_s=60.0), stage(2.0))
    found = problems(whole, RATING, carried=Carried(charge_ah=0.5, stage=2))
    assert found == ["all 2 stages are done on this part"]
    assert problems(whole, RATING, carried=Carried(charge_ah=0.5, stage=1)) == []


def test_each_problem_names_the_line_of_the_plan_that_it_is_about(plan, stage):
    beyond = plan(stage(20.0, ceiling_v=30.0), stage(0.001, ceiling_v=0.01))
    assert [each.key for each in misfits(beyond, RATING)] == [
        "stage[1].current",
        "stage[1].voltage_ceiling",
        "stage[2].current",
        "stage[2].voltage_ceiling",
    ]
    short = plan(stage(2.0), target_ah=2.0, charge_cap_ah=1.0, duration_cap_s=60)
    assert [each.key for each in misfits(short, RATING)] == ["caps.charge", "caps.duration"]
    never = plan(stage(2.0, duration_s=60.0), target_ah=2.0)
    assert [each.key for each in misfits(never, RATING)] == ["target"]


def test_an_end_by_voltage_is_not_counted_upon(plan, stage):
    assert problems(plan(stage(2.0, cell_voltage_below_v=1.0), target_ah=1.0), RATING) == []
