"""When a dosing pump runs, how much it gives, and what keeps it from it: hand sums."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.control.dosing_pump import (
    AT_REST,
    DAY_S,
    Given,
    HandRun,
    Hindrance,
    PumpLook,
    PumpRules,
    run_by_hand,
    run_pump,
)

# 3 mL at 0.5 mL/s take 6 s, of which the last half second is the drop-out's.
RULES = PumpRules(
    "brightener", 3.0, 0.5, most_day_ml=9.0, pause_s=600.0, drop_out_s=0.5, cycle_s=0.05
)
LEVEL = Hindrance("the level is low", "level")


def look(now_s, owed_ml=3.0, **more):
    return PumpLook(now_s, owed_ml, **({"kept": True} | more))


def ticks(state, from_s, to_s, every_s=0.05, **more):
    """The turns of a pump, from one moment to another, until it rests."""
    found = []
    for n in range(round((to_s - from_s) / every_s) + 1):
        turn = run_pump(state, RULES, look(from_s + n * every_s, **more))
        found.append(turn)
        state = turn.state
        if turn.over:
            break
    return found


def test_a_dose_is_given_once_a_whole_one_is_owed_and_lasts_as_long_as_its_volume_takes():
    assert not run_pump(AT_REST, RULES, look(0.0, 2.9)).begins
    begun = run_pump(AT_REST, RULES, look(0.0, 3.0))
    assert (begun.begins, begun.runs) == (True, False)
    turns = ticks(begun.state, 0.05, 10.0)
    # Edges from 0.05 s to 5.5 s, and half a second of drop-out after the last.
    assert sum(turn.runs for turn in turns) == 110
    assert turns[-1].over.volume_ml == pytest.approx(3.0)
    assert turns[-1].over.cut_short is None
    assert not any(turn.begins for turn in turns)


def test_it_does_not_run_before_the_record_has_the_word_that_it_will():
    begun = run_pump(AT_REST, RULES, look(0.0))
    waiting = run_pump(begun.state, RULES, look(20.0, kept=False))
    assert (waiting.runs, waiting.over, waiting.state) == (False, None, begun.state)
    turns = ticks(waiting.state, 20.05, 30.0)
    assert turns[-1].over.volume_ml == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"forbidden": LEVEL}, "the level is low"),
        # Somebody has given the dose meanwhile.
        ({"owed_ml": 0.1}, "0.1 of 3 mL are used up"),
    ],
)
def test_what_comes_between_the_word_and_the_pump_ends_the_dose_with_nothing_given(more, why):
    begun = run_pump(AT_REST, RULES, look(0.0))
    turn = run_pump(begun.state, RULES, look(0.1, **more))
    assert (turn.runs, turn.state) == (False, AT_REST)
    assert (turn.over.volume_ml, turn.over.cut_short) == (0.0, why)


def test_what_forbids_it_cuts_it_short_at_once_and_its_time_counts():
    begun = run_pump(AT_REST, RULES, look(0.0))
    running = ticks(begun.state, 0.05, 2.05)
    turn = run_pump(running[-1].state, RULES, look(2.1, forbidden=LEVEL))
    assert not turn.runs
    # 2.05 s and half a second of drop-out, at 0.5 mL/s.
    assert turn.over.volume_ml == pytest.approx(1.275)
    assert turn.over.cut_short == "the level is low"
    assert turn.hindrance == LEVEL


def test_while_the_loop_hangs_the_pump_stands_and_that_time_is_not_counted():
    begun = run_pump(AT_REST, RULES, look(0.0))
    running = ticks(begun.state, 0.05, 1.05)
    late = run_pump(running[-1].state, RULES, look(61.05))
    assert late.runs
    turns = ticks(late.state, 61.1, 70.0)
    # 1 s, the drop-out of 0.5 s, and from 61.05 s on what lacks of 6 s.
    assert turns[-1].over.volume_ml == pytest.approx(3.0)
    assert sum(turn.runs for turn in turns) == pytest.approx(80, abs=1)


@pytest.mark.parametrize(
    ("more", "words", "passes"),
    [
        ({"owed_ml": -2.0}, "0 of 3 mL are used up", True),
        ({"forbidden": LEVEL}, "the level is low", False),
        ({"given": (Given(700.0, 3.0),)}, "the last dose is left to mix for 300 s more", True),
        (
            {"given": (Given(-80_000.0, 4.0), Given(0.0, 3.0))},
            "7 mL were given in the last 24 h, and 9 mL is the most",
            False,
        ),
    ],
)
def test_why_it_does_not_is_told(more, words, passes):
    turn = run_pump(AT_REST, RULES, look(1000.0, **more))
    assert (turn.begins, turn.runs, turn.state) == (False, False, AT_REST)
    assert (turn.hindrance.words, turn.hindrance.passes) == (words, passes)


def test_a_dose_is_left_to_mix_before_the_next():
    last = (Given(100.0, 3.0),)
    assert not run_pump(AT_REST, RULES, look(699.9, given=last)).begins
    assert run_pump(AT_REST, RULES, look(700.0, given=last)).begins


def test_no_more_than_a_days_most_is_given_in_any_24_hours():
    three = tuple(Given(1000.0 * n, 3.0) for n in range(3))
    assert not run_pump(AT_REST, RULES, look(DAY_S - 0.1, given=three)).begins
    # The first of the three is a day old now.
    assert run_pump(AT_REST, RULES, look(DAY_S, given=three)).begins


def test_a_persons_run_lasts_as_long_as_it_was_asked_for_with_its_drop_out():
    run, at_s = HandRun(30.0, last_s=0.0), 0.0
    while run is not None:
        at_s += 0.05
        run, over = run_by_hand(run, RULES, at_s, None)
    assert over.ran_s == pytest.approx(30.0)
    assert at_s == pytest.approx(29.5)
    assert over.cut_short is None


def test_a_persons_run_that_is_cut_short_says_for_how_long_it_ran():
    run, over = run_by_hand(HandRun(30.0, last_s=4.95, pumped_s=4.95), RULES, 5.0, "a run began")
    assert run is None
    assert (over.ran_s, over.cut_short) == (pytest.approx(5.5), "a run began")


@given(
    st.lists(
        st.tuples(
            st.floats(0.01, 400.0),
            st.floats(0.0, 2.0),
            st.sampled_from([None, None, None, LEVEL]),
            st.booleans(),
        ),
        max_size=300,
    )
)
def test_whatever_happens_no_more_is_given_than_is_owed_and_a_dose_and_a_day_allow(steps):
    state, now_s, owed_ml, used_ml = AT_REST, 0.0, 0.0, 0.0
    doses = ()
    for pause_s, more_ml, forbidden, kept in steps:
        now_s, owed_ml, used_ml = now_s + pause_s, owed_ml + more_ml, used_ml + more_ml
        turn = run_pump(
            state, RULES, PumpLook(now_s, owed_ml, doses, forbidden=forbidden, kept=kept)
        )
        assert not (turn.runs and forbidden)
        state = turn.state
        if turn.over is not None:
            assert not turn.runs
            # One tick that came late is a drop-out at most.
            assert 0 <= turn.over.volume_ml <= RULES.dose_ml + 0.5 * RULES.drop_out_s
            owed_ml -= turn.over.volume_ml
            doses = (*doses, Given(now_s, turn.over.volume_ml))
            day_ml = sum(each.volume_ml for each in doses if now_s - each.ended_s < DAY_S)
            assert day_ml <= RULES.most_day_ml + 0.5 * RULES.drop_out_s + 1e-9
    late_ml = 0.5 * RULES.drop_out_s * len(doses)
    assert sum(each.volume_ml for each in doses) <= used_ml + late_ml + 1e-9
