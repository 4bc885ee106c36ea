"""The campaign on real processes: two of its trials, and that what is wrong is told."""

from contextlib import ExitStack
from dataclasses import replace
from types import SimpleNamespace

import pytest
import stack
from stack import GUARD, LOOP, PAGE, Blow, Seen, Stack, Trial


@pytest.fixture
def daemon(tmp_path):
    with ExitStack() as done:
        try:
            yield Stack(tmp_path, done)
        except PermissionError as error:
            pytest.skip(f"needs the right to mount: {error}")


def test_struck_attacked_and_without_room_it_leaves_a_dead_tank_and_an_honest_record(daemon):
    hung = Trial(1, (Blow(1.0, PAGE, "kill"), Blow(2.0, LOOP, "stop", 4.0)), (0.5, 1.5))
    killed = Trial(2, (Blow(1.5, GUARD, "kill"), Blow(1.6, LOOP, "kill")), (1.0, 2.5))
    done = [daemon.trial(trial, seed=1) for trial in (hung, killed)]
    assert [seen.faults for seen in done] == [[], []]
    assert [seen.run.state for seen in done] == ["aborted", "aborted"]
    assert [seen.interrupted for seen in done] == [True, True]
    # Current flowed, and the record does not know all of what passed.
    assert all(seen.true_ah > 0.0 and seen.greatest_ah > seen.least_ah for seen in done)


TRIAL = Trial(1, (Blow(1.0, LOOP, "kill"),), (0.0, 1.0))
RUN = SimpleNamespace(id=1, state="aborted", reason="killed", charge_ah=0.011)
GOOD = Seen(
    TRIAL, RUN, runs=1, interrupted=True, alive_s=20.0, known_s=19.0, full_s=(10.0, 11.0),
    true_ah=0.0115, least_ah=0.011, greatest_ah=0.012, posted_ah=0.011,
)  # fmt: skip


@pytest.mark.parametrize(
    ("wrong", "fault"),
    [
        ({"runs": 2}, "1 runs began that nobody had asked for"),
        ({"run": None}, "a start was answered, and the record knows nothing of the run"),
        (
            {"run": SimpleNamespace(**(vars(RUN) | {"state": "running"}))},
            "the run is running at the end",
        ),
        (
            {"trial": replace(TRIAL, blows=(Blow(1.0, PAGE, "kill"),))},
            "the run was interrupted, and nobody was struck: killed",
        ),
        ({"known_s": 18.5}, "1.500 s of readings are lost"),
        ({"true_ah": 0.0109}, "0.010900 Ah are not within 0.011000 to 0.012000 Ah, to 0.000077 Ah"),
        ({"true_ah": 0.0121}, "0.012100 Ah are not within 0.011000 to 0.012000 Ah, to 0.000080 Ah"),
        ({"posted_ah": 0.012}, "0.012000000 Ah in the account, not 0.011000000 Ah"),
    ],
)
def test_what_is_not_as_it_has_to_be_is_told(wrong, fault):
    good = replace(GOOD, faults=[])
    stack.judge(good)
    assert good.faults == []
    bad = replace(GOOD, faults=[], **wrong)
    stack.judge(bad)
    assert bad.faults == [fault]


def test_what_a_full_disk_refused_is_not_lost_by_the_daemon():
    refused = replace(GOOD, faults=[], known_s=13.0, full_s=(13.5, 30.0))
    stack.judge(refused)
    assert refused.faults == []
    assert refused.lost_s == pytest.approx(0.5)


def test_a_trial_is_drawn_from_its_seed_and_number_alone():
    drawn = [stack.draw(7, number) for number in range(1, 301)]
    assert drawn[::-1] == [stack.draw(7, number) for number in range(300, 0, -1)]
    blows = [blow for trial in drawn for blow in trial.blows]
    kinds = {(blow.victim, blow.kind) for blow in blows}
    assert kinds == {(who, how) for who in (GUARD, LOOP, PAGE) for how in stack.SIGNALS}
    assert {trial.full_s is None for trial in drawn} == {True, False}
