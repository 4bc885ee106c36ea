"""Forms of figures: what they make of what was typed, and where they tell what is wrong."""

import pytest

from daemon.api.errors import InputError
from web.forms import Field, Form, Group, filled

GROUPS = (
    Group("Bath", (Field("volume", "Volume", "10 L"), Field("acid.strength", "Strength"))),
    Group(
        "Additives",
        tuple(
            field
            for place, name in enumerate(("brightener", "", ""), 1)
            for field in (
                Field(f"additive[{place}].name", f"Additive {place}", name),
                Field(f"additive[{place}].make_up", "In each litre"),
            )
        ),
    ),
    Group("Readings", tuple(Field(f"readings[{n}]", f"{n}") for n in (1, 2, 3))),
    Group("More", (Field("window", "Window", options=("standard", "none")),), folded=True),
)  # fmt: skip


def sent(**texts: str) -> Form:
    return filled(GROUPS, {"volume": "10 L", **texts})


def test_a_form_that_was_just_opened_has_its_first_values() -> None:
    form = filled(GROUPS, {})
    assert not form.asked
    assert form.text("volume") == "10 L"
    assert form.text("window") == "standard"
    assert not form.is_open(GROUPS[3])


def test_what_was_typed_stays_and_becomes_tables_and_lists() -> None:
    form = sent(**{
        "volume": " 4 gal ", "acid.strength": "", "additive[3].name": "carrier",
        "additive[3].make_up": "7.8 mL/L", "readings[1]": "7.62", "readings[3]": "7.64",
        "window": "none", "unheard-of": "x",
    })  # fmt: skip
    assert form.asked
    assert form.tree() == {
        "volume": "4 gal",
        "additive": [{"name": "carrier", "make_up": "7.8 mL/L"}],
        "readings": ["7.62", "7.64"],
        "window": "none",
    }
    assert form.is_open(GROUPS[3])


def test_a_name_that_stood_there_and_nothing_with_it_means_nothing() -> None:
    assert "additive" not in sent(**{"additive[1].name": "brightener"}).tree()
    assert sent(**{"additive[1].name": "other"}).tree()["additive"] == [{"name": "other"}]


def test_a_choice_that_is_none_is_the_first() -> None:
    assert sent(window="bogus").text("window") == "standard"


@pytest.mark.parametrize(
    ("problem", "key", "said"),
    [
        ("volume: must be above 0 L, got -5 L", "volume", "Must be above 0 L, got -5 L."),
        ("volume is missing: volume of the bath", "volume", "Missing: volume of the bath."),
        ("additive[1].make_up: no", "additive[3].make_up", "No."),
        ("additive[1]: no", "additive[3].name", "No."),
        ("readings[2]: no", "readings[3]", "No."),
        ("acid is missing: how strong", "acid.strength", "Missing: how strong."),
        ("readings: no", "readings[1]", "No."),
        ("colour: no", None, "Colour: no."),
        ("nothing: at all", None, "Nothing: at all."),
        ("The bath, it is empty", None, "The bath, it is empty."),
    ],
)
def test_a_problem_is_told_beside_its_field(problem: str, key: str | None, said: str) -> None:
    form = sent(**{
        "additive[3].name": "carrier", "readings[1]": "1", "readings[3]": "2",
    })  # fmt: skip
    refused = form.refused(InputError("form", (problem,)))
    if key is None:
        assert (refused.problems, refused.unplaced) == ({}, (said,))
    else:
        assert (refused.problems, refused.unplaced) == ({key: said}, ())
    assert refused.typed == form.typed


def test_what_is_wrong_with_one_field_by_name_is_told_there() -> None:
    assert sent().refused(InputError("volume", ("bad",))).problems == {"volume": "Bad."}


def test_a_table_is_told_near_the_field_that_stands_for_it() -> None:
    refused = sent().refused(InputError("form", ("target: too thin",)), {"target": "volume"})
    assert refused.problems == {"volume": "Too thin."}
