"""What each kind of entry may hold; whatever else is refused, with the part that is wrong."""

import math

import pytest

from daemon.bath import kinds
from daemon.bath.description import Additive, Description
from daemon.bath.errors import EntryError

BATH = Description("bath A", volume_l=15.0, brim_l=18.0, additives=(Additive("brightener", 150.0),))


def check(kind, amounts=None, facts=None, bath=BATH):
    kinds.check(kind, amounts or {}, facts or {}, bath, (*bath.additive_names, "old"))


FOUND = {
    "metal": "Cu(II)", "charge_ah": 2.0, "efficiency": 0.98, "u_own": 0.0, "u_common": 0.01,
    "counts": True,
}  # fmt: skip
WEIGHED = {"what": "part", "before_g": 10.0, "after_g": 12.0}
SOUND = [
    ("make-up", {"volume": 15.0, "copper": 760.0, "brightener": 0.0}, {"level_l": 15.0}),
    ("addition", {"copper": 12.7}, {"as": "copper sulfate pentahydrate", "mass_g": 50.0}),
    ("addition", {"sodium sulfate": 12.7}, {}),
    ("dose", {"brightener": 5.0, "volume": 0.005}, {}),
    ("dose", {"old": 5.0}, {}),
    ("water", {"volume": 0.5}, {"level_l": 15.0}),
    ("top-up", {"copper": 96.7, "volume": -1.0}, {"level_l": 15.0, "taken_out_l": 2.0}),
    ("top-up", {"volume": 0.5}, {"level_l": 15.0}),
    ("sample", {"volume": -0.01}, {}),
    ("drag-out", {"volume": -0.02, "copper": -1.0}, {"area_dm2": 2.0}),
    ("filtration", {}, {"duration_s": 3600.0}),
    ("carbon treatment", {}, {"carbon_g": 30}),
    (
        "analysis",
        {},
        {
            "method": "titration",
            "results": {"copper": {"value": 50.1, "u": 0.4}, "chloride": {"value": 0, "u": None}},
            "details": {"burette_ml": [9.6, 9.7]},
        },
    ),
    ("appearance", {}, {"looks": ["dull", "pitted"]}),
    ("anodes", {}, {"area_dm2": 4.0}),
    ("weighing", {}, {"what": "part", "before_g": 10.0, "after_g": 12.0, "u_g": 0.0}),
    ("weighing", {}, WEIGHED | {"details": FOUND}),
    ("weighing", {}, {"what": "anodes", "after_g": 900.0, "details": {"balance": "hanging"}}),
]


@pytest.mark.parametrize(("kind", "amounts", "facts"), SOUND)
def test_what_is_sound_is_taken(kind, amounts, facts):
    check(kind, amounts, facts)


def test_every_kind_that_is_entered_is_tried_above():
    assert {kind for kind, _, _ in SOUND} == set(kinds.ENTERED)


