"""That a pump is kept from its dose: when it is told, and when again."""

import pytest

from daemon.control.dosing_pump import Hindrance
from daemon.control.kept_dose import SETTLE_S, Keeping, KeptLook, look
from daemon.control.notices import DOSE_KEPT, DOSE_OWED_NO_MORE

LOW = Hindrance("the level is low", "level")
MIXING = Hindrance("the last dose is left to mix for 300 s more")


def most(given_ml):
    return Hindrance(f"{given_ml} mL were given in the last 24 h", "the most in a day")


def watch(*spans):
    """What is told over spans of s with a hindrance each; the moments, and what is shown last."""
    state, told, now_s = Keeping(), [], 0.0
    for for_s, hindrance, more in spans:
        for _ in range(for_s):
            seen = KeptLook(
                now_s, round(1000 * now_s), 3.1, hindrance,
                **{"answered": False, "run": True} | more,
            )  # fmt: skip
            state, event = look(state, "brightener", seen)
            if event is not None:
                assert event.kind != DOSE_KEPT or event.data == {
                    "additive": "brightener", "owed_ml": 3.1,
                }  # fmt: skip
                told.append((now_s, event.kind, event.text))
            now_s += 1.0
    return told, state.kept


def test_a_reason_is_told_once_it_has_stood_for_a_while():
    told, kept = watch((3600, LOW, {}))
    assert told == [
        (SETTLE_S, DOSE_KEPT, "3.1 mL of brightener are owed and not given: the level is low")
    ]
    assert (kept.number, kept.since_s, kept.since_utc_ms, kept.owed_ml) == (1, 0.0, 0, 3.1)


@pytest.mark.parametrize(
    "spans",
    [
        [(9, LOW, {}), (60, None, {})],
        [(60, MIXING, {})],
        [(60, LOW, {"run": False})],
        [(60, LOW, {"answered": True})],
        [(9, LOW, {}), (9, most(3), {}), (9, LOW, {})],
    ],
)
def test_what_needs_nobody_is_not_told(spans):
    assert watch(*spans) == ([], None)


def test_figures_that_change_are_no_new_reason():
    told, _ = watch((60, most(9), {}), (60, most(8), {}))
    assert len(told) == 1


def test_each_reason_is_told_once_until_a_dose_is_given():
    spans = [(20, LOW, {}), (20, most(9), {}), (20, None, {}), (20, LOW, {})]
    told, kept = watch(*spans)
    assert [(at_s, text.split(": ")[1]) for at_s, _, text in told] == [
        (10.0, "the level is low"), (30.0, "9 mL were given in the last 24 h"),
    ]  # fmt: skip
    # Told before, and it waits for somebody as it did.
    assert (kept.number, kept.words) == (1, "the level is low")
    told, kept = watch(*spans, (1, None, {"answered": True}), (20, LOW, {}))
    assert [kind for _, kind, _ in told] == [DOSE_KEPT, DOSE_KEPT, DOSE_OWED_NO_MORE, DOSE_KEPT]
    assert kept.number == 3


def test_the_next_run_is_told_anew():
    told, kept = watch((20, LOW, {}), (20, LOW, {"run": False}), (20, LOW, {}))
    assert [at_s for at_s, _, _ in told] == [10.0, 50.0]
    assert kept.number == 2
