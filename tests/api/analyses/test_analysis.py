"""An analysis in words, against figures by hand and printed ones."""

import pytest

from daemon.api.analyses.analysis import CONFIDENCE, entry_facts, found
from daemon.api.analyses.titration import read_titration, titrated
from daemon.bath import kinds
from daemon.bath.description import Description

# A titrator maker's application data, G10: 9.639, 9.614, 9.638, 9.624, 9.603, mean 9.62 g/L.
EDTA = {
    "component": "copper",
    "titrant": "EDTA",
    "strength": "0.1 mol/L",
    "factor": "0.995",
    "sample": "5 mL",
    "readings": ("7.623", "7.603", "7.622", "7.611", "7.595"),
}


def report(**told):
    return found(titrated(read_titration({**EDTA, **told})))


def rows(**told):
    return {row.name: row.text for row in report(**told).rows}


def test_a_published_titration():
    said = rows()
    assert said["copper"] == "9.62 ± 0.14 g/L (95 %)"
    # 9.6243 · 249.685 / 63.546 = 37.82
    assert said["as crystals"] == "37.8 ± 0.6 g/L (95 %) of CuSO4·5H2O"
    assert said["by"] == "EDTA 0.1 mol/L, factor 0.995; 5 mL of bath"
    assert said["each"] == "9.640, 9.614, 9.639, 9.625, 9.604 g/L; s = 0.015 g/L"
    assert said["doubt"].startswith("u = 0.072 g/L; of u²: sample 59 %, burette 25 %")
    assert said["taken"].startswith("burette ± 0.05 mL, sample ± 1 %, titrant ± 0.5 % (common")
    assert report().warnings == ()


def test_a_dilution_and_a_blank_are_told():
    said = rows(**{"diluted-to": "100 mL", "aliquot": "20 mL", "blank": ("0.1", "0.12")})
    assert said["by"].endswith(
        "5 mL of bath made up to 100 mL, 20 mL of that, less 0.11 mL of blank"
    )


def test_chloride_is_shown_in_milligrams_and_for_guidance():
    told = report(
        component="chloride", titrant="other", strength="0.355 mg/mL", factor="1",
        sample="50 mL", readings=("8.2", "8.3"),
    )  # fmt: skip
    said = {row.name: row.text for row in told.rows}
    # 8.25 · 0.355 / 0.05 = 58.6; u is 0.78 % of it: √(0.25² + 0.35² + 0.58² + 0.29²).
    assert said["chloride"] == "58.6 ± 0.9 mg/L (95 %)"
    assert said["by"].startswith("titrant 0.355 mg/mL; ")
    assert "as crystals" not in said
    assert "chloride by titration is for guidance only (common practice)" in told.warnings


@pytest.mark.parametrize(
    ("told", "warning"),
    [
        ({"readings": ("7.62", "7.61", "7.60", "8.40", "7.61")},
         "titration 4 of 8.4 mL does not belong to the others"),
        ({"readings": ("7.62", "7.80")}, "more than two drops apart: do a third"),
        ({"readings": ("7.62",)}, "one titration does not tell"),
        ({"sample": "0.5 mL"}, "a bath hardly holds more than 90 g/L"),
    ],
)  # fmt: skip
def test_what_should_make_one_think_again(told, warning):
    assert any(warning in each for each in report(**told).warnings)


def test_an_outlier_is_not_dropped():
    volumes = ("7.62", "7.61", "7.60", "8.40", "7.61")
    said = rows(readings=volumes, factor="1")["copper"]
    # The mean of all five, 7.768 mL: 7.768·0.1·63.546/5 = 9.87.
    assert said.startswith("9.9 ± ")


@pytest.mark.parametrize(
    ("titrant", "component", "strength", "caution"),
    [
        ("EDTA", "copper", "0.1 mol/L", "EDTA keeps copper dissolved"),
        ("thiosulfate", "copper", "0.1 mol/L", "sulfur dioxide"),
        ("hydroxide", "sulfuric acid", "1 mol/L", "Sodium hydroxide blinds"),
        ("silver nitrate", "chloride", "0.01 mol/L", "Silver nitrate stains"),
        ("other", "copper", "6 mg/mL", "safety data sheets"),
    ],
)
def test_cautions(titrant, component, strength, caution):
    told = report(titrant=titrant, component=component, strength=strength).cautions
    assert any(caution in each for each in told)
    assert any("eye protection" in each for each in told)
    assert any("no drains" in each for each in told)


def test_glass_that_is_perfect_leaves_the_scatter():
    perfect = dict.fromkeys(("burette-limit", "sample-limit", "titrant-limit"), "0 %")
    assert rows(**perfect)["doubt"].endswith("of u²: scatter 100 %")


def test_nothing_that_errs_is_told_without_doubt():
    exact = dict.fromkeys(("burette-limit", "sample-limit", "titrant-limit", "end-point"), "0 %")
    done = titrated(read_titration({**EDTA, **exact, "readings": ("7.623", "7.623")}))
    assert done.analysis.concentration.u > 0  # the last digit


def test_what_is_kept_is_an_entry_of_the_account():
    done = titrated(read_titration(EDTA))
    facts = entry_facts(done, EDTA)
    kinds.check(kinds.ANALYSIS, {}, facts, Description("b"), ())
    assert facts["method"] == "EDTA 0.1 mol/L"
    assert facts["results"]["copper"]["value"] == pytest.approx(9.624, abs=1e-3)
    u = facts["results"]["copper"]["u"]
    assert 1.6 * u < done.analysis.concentration.expanded(CONFIDENCE) < 2 * u
    # All that was written is there to work it out again.
    again = titrated(read_titration(facts["details"]))
    assert again.analysis.concentration == done.analysis.concentration


def test_chloride_is_kept_in_milligrams():
    tree = {**EDTA, "component": "chloride", "titrant": "other", "strength": "0.355 mg/mL",
            "factor": "1", "sample": "50 mL", "readings": ["8.2"]}  # fmt: skip
    facts = entry_facts(titrated(read_titration(tree)), tree)
    assert facts["results"]["chloride"]["value"] == pytest.approx(58.22)
