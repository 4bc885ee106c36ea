"""A few trials of the campaign that kills the daemon at random moments, and what it would find."""

import importlib
import sys
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import pytest

CAMPAIGN = Path(__file__).parents[1] / "campaign"


@pytest.fixture(scope="module")
def kills():
    """The campaign, tests/campaign/kills.py."""
    sys.path.insert(0, str(CAMPAIGN))
    try:
        yield importlib.import_module("kills")
    finally:
        sys.path.remove(str(CAMPAIGN))
        for name in ("kills", "kill_rig"):
            sys.modules.pop(name, None)


@pytest.fixture
def rig(kills, tmp_path):
    with ExitStack() as stack:
        yield kills.Rig(tmp_path, stack)


def test_killed_at_any_moment_it_leaves_a_dead_tank_and_a_record_that_is_right(kills, rig):
    trials = [("start", kills.ALL, 0.7), ("plating", kills.LOOP, 0.5), ("resume", kills.ALL, 0.9)]
    done = []
    for number, (phase, victim, delay_s) in enumerate(trials):
        done.append(kills.trial(rig, kills.Kill(number, victim, phase, delay_s)))
    assert [outcome.faults for outcome in done] == [[], [], []]
    assert [outcome.state for outcome in done[1:]] == ["aborted", "aborted"]
    # Current flowed for longer than a period, and the record does not know all of what passed.
    assert done[1].current_a > 1.9
    assert done[1].true_ah > 2.0 * 0.1 / 3600
    assert done[1].width_ah > 0


def test_a_contactor_that_does_not_let_go_is_found(kills, rig, monkeypatch):
    monkeypatch.setattr(rig.contactor, "lets_go_s", 1.5)
    outcome = kills.trial(rig, kills.Kill(1, kills.ALL, "plating", 0.1))
    (fault,) = outcome.faults
    assert fault.startswith("current was still there 1.")


@pytest.mark.parametrize(
    ("wrong", "fault"),
    [
        ({"last_edge_s": 0.06}, "an edge 0.060 s after the kill"),
        ({"gone_s": 0.6}, "current was still there 0.600 s after the kill"),
        ({"lost_s": 1.2}, "1.200 s of readings are lost"),
        ({"true_ah": 0.0109}, "0.010900 Ah are not within 0.011000 to 0.012000 Ah"),
        ({"true_ah": 0.0121}, "0.012100 Ah are not within 0.011000 to 0.012000 Ah"),
    ],
)
def test_what_is_not_as_it_has_to_be_is_told(kills, wrong, fault):
    good = kills.Outcome(
        kills.Kill(1, kills.LOOP, "plating", 0.5), current_a=2.0, gone_s=0.02, last_edge_s=-0.01,
        true_ah=0.0115, state="aborted", lost_s=0.9, least_ah=0.011, greatest_ah=0.012,
    )  # fmt: skip
    kills.judge(good)
    assert good.faults == []
    bad = replace(good, faults=[], **wrong)
    kills.judge(bad)
    assert bad.faults == [fault]


def test_a_trial_is_drawn_from_its_seed_and_number_alone(kills):
    drawn = [kills.draw(7, number) for number in range(1, 301)]
    assert drawn[::-1] == [kills.draw(7, number) for number in range(300, 0, -1)]
    assert {kill.phase for kill in drawn} == set(kills.PHASES)
    assert {kill.victim for kill in drawn} == {kills.LOOP, kills.ALL}