@pytest.mark.parametrize(
    ("kind", "amounts", "facts", "complaint"),
    [
        ("description", {}, {}, "kind: expected one of make-up, addition"),
        ("dose", {"leveller": 5.0}, {}, "leveller: no such additive; known: brightener, old"),
        ("dose", {"brightener": 0.0}, {}, "needs one additive, above 0 mL"),
        ("dose", {"brightener": -5.0}, {}, "needs one additive, above 0 mL"),
        ("dose", {"brightener": 5.0, "old": 5.0}, {}, "needs one additive"),
        ("dose", {}, {}, "needs one additive"),
        ("dose", {"brightener": 5.0, "volume": -1.0}, {}, "takes nothing out of the bath"),
        # 20 mL in each of 15 L
        ("dose", {"brightener": 301.0}, {}, "301 mL at once is more than 15 L of bath bear"),
        ("dose", {"brightener": 1e6}, {}, "1e+06 mL is more than can be, at most 100000 mL"),
        ("dose", {"brightener": math.nan}, {}, "brightener: expected a finite amount, got nan"),
        ("dose", {"brightener": 5.0}, {"looks": ["dull"]}, "has no such fact; allowed: none"),
        ("make-up", {"copper": 1.0}, {}, "needs a volume above 0 L"),
        ("top-up", {}, {"level_l": 15.0}, "needs something that was put in or taken out"),
        ("top-up", {"copper": -1.0, "volume": 1.0}, {}, "takes nothing out of the bath"),
        ("top-up", {"volume": 1.0}, {"taken_out_l": 19.0}, "more than the bath's 18 L"),
        ("make-up", {"volume": 15.0, "copper": -1.0}, {}, "takes nothing out of the bath"),
        ("addition", {"volume": 1.0}, {}, "needs a substance, above 0"),
        ("addition", {" ": 1.0}, {}, "a substance needs a name"),
        ("addition", {"copper": 1e9}, {}, "at most 1e+06 g"),
        ("water", {"volume": 0.0}, {}, "needs a volume above 0 L, and nothing else"),
        ("water", {"volume": 0.5, "copper": 1.0}, {}, "and nothing else"),
        # twice the 18 L that the tank holds
        ("water", {"volume": 36.5}, {}, "36.5 L is more than can be, at most 36 L"),
        ("water", {"volume": 0.5}, {"level_l": 0}, "level_l: must be above 0, got 0"),
        ("sample", {"volume": 0.01}, {}, "takes a volume out of the bath"),
        ("drag-out", {"volume": -0.01, "copper": 1.0}, {}, "puts nothing into the bath"),
        ("filtration", {"volume": 1.0}, {}, "puts nothing into the bath, got volume 1"),
        ("filtration", {}, {"duration_s": "long"}, "duration_s: expected a number, got 'long'"),
        ("filtration", {}, {"duration_s": True}, "expected a number, got True"),
        ("analysis", {}, {}, "needs results"),
        ("analysis", {}, {"results": {}}, "needs the concentration of a component"),
        ("analysis", {}, {"results": [1]}, "results: expected a table"),
        ("analysis", {}, {"results": {"copper": {"u": 1}}}, "results.copper: expected value and u"),
        ("analysis", {}, {"results": {"copper": {"value": -1}}}, "must not be less than 0, got -1"),
        ("analysis", {}, {"results": {"copper": {"value": 1, "u": -1}}}, "results.copper.u"),
        ("analysis", {}, {"results": {"copper": {"value": 1}}, "method": " "}, "method: expected"),
        ("appearance", {}, {}, "needs looks"),
        ("appearance", {}, {"looks": []}, "looks: expected one or more of dull, hazy"),
        ("appearance", {}, {"looks": ["dull", "dull"]}, "each once"),
        ("appearance", {}, {"looks": ["matt"]}, "expected one of dull, hazy, pitted, burned"),
        ("anodes", {}, {}, "an entry of kind 'anodes' needs area_dm2 or mass_g"),
        ("weighing", {}, {"what": "part"}, "needs before_g or after_g"),
        ("weighing", {}, {"what": "cat", "after_g": 1}, "what: expected one of part, anodes"),
        ("weighing", {}, WEIGHED | {"before_g": 0}, "before_g: must be above 0"),
        ("weighing", {}, {"after_g": 1, "details": FOUND}, "before_g: an efficiency needs it"),
        *(
            ("weighing", {}, WEIGHED | {"details": FOUND | {name: value}}, f"details.{name}: ")
            for name, value in {
                "metal": "",
                "charge_ah": 0,
                "efficiency": -1,
                "u_own": None,
                "u_common": -1,
                "counts": 1,
            }.items()
        ),
        ("weighing", {}, WEIGHED | {"details": {"efficiency": 1}}, "details.metal: an efficiency"),
    ],
)
def test_what_is_not_is_refused_with_its_part(kind, amounts, facts, complaint):
    with pytest.raises(EntryError) as refused:
        check(kind, amounts, facts)
    assert complaint in str(refused.value)
    assert len(str(refused.value)) < 250


def test_a_dose_is_bounded_by_twice_the_make_up_where_that_is_more():
    strong = Description(
        "bath A", volume_l=1.0, additives=(Additive("carrier", make_up_ml_l=15.0),)
    )
    check("dose", {"carrier": 30.0}, bath=strong)
    with pytest.raises(EntryError, match="at most 30 mL"):
        check("dose", {"carrier": 30.5}, bath=strong)


def test_without_a_volume_nothing_but_a_bench_bounds_a_dose():
    check(
        "dose", {"brightener": 5000.0}, bath=Description("b", additives=(Additive("brightener"),))
    )
