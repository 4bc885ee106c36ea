"""What brings a component back, as it is asked for and told; amounts by hand."""

import pytest

from daemon.api.analyses.restoring import read_concentration, read_restoring, restored
from daemon.api.errors import InputError
from daemon.chemistry.uncertainty import Budget, Share

WINDOW = {"least": "50 g/L", "target": "55 g/L", "greatest": "60 g/L", "volume": "10 L"}


def found(value, half_width=0.1):
    return Budget(value, (Share("all", half_width / 1.959964),))


def told(component, concentration, **tree):
    written = {key.replace("_", "-"): value for key, value in tree.items()}
    return restored(read_restoring(written, component), concentration)


def texts(report):
    return [f"{row.name}: {row.text}" for row in report.rows]


def test_crystals():
    # 100 g of copper in 10 L: 392.9 g of crystals; told rounded down.
    report = told("copper", found(45), **WINDOW)
    assert texts(report) == [
        "window: least 50 g/L, target 55 g/L, greatest 60 g/L: below the window",
        "add: 392 g of CuSO4·5H2O to 10 L: it comes to 55 g/L",
    ]
    assert (report.warnings, report.cautions) == ((), ())


def test_crystals_that_are_not_pure():
    # 392.9 / 0.98 = 400.9
    report = told("copper", found(45), purity="98 %", **WINDOW)
    assert texts(report)[1].startswith("add: 400 g of CuSO4·5H2O of 98 % to 10 L")


def test_a_window_of_the_crystals():
    # 200 g/L of CuSO4·5H2O are 50.90 g/L of copper (0.254505 of it).
    read = read_concentration("least", "200 g/L CuSO4·5H2O", "copper")
    assert read == pytest.approx(50.901, rel=1e-4)
    read = read_concentration("least", "26 oz/gal copper sulfate", "copper")
    assert read == pytest.approx(26 * 7.489152 * 0.254505, rel=1e-4)
    with pytest.raises(InputError, match="least: expected"):
        read_concentration("least", "200 g/L CuSO4·5H2O", "sulfuric acid")


def test_acid_of_both_usual_strengths():
    report = told("sulfuric acid", found(50), least="55 g/L", greatest="65 g/L", volume="10 L")
    # To 60: with 1762 g/L 100/1702 L, with 473.3 g/L 100/413.3 L.
    assert texts(report)[1:] == [
        "add: 58.7 mL of sulfuric acid of 96 % to 10 L: it comes to 60 g/L, "
        "and the bath grows by 58.7 mL",
        "or: 241 mL of sulfuric acid of SG 1.28 to 10 L: it comes to 60 g/L, "
        "and the bath grows by 241 mL; all else falls to 97.6 % of what it is",
    ]
    assert any("never the other way" in each for each in report.cautions)


def test_acid_of_a_strength():
    limits = {"least": "55 g/L", "greatest": "65 g/L", "volume": "10 L"}
    report = told("sulfuric acid", found(50), acid="473.3 g/L", **limits)
    assert len(report.rows) == 2
    assert texts(report)[1].startswith("add: 241 mL of sulfuric acid of 473.3 g/L")


def test_battery_acid_has_a_name():
    limits = {"least": "55 g/L", "greatest": "65 g/L", "volume": "10 L"}
    report = told("sulfuric acid", found(50), acid="battery acid", **limits)
    assert texts(report)[1].startswith("add: 241 mL of battery acid to 10 L")


def test_chloride_as_salt_or_acid():
    # 0.3 g of chloride in 10 L: 0.4945 g of NaCl; 0.3/(0.9724·440.3 g/L) = 0.70 mL of 37 % HCl.
    report = told(
        "chloride", found(0.05, 0.001), least="60 mg/L", greatest="100 ppm", volume="10 L"
    )
    assert texts(report)[1] == "add: 0.494 g of sodium chloride to 10 L: it comes to 80 mg/L"
    assert texts(report)[2].startswith("or: 0.70")
    assert "hydrochloric acid of 37 %" in texts(report)[2]


@pytest.mark.parametrize(("tree", "name"), [
    ({"acid": "SG 1.18"}, "hydrochloric acid of SG 1.18"),
    ({"purity": "99 %"}, "sodium chloride of 99 %"),
])  # fmt: skip
def test_chloride_as_it_is_said(tree, name):
    report = told("chloride", found(0.05, 0.001), least="60 mg/L", volume="10 L", **tree)
    assert len(report.rows) == 2
    assert name in texts(report)[1]


