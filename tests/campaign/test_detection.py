"""Nights of the detection campaign: plain faults are found, and sound nights are quiet."""

import pytest
from detection import outcome_of
from nights import SOUND

SEEDS = range(900_000, 900_004)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", ["short", "open load", "spike", "lost reading", "output drop"])
def test_a_plain_fault_is_found_and_named(kind, seed):
    outcome = outcome_of((kind, seed))
    assert outcome.is_right
    assert outcome.before == []


@pytest.mark.parametrize("kind", ["part lost, 1 of 8", "whisker", "bad contact"])
def test_most_changes_of_the_cell_are_found(kind):
    outcomes = [outcome_of((kind, seed)) for seed in SEEDS]
    assert sum(outcome.is_right for outcome in outcomes) >= 3


@pytest.mark.parametrize("seed", SEEDS)
def test_a_sound_night_is_quiet(seed):
    outcome = outcome_of((SOUND, seed))
    assert outcome.before == []
    assert not outcome.stopped


def test_a_night_is_drawn_from_its_kind_and_seed_alone():
    assert outcome_of(("short", 900_000)) == outcome_of(("short", 900_000))
