"""What a proof test walks through, and what it cannot prove."""

import re

import pytest

from daemon.control.proof.steps import Kind, PumpThere, not_proved, steps_of
from daemon.control.protection.causes import CONTACTOR_FAULT, INTERLOCK, OPEN_CIRCUIT
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table


def names(cabinet):
    return [step.name for step in steps_of(cabinet)]


def test_loops_that_sound_the_siren_come_late_and_the_contactor_last(cabinet):
    all_of_it = cabinet(
        loops=("leak", "lid", "filter pump"), beacon=True, siren=True, button=True,
        addresses=("phone", "neighbour"),
    )  # fmt: skip
    assert names(all_of_it) == [
        "supply off by command",
        "interlock filter pump",
        "interlock lid",
        "interlock leak",
        "contactor without its heartbeat",
        "beacon",
        "siren",
        "acknowledge button",
        "message to phone",
        "message to neighbour",
    ]
    assert not_proved(all_of_it) == ()


def test_each_step_says_what_is_expected(cabinet):
    """1 s to bring the current down and 2 s to be off, 1 s to drop out and 0.1 s to be read."""
    expected = {step.name: step.expected for step in steps_of(cabinet(addresses=("phone",)))}
    assert expected == {
        "supply off by command": "below 0.020 A within 3.0 s, then held",
        "interlock filter pump": "an alarm",
        "interlock lid": "below 0.020 A within 3.0 s, then held",
        "interlock level": "below 0.020 A within 3.0 s, then stopped",
        "interlock leak": "below 0.020 A within 3.0 s, then aborted",
        "contactor without its heartbeat": "below 0.020 A within 1.1 s, by the contactor",
        "message to phone": "it arrives",
    }


def test_what_a_person_reads_are_whole_sentences(cabinet):
    steps = steps_of(
        cabinet(
            beacon=True, siren=True, button=True, addresses=("phone",),
            pumps=(PumpThere("brightener", 3.0, 0.25, "level"),),
        )
    )  # fmt: skip
    said = [text for s in steps for text in (s.happens, s.todo, s.undo, s.question, *s.questions)]
    assert {step.kind for step in steps} == set(Kind)
    sentence = re.compile(r"[A-Z][^A-Z].*[a-z'][.?]")
    assert [text for text in said if text and not sentence.fullmatch(text)] == []


def test_a_loop_whose_stop_is_put_off_has_so_much_longer(cabinet):
    table = Table({INTERLOCK + "agitation": Effects(Stop.HOLD, after_s=60.0)})
    found = steps_of(cabinet(loops=("agitation",), drop_out_s=0.0, table=table))
    assert found[-1].expected == "below 0.020 A within 63.0 s, then held"


def test_without_anything_around_it_the_supply_alone_is_proved(cabinet):
    bare = cabinet(loops=(), drop_out_s=0.0, beacon=True, siren=True, button=True)
    assert names(bare) == ["supply off by command"]
    why = "no step raises an alarm to prove it with"
    assert not_proved(bare) == (f"beacon: {why}", f"siren: {why}", f"acknowledge button: {why}")


def test_a_siren_that_the_last_alarm_does_not_want_is_not_asked_for(cabinet):
    held = cabinet(loops=("lid",), drop_out_s=0.0, beacon=True, siren=True, button=True)
    assert [step.kind for step in steps_of(held)][2:] == [Kind.BEACON, Kind.BUTTON]
    assert not_proved(held) == (
        "siren: the alarm that stands last, by the settings, does not want it",
    )


@pytest.mark.parametrize("quiet", [CONTACTOR_FAULT, OPEN_CIRCUIT])
def test_whichever_tells_of_the_contactor_has_to_sound_it(cabinet, quiet):
    table = Table({**DEFAULTS, quiet: Effects(Stop.ABORT, siren=False)})
    assert Kind.SIREN not in {s.kind for s in steps_of(cabinet((), siren=True, table=table))}