def test_an_addition_that_is_held_back():
    report = told("copper", found(45, 8), **WINDOW)
    # As in the chemistry's test: 261.3 g.
    assert texts(report)[1] == "add: 261 g of CuSO4·5H2O to 10 L: it comes to 51.7 g/L"
    assert any(each.startswith("held back: what 55 g/L takes") for each in report.warnings)
    assert any("titrate again" in each for each in report.warnings)


def test_an_analysis_too_unsure_for_anything():
    report = told("copper", found(45, 16), **WINDOW)
    assert texts(report)[1] == "add: nothing yet"
    assert any("the truth may be 61 g/L" in each for each in report.warnings)
    report = told("copper", found(62, 13), **WINDOW)
    assert texts(report)[1] == "dilute: nothing yet"
    assert any("the truth may be 49 g/L" in each for each in report.warnings)


def test_a_dilution_and_what_it_does_to_the_rest():
    also = {"sulfuric acid": "60 g/L", "chloride": "60 mg/L"}
    report = told("copper", found(66), also=also, **WINDOW)
    assert texts(report) == [
        "window: least 50 g/L, target 55 g/L, greatest 60 g/L: above the window",
        "dilute: take out 1.66 L of 10 L and fill up with water: it comes to 55 g/L",
        ": all else falls to 83.3 % of what it is, additives too",
        ": sulfuric acid falls from 60 to 50 g/L",
        ": chloride falls from 60 to 50 mg/L",
    ]
    assert any("no drains" in each for each in report.cautions)


def test_a_window_that_ends_at_nothing():
    report = told("copper", found(66), target="0 g/L", greatest="1 g/L", volume="10 L")
    assert report.warnings == ("no dilution leads to nothing of it: make the bath up anew",)


@pytest.mark.parametrize(("value", "half_width", "said"), [
    (55, 1, "inside the window"), (50.5, 1, "inside the window, not surely"),
])  # fmt: skip
def test_nothing_is_suggested_inside(value, half_width, said):
    report = told("copper", found(value, half_width), **WINDOW)
    assert len(report.rows) == 1
    assert texts(report)[0].endswith(said)
    assert report.warnings == ()


def test_without_a_window_or_a_volume():
    assert told("copper", found(45)).rows == ()
    report = told("copper", found(45), least="50 g/L")
    assert texts(report)[1] == ": how much that takes depends on the bath's volume"


def test_an_amount_is_told_in_kilograms_and_litres():
    report = told("copper", found(45), **{**WINDOW, "volume": "100 L"})
    assert "add: 3.92 kg of" in texts(report)[1]


@pytest.mark.parametrize(
    ("component", "tree", "complaint"),
    [
        ("copper", {"least": "60 g/L", "greatest": "50 g/L"}, "must rise"),
        ("copper", {"least": "50"}, "least: expected a mass concentration"),
        ("copper", {"greatest": "-5 g/L"}, "greatest: must not be less than 0 g/L"),
        ("copper", {"volume": "10"}, "volume: expected a volume"),
        ("copper", {"volume": "0 L"}, "volume: must be above 0 L"),
        ("copper", {"volume_limit": "100 %"}, "volume-limit: must be at least 0 and below 100 %"),
        ("copper", {"acid": "96 %"}, "acid: is of sulfuric acid or chloride, got '96 %'"),
        ("copper", {"purity": "0 %"}, "purity: must be above 0 and at most 100 %"),
        ("copper", {"purity": "99 g"}, "purity: expected a fraction"),
        ("sulfuric acid", {"purity": "96 %"}, "purity: is of crystals, got '96 %'"),
        ("sulfuric acid", {"acid": "strong"}, "acid: expected how strong sulfuric acid is"),
        ("sulfuric acid", {"acid": "110 %"}, "acid: sulfuric acid must be"),
        ("copper", {"also": {"chloride": "60"}}, "also chloride: expected a mass concentration"),
        ("copper", {"leest": "50 g/L"}, "leest is an unknown key (did you mean least?)"),
    ],
)
def test_one_clear_error(component, tree, complaint):
    with pytest.raises(InputError) as refused:
        told(component, found(45), **tree)
    (problem,) = refused.value.problems
    assert complaint in problem


def test_an_acid_that_is_too_weak():
    with pytest.raises(InputError, match="holds 50 g/L: with it a bath never reaches"):
        told("sulfuric acid", found(40), least="55 g/L", volume="10 L", acid="50 g/L")
