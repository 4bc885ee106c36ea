"""The cause and effect table as it is shown, and as the document has it."""

import re
from pathlib import Path

import pytest

from daemon.api.effects import rows
from daemon.control.protection.effects import DEFAULT_TABLE, Effects, Stop, Table

DOCUMENT = Path(__file__).parents[2] / "hardware" / "interlocks.md"


def test_a_row_says_what_a_cause_brings_about_and_what_to_check():
    (row,) = rows(Table({"bath too hot": Effects(Stop.HOLD, 30.0, siren=True, tell=False)}))
    assert (row.cause, row.priority, row.stop, row.after_s) == (
        "bath too hot",
        "medium",
        "hold",
        30,
    )
    assert (row.beacon, row.siren, row.tell) == (True, True, False)
    assert row.check.startswith("the heater and its controller")


@pytest.mark.parametrize(
    ("stop", "priority"),
    [(Stop.ABORT, "high"), (Stop.STOP, "high"), (Stop.HOLD, "medium"), (Stop.NOTHING, "low")],
)
def test_an_interlock_is_a_cause_with_the_name_of_its_loop_and_as_urgent_as_what_it_does(
    stop, priority
):
    (row,) = rows(Table({"interlock: fume extraction": Effects(stop)}))
    assert (row.cause, row.priority) == ("interlock: fume extraction", priority)
    assert "fume extraction" in row.check


@pytest.mark.parametrize(
    ("effects", "words"),
    [
        (Effects(Stop.ABORT), "at once"),
        (Effects(Stop.HOLD, after_s=2.5), "2.5 s"),
        (Effects(Stop.HOLD, after_s=90.0), "90 s"),
        (Effects(Stop.NOTHING), ""),
    ],
)
def test_when_the_stop_comes_is_told_in_words(effects, words):
    (row,) = rows(Table({"short": effects}))
    assert row.after == words


def test_every_cause_has_its_row_in_the_table_s_order():
    assert [row.cause for row in rows(DEFAULT_TABLE)] == list(DEFAULT_TABLE.rows)


def test_the_document_shows_the_default_table():
    text = DOCUMENT.read_text(encoding="utf-8")
    table = text.split("## What each cause brings about\n")[1].split("\n## ")[0]
    shown = [
        tuple(cell.strip() for cell in line.strip("|").split("|"))
        for line in re.findall(r"^\|.*\|$", table, re.MULTILINE)
    ]
    assert shown[2:] == [
        (
            row.cause,
            row.priority,
            row.stop,
            row.after or "–",
            *("yes" if each else "–" for each in (row.beacon, row.siren, row.tell)),
            row.check,
        )
        for row in rows(DEFAULT_TABLE)
    ]
