"""A plan's course against sums made by hand."""

import pytest

from daemon.api.plans.course import plan_course
from daemon.api.plans.file import read_plan
from daemon.control.feasibility import course

# Copper(II): 1.18549 g/Ah, 8.96 g/cm³ (CRC Handbook): on 1 dm² 13.2309 µm for each Ah.
UM_PER_AH = 1.18549 / 8.96 * 100

PLAN = """
title = "Plate"
area = "1 dm²"
target = "20 µm"
voltage_ceiling = "6 V"
caps = { charge = "10 Ah", duration = "10 h" }
[[stage]]
name = "strike"
current = "0.5 A"
ramp = "10 min"
until = { duration = "30 min", cell_voltage_below = "0.9 V" }
[[stage]]
name = "build"
current_density = "2 A/dm²"
ramp = "15 min"
until = { charge = "0.5 Ah" }
[[stage]]
name = "level"
current = "1 A"
"""


def found(text=PLAN):
    plan = read_plan(text, "plan")
    return plan_course(plan, course(plan))


def test_stages_follow_one_another_as_by_hand():
    way = found()
    strike, build, level = way.stages
    # 10 min up to 0.5 A, 20 min at it: 0.5/2/6 + 0.5/3 Ah.
    assert strike.charge_ah == pytest.approx(0.5 / 12 + 0.5 / 3, rel=1e-9)
    assert (strike.begins_s, strike.ends_s, strike.ended_by) == (0.0, 1800.0, "duration")
    assert strike.sooner_below_v == 0.9
    # From 0.5 to 2 A in 15 min: 1.25 A · 0.25 h = 0.3125 Ah; 0.1875 Ah more at 2 A.
    assert build.from_a == 0.5
    assert build.ended_by == "charge"
    assert build.ends_s - build.begins_s == pytest.approx(900 + 0.1875 / 2 * 3600, rel=1e-9)
    assert build.to_um == pytest.approx((strike.charge_ah + 0.5) * UM_PER_AH, rel=1e-4)
    assert (level.ended_by, level.to_um) == ("target", pytest.approx(20.0, rel=1e-9))
    assert way.charge_ah == pytest.approx(20 / UM_PER_AH, rel=1e-4)
    assert way.duration_s == level.ends_s
    assert way.reached


def test_the_line_goes_through_what_the_stages_say():
    way = found()
    points = list(zip(way.times_s, way.current_a, way.thickness_um, strict=True))
    assert points[0] == (0.0, 0.0, 0.0)
    assert (600.0, 0.5) in [(t, a) for t, a, _ in points]
    # Where the third stage begins, at once, the current jumps: two points of one moment.
    at_s = way.stages[2].begins_s
    assert {a for t, a, _ in points if t == at_s} == {2.0, 1.0}
    assert list(way.times_s) == sorted(way.times_s)
    assert list(way.thickness_um) == sorted(way.thickness_um)
    # Half of the ramp gives a quarter of its charge.
    (half,) = {um for t, _, um in points if t == 300.0}
    assert half == pytest.approx(0.5 / 12 / 4 * UM_PER_AH, rel=1e-4)


def test_a_target_out_of_reach_is_drawn_as_far_as_it_goes():
    last = 'name = "level"\ncurrent = "1 A"\nuntil = { duration = "1 min" }'
    way = found(PLAN.replace('name = "level"\ncurrent = "1 A"', last))
    assert not way.reached
    assert way.thickness_um[-1] < 20.0
    assert way.stages[2].ended_by == "duration"


def test_as_sure_as_the_plan_wants_it_takes_longer():
    sure = found(PLAN.replace("target =", 'confidence = "95 %"\ntarget ='))
    assert sure.thickness_um[-1] > 20.5
    hopeless = PLAN.replace("target =", 'confidence = "95 %"\narea_uncertainty = "90 %"\ntarget =')
    way = found(hopeless)
    assert not way.reached
    assert way.thickness_um[-1] == pytest.approx(20.0)


def test_what_has_no_figures_is_not_drawn():
    assert found(PLAN.replace('"20 µm"', '"1e308 µm"')) is None
