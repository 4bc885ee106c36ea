"""The efficiency that weighings taught, as plans get it."""

from contextlib import ExitStack

import pytest

from daemon.api.plans.file import read_plan
from daemon.chemistry.metals import metal_named
from daemon.record.entries import BathEntered
from daemon.record.writer import Writer
from daemon.service.starts.known import known_by
from tests.plates import PLATE as PLAN


def weighing(value, *, counts=True, metal="Cu(II)"):
    details = {
        "metal": metal, "charge_ah": 2.0, "efficiency": value, "u_own": 0.001, "u_common": 0.002,
        "counts": counts,
    }  # fmt: skip
    facts = {"what": "part", "before_g": 50.0, "after_g": 52.3, "details": details}
    return BathEntered("bath A", "weighing", "anna", 0, 0, facts=facts)


@pytest.fixture
def plan(tmp_path):
    """Read a plan as the daemon of a bath does after some weighings; and what it tells."""
    with ExitStack() as stack:
        path = tmp_path / "record.sqlite"
        writer = Writer(path, threaded=False)
        stack.callback(writer.close)

        def read(text, *found, bath="bath A"):
            for entry in found:
                writer.keep_bath_entry(entry)
            told = []
            return read_plan(text, "plan", known_by(path, bath, stack)(told.append)), told

        yield read


THREE = [weighing(value) for value in (0.95, 0.97, 0.96)]
# s = 1 %: Student's 4.303 · √(0.01² − 0.001²) · √(4/3), and 1.960 times 0.1 %/√3 and 0.2 %: 4.96 %.


def test_a_plan_that_gives_none_gets_it_with_its_doubt(plan):
    made, told = plan(PLAN, *THREE)
    assert made.efficiency == pytest.approx(0.96)
    assert made.efficiency_u == pytest.approx(0.0496 / 0.96 / 1.960, rel=3e-3)
    assert told == ["efficiency 96 ± 5 % (95 %) by 3 weighings, since the plan gives none"]


def test_the_plan_s_own_goes_first_and_weighings_that_speak_against_it_are_told(plan):
    made, told = plan('efficiency = "99 %"\n' + PLAN, *THREE)
    assert (made.efficiency, told) == (0.99, [])
    made, told = plan('efficiency = "90 %"\n' + PLAN)
    assert made.efficiency == 0.90
    assert made.efficiency_u == pytest.approx(0.01 / 1.960, rel=1e-3)
    assert told == ["efficiency 90 % by the plan, but 96 ± 5 % (95 %) by 3 weighings"]


def test_the_plan_s_own_doubt_of_it_goes_first(plan):
    made, _ = plan('efficiency_uncertainty = "2 %"\n' + PLAN, *THREE)
    assert made.efficiency == pytest.approx(0.96)
    assert made.efficiency_u == pytest.approx(0.02 / 1.960, rel=1e-3)


def test_weighings_that_agree_above_all_of_it_mean_all_of_it(plan):
    made, told = plan(PLAN, *[weighing(1.01)] * 3)
    assert made.efficiency == 1.0
    assert "efficiency 101" in told[0]


@pytest.mark.parametrize(
    ("found", "more"),
    [
        (THREE[:2], {}),
        ([*THREE[:2], weighing(0.95, counts=False)], {}),
        ([*THREE[:2], weighing(0.95, metal=metal_named("Ni").name)], {}),
        (THREE, {"bath": "bath B"}),
    ],
)
def test_too_few_of_this_bath_and_metal_teach_nothing(plan, found, more):
    made, told = plan(PLAN, *found, **more)
    assert (made.efficiency, told) == (1.0, [])
