"""A little of fuzz.py on each target; that it tells what is wrong, and goes on from its finds."""

from random import Random

import fuzz
import pytest
from fuzzing.targets import TARGETS, Target

SLOW = {"stl": 3, "obj": 3, "ply": 3, "3mf": 20}
"""Inputs for those that take long."""


@pytest.mark.parametrize("target", TARGETS.values(), ids=TARGETS)
def test_changed_bytes_are_taken_or_refused_as_they_should(target):
    for known in target.seeds:
        assert target.take(known), "what it begins with is good"
    random = Random(20261126)
    for _ in range(SLOW.get(target.name, 150)):
        data = fuzz.changed(random.choice(target.seeds), random)
        assert fuzz.defect_of(target, data)[1] is None, data.hex()


def without_words(data):
    if b"1" in data:
        raise ValueError


@pytest.mark.parametrize(
    ("feed", "said"),
    [
        (lambda data: data.decode("ascii").index("1979"), None),
        (lambda data: {b"abc": 1}[data], "KeyError"),
        (without_words, "refused without a word"),
    ],
    ids=["refused", "another error", "no words"],
)
def test_a_defect_is_told_with_its_bytes(feed, said):
    target = Target("made up", feed, (ValueError,), (b"abc",))
    told = fuzz.plain(target, seconds=0.2 if said is None else 60.0, seed=1)
    assert (told.defect is None) == (said is None)
    if said is not None:
        assert said in told.defect
        assert fuzz.defect_of(target, told.data)[1] == told.defect


def test_a_search_goes_on_from_what_it_found_until_something_is_wrong(mocker):
    """Rounds as a search would make them: each leaves a find, the third a defect."""
    folders, seeds = [], []

    def one_round(name, seconds, seed, folder):
        found = folder / "known"
        found.mkdir(exist_ok=True)
        folders.append(len(list(found.iterdir())))
        (found / str(seed)).touch()
        seeds.append(seed)
        return fuzz.Told(100, 10, "KeyError: 'x'" if len(seeds) == 3 else None, b"x")

    mocker.patch.object(fuzz, "one_round", one_round)
    told = fuzz.searched("made up", 60.0, 7)
    assert folders == [0, 1, 2]
    assert seeds == [7, 8, 9]
    assert told == fuzz.Told(300, 30, "KeyError: 'x'", b"x")
