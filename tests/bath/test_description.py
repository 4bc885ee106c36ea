"""A description there and back through JSON, as the record keeps it."""

import json

import pytest

from daemon.bath.description import (
    Additive,
    Anodes,
    Description,
    Interval,
    Prices,
    Window,
    from_json,
)

FULL = Description(
    "bath A",
    volume_l=15.0,
    brim_l=18.0,
    window={"copper": Window(45.0, 50.0, 60.0), "chloride": Window(least=50.0)},
    additives=(Additive("brightener", 150.0, 5.0, 7.8), Additive("carrier")),
    anodes=Anodes(4.0, 2000.0, 2.0, 500.0),
    filtration=Interval(50.0, 86_400.0),
    carbon=Interval(every_ah=500.0),
    evaporation_l_d=0.2,
    drag_out_ml_dm2=1.0,
    prices=Prices("EUR", 12.5, 0.32, {"brightener": 38.0}),
)


@pytest.mark.parametrize("described", [FULL, Description("bath A")])
def test_there_and_back(described):
    assert from_json(json.loads(json.dumps(described.to_json()))) == described


def test_what_an_earlier_program_did_not_know_is_not_told():
    assert from_json({"name": "bath A", "volume_l": 15.0}) == Description("bath A", volume_l=15.0)


def test_what_is_unknown_here_is_passed_over():
    tree = {"name": "bath A", "colour": "blue", "anodes": {"area_dm2": 4.0, "bags": 2}}
    assert from_json(tree) == Description("bath A", anodes=Anodes(area_dm2=4.0))


def test_an_additive_by_its_name():
    assert FULL.additive("brightener") == Additive("brightener", 150.0, 5.0, 7.8)
    assert FULL.additive("leveller") is None
    assert FULL.additive_names == ("brightener", "carrier")
