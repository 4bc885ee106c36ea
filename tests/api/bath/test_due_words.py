"""What falls due of a bath, in words."""

import pytest

from daemon.api.bath import due_words
from daemon.api.sentence import word
from daemon.api.socket.messages import DueStatus, Status

DOSE = DueStatus(
    kind="dose", name="brightener", amount_ml=5.0, open_ml=3.1, in_ah=12.4, plating_s=7800.0
)
NOW = DueStatus(kind="dose", name="brightener", amount_ml=5.0, open_ml=5.5, doses=1, in_ah=-3.2)
FILTER = DueStatus(kind="upkeep", name="filtration", in_ah=30.0, in_s=4 * 86_400.0)


@pytest.mark.parametrize(
    ("due", "said"),
    [
        (DOSE, "5 mL of brightener in 12.4 Ah, at the plan's current in 2 h 10 min"),
        (DOSE.model_copy(update={"plating_s": None}), "5 mL of brightener in 12.4 Ah"),
        (NOW, "5 mL of brightener now, overdue by 3.2 Ah"),
        (
            NOW.model_copy(update={"doses": 3}),
            "3 doses of 5 mL of brightener now, overdue by 3.2 Ah",
        ),
        (DueStatus(kind="dose", name="carrier", open_ml=8.0), "carrier: 8.0 mL used and not dosed"),
        (DueStatus(kind="dose", name="carrier", open_ml=-8.0), "carrier: 8.0 mL dosed ahead"),
        (FILTER, "filtration in 30.0 Ah or 4 d 0 h"),
        (
            FILTER.model_copy(update={"doses": 1, "in_s": -7200.0}),
            "filtration now, overdue by 2 h 00 min",
        ),
        (
            FILTER.model_copy(update={"doses": 1, "in_s": -7200.0, "in_ah": -1.0}),
            "filtration now, overdue by 1.0 Ah and 2 h 00 min",
        ),
    ],
)
def test_a_line(due, said):
    assert due_words.line(due) == said


def test_all_that_is_due_now_or_else_what_comes_next():
    carbon = DueStatus(kind="upkeep", name="carbon treatment", doses=1, in_ah=-2.0)
    assert due_words.short((DOSE, NOW, carbon)) == (
        "5 mL of brightener now, overdue by 3.2 Ah; carbon treatment now, overdue by 2.0 Ah"
    )
    assert due_words.short((FILTER, DOSE)).startswith("5 mL of brightener in 12.4 Ah")
    assert due_words.short(()) == ""
    assert due_words.short((DueStatus(kind="dose", name="carrier", open_ml=8.0),)) == ""


def status(**more):
    return Status(
        **{
            "state": "idle",
            "utc": "2026-11-25T00:00:00+00:00",
            "monotonic_s": 1.0,
            "rate": 1.0,
            "current_a": 0.0,
            "voltage_v": 0.0,
            "reading_age_s": 0.1,
            "mode": None,
            "output_on": False,
            "supply": "s",
            "run": None,
            "bath": "b",
            "bath_charge_ah": 0.0,
            **more,
        }
    )


def test_the_sentence_says_what_the_bath_wants_where_nothing_is_more_urgent():
    said = word(status(dues=(NOW,)))
    assert (said.need, said.level) == ("The bath wants 5 mL of brightener.", "calm")
    assert word(status(dues=(DOSE,))).need == "Nothing needs you."
    on = word(status(dues=(NOW,), output_on=True))
    assert on.need == "Switch the supply off by hand now."
    assert "brightener" not in word(status(dues=(NOW,), notice="the lid is open")).need
