"""What the doubt of a thickness is made of; the figures were worked out by hand."""

import pytest

from daemon.api.runs.causes import LABELS, causes
from daemon.api.socket.messages import RunStatus, ShareStatus
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.control.charge import Count
from daemon.control.doubt import thickness_doubt
from daemon.control.plan import Plan
from daemon.control.situation import Run


def run_with(u95_um, **u_um):
    doubt = tuple(ShareStatus(name=name, u_um=u) for name, u in u_um.items())
    return RunStatus.model_construct(thickness_u95_um=u95_um, doubt=doubt)


def test_the_causes_stand_biggest_first_with_their_shares():
    found = causes(run_with(1.0, gain=0.3, noise=1e-4, area=0.4, clock=0.0))
    assert [cause.label for cause in found] == ["the plated area", "the meter's gain"]
    # 0.3² and 0.4² of 0.5².
    assert [cause.share for cause in found] == pytest.approx([0.64, 0.36], abs=1e-6)
    assert [cause.part_um for cause in found] == pytest.approx([0.8, 0.6], abs=1e-6)


def test_a_cause_without_a_name_of_ours_keeps_its_own():
    assert [cause.label for cause in causes(run_with(1.0, weather=0.5))] == ["weather"]


@pytest.mark.parametrize("doubt", [{}, {"gain": 0.0, "area": 0.0}])
def test_where_nothing_is_in_doubt_there_is_no_cause(doubt):
    assert causes(run_with(0.0, **doubt)) == ()


@pytest.mark.parametrize("covariance_a", [0.0, 1e-6])
def test_every_cause_that_is_counted_has_words(covariance_a, mocker):
    plan = mocker.Mock(spec=Plan, area_u=0.02, efficiency_u=0.01)
    run = Run(1, plan, 0.0, 7.35, 3.4, MeterDoubt(covariance_a=covariance_a))
    budget = thickness_doubt(run, Count.from_reading(0.0, 1.0))
    assert {share.name for share in budget.shares} <= LABELS.keys()
