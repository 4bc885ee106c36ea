"""A dosing pump's step of a proof test: into a glass, and off with its level's loop."""

import pytest

from daemon.control.dosing_pump import HandSeen
from daemon.control.proof.steps import PumpThere, not_proved, steps_of
from daemon.control.proof.wants import ProofEndedError

PUMP = PumpThere("brightener", 3.0, 0.25, "level")
"""3 mL in 12 s."""


@pytest.fixture
def led(guide):
    return guide(loops=("level",), drop_out_s=0.0, pumps=(PUMP,))


def found(led):
    return led.lead()["pump of brightener"]


def test_it_comes_after_the_signals_and_says_what_is_expected(cabinet):
    steps = steps_of(cabinet(loops=("leak",), siren=True, pumps=(PUMP,), addresses=("phone",)))
    assert [step.name for step in steps][-3:] == ["siren", "pump of brightener", "message to phone"]
    step = steps[-2]
    assert step.expected == "2.7 to 3.3 mL in 12 s, and none with the loop open"
    # 30 s at 0.25 mL/s.
    assert "up to 7.5 mL" in step.questions[1]
    assert "not over the bath" in step.question
    assert not_proved(cabinet(pumps=(PUMP,))) == ()


def test_a_slow_pump_is_not_run_for_longer_than_by_hand(cabinet):
    (step,) = (s for s in steps_of(cabinet((), 0.0, pumps=(PumpThere("x", 10, 0.02, "level"),)))
               if s.name == "pump of x")  # fmt: skip
    assert step.runs_s == (300.0, 300.0)
    # 0.02 mL/s for 300 s are 6 mL, and 5.4 to 6.6 within a tenth.
    assert step.expected.startswith("5.4 to 6.6 mL in 300 s")


def test_it_passes_by_what_a_person_sees_and_the_loop_has_cut_short(led, tank):
    asked = []

    def says(question):
        asked.append(question)
        return True

    led.says = says
    seen = found(led)
    assert seen.passed
    assert seen.seen == seen.expected
    assert led.runs == [12.0, None, 30.0, "interlock open: level"]
    assert [question.split(" ", 2)[0] for question in asked] == ["Does", "Are", "It", "Has"]
    assert tank.open_loops == ()
    assert not tank.demand.output_on


@pytest.mark.parametrize(
    ("no", "seen", "runs"),
    [
        ("Does", "its outlet hangs in no glass: it was not run", []),
        ("Are", "another amount in 12 s: calibrate it", [12.0, None]),
        ("It runs", "the amount is right, and the trip was not tried", [12.0, None]),
        ("Has", "interlock open: level, and it did not stand still",
         [12.0, None, 30.0, "interlock open: level"]),
    ],
)  # fmt: skip
def test_a_no_fails_and_nothing_runs_after_it(led, no, seen, runs):
    led.says = lambda question: not question.startswith(no)
    finding = found(led)
    assert (finding.passed, finding.seen) == (False, seen)
    assert led.runs == runs


def test_a_pump_that_may_not_run_fails_with_the_reason(led):
    led.pump_refusal = "the level is low or not known: interlock open: level"
    seen = found(led)
    assert (seen.passed, seen.seen) == (False, led.pump_refusal)


def test_a_loop_that_nobody_opens_proves_nothing(led):
    does = led._pass

    def lazy(want):
        led.lazy = want.todo.startswith("The pump runs")
        return does(want)

    led._pass = lazy
    seen = found(led)
    assert (seen.passed, seen.seen) == (False, "it ran for 30 s, and the loop stayed closed")


def test_one_that_does_not_come_to_its_end_is_stopped(led):
    led._turn_pump = lambda: None
    seen = found(led)
    assert (seen.passed, seen.seen) == (False, "it did not come to its end")
    assert led.runs == [12.0, "stopped"]


def test_one_whose_end_nobody_knows_proves_nothing(led):
    """As after a daemon that has begun anew: it stands, and how it ended is not told."""

    def ended():
        led.pumps["brightener"] = HandSeen(by_hand=False)

    led._turn_pump = ended
    seen = found(led)
    assert (seen.passed, seen.seen) == (False, "how it ended is not known")


def test_a_loop_that_is_not_closed_again_ends_the_walk(led):
    does = led._pass

    def lazy(want):
        led.lazy = "put the outlet of" in want.todo
        return does(want)

    led._pass = lazy
    with pytest.raises(ProofEndedError, match="the loop of 'level' was not closed again"):
        led.lead()
