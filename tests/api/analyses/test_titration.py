"""Titrations as people write them: what is read, and what is refused with one clear error."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.api.analyses.titration import Limit, read_titration, titrated
from daemon.api.errors import InputError

COPPER = {
    "component": "copper",
    "titrant": "EDTA",
    "strength": "0.1 mol/L",
    "sample": "5 mL",
    "readings": ("7.623", "7.603"),
}


def form(**told):
    return read_titration({**COPPER, **{key.replace("_", "-"): v for key, v in told.items()}})


def concentration(**told):
    return titrated(form(**told)).analysis.concentration


@pytest.mark.parametrize(
    ("text", "volume_ml", "step_ml"),
    [
        ("7.623", 7.623, 0.001),
        ("7.62 mL", 7.62, 0.01),
        ("0.13-7.75", 7.62, 0.01),
        ("0.13 mL - 7.75 mL", 7.62, 0.01),
        ("0.13 – 7.75 mL", 7.62, 0.01),
        ("0-7.62", 7.62, 0.01),
        ("7.6", 7.6, 0.1),
        ("12", 12, 1),
        ("7620 µL", 7.62, 0.001),
    ],
)
def test_what_the_burette_showed(text, volume_ml, step_ml):
    (reading,) = form(readings=(text,)).readings
    assert reading.volume_ml == pytest.approx(volume_ml)
    assert reading.step_ml == pytest.approx(step_ml)


@given(st.floats(0, 50), st.floats(0.03, 50))
def test_a_reading_there_and_back(start, volume):
    (reading,) = form(readings=(f"{start:.2f}-{start + volume:.2f}",)).readings
    assert reading.volume_ml == pytest.approx(volume, abs=0.0101)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("7,62", "a decimal comma where a point belongs"),
        ("7.62-", 'expected a volume such as "7.62", or start and end'),
        ("1-2-3", "start and end"),
        ("", "start and end"),
        (7.62, "start and end"),
        ("7.75-0.13", "the end of a reading has to lie beyond its start, got 7.75 to 0.13 mL"),
        ("3-3", "has to lie beyond its start"),
        ("7.62 g", "of another kind"),
        ("0.1 mol-7 mL", "of another kind"),
    ],
)
def test_readings_that_are_none(text, complaint):
    with pytest.raises(InputError) as refused:
        form(readings=("7.62", text))
    (problem,) = refused.value.problems
    assert problem.startswith("readings[2]: ")
    assert complaint in problem


@pytest.mark.parametrize(
    ("titrant", "component", "strength"),
    [
        ("thiosulfate", "copper", "0.1 N"),
        ("thiosulfate", "copper", "0.1N"),
        ("EDTA", "copper", "0.1 M"),
        ("EDTA", "copper", "100 mmol/L"),
        # 63.546 g/mol at 0.1 mol/L.
        ("other", "copper", "6.3546 mg/mL"),
    ],
)
def test_strengths(titrant, component, strength):
    found = concentration(titrant=titrant, component=component, strength=strength, readings=("5",))
    assert found.value == pytest.approx(6.3546)


def test_the_factor_is_a_number_or_a_share():
    assert concentration(factor="0.995").value == pytest.approx(0.995 * concentration().value)
    assert concentration(factor="99.5 %").value == pytest.approx(0.995 * concentration().value)


def test_a_dilution_and_a_blank():
    # (15.73 - 0.1)·0.1·63.546/2 = 49.66 by hand.
    found = concentration(
        sample="10 mL", diluted_to="100 mL", aliquot="20 mL", readings=("15.73",), blank=("0.1",)
    )
    assert found.value == pytest.approx(49.66, abs=0.005)


def test_limits_are_volumes_or_shares():
    assert form(sample_limit="0.3 %").sample_limit == Limit(share=0.003)
    assert form(sample_limit="0.015 mL").sample_limit == Limit(ml=0.015)
    by_share = concentration(sample_limit="0.3 %")
    by_volume = concentration(sample_limit="0.015 mL")
    assert by_share.u == pytest.approx(by_volume.u)
    assert by_share.u < concentration().u


def test_what_is_left_to_common_practice_is_said():
    done = titrated(form(readings=("7.62",), burette_limit="0.02 mL"))
    assert done.taken == ("sample ± 1 %", "titrant ± 0.5 %", "end point ± 0.05 mL")
    three = ("7.62", "7.61", "7.63")
    done = titrated(form(readings=three, diluted_to="50 mL", aliquot="5 mL"))
    assert done.taken == (
        "burette ± 0.05 mL", "sample ± 1 %", "flask ± 0.4 %", "aliquot ± 1 %", "titrant ± 0.5 %",
    )  # fmt: skip
    all_told = {
        f"{name}_limit": "0.1 %" for name in ("burette", "sample", "flask", "aliquot", "titrant")
    }
    assert titrated(form(readings=three, **all_told)).taken == ()


@pytest.mark.parametrize(
    ("told", "complaint"),
    [
        ({"sample": "0 mL"}, "sample: must be above 0 mL, got 0 mL"),
        ({"sample": "5"}, "sample: expected a volume"),
        ({"component": "nickel"}, "component"),
        ({"titrant": "iodine"}, "titrant"),
        ({"readings": ()}, "readings: needs at least 1, got 0: what each titration took"),
        ({"sampel": "5 mL"}, "sampel is an unknown key (did you mean sample?)"),
        ({"strength": "0.1"}, "strength: expected an amount concentration such as"),
        ({"strength": "0.1 g"}, "strength: expected an amount concentration"),
        ({"strength": "0 mol/L"}, "concentration of the titrant must be above 0 mol/L"),
        ({"strength": "0.1 N"}, "strength: EDTA is to be given in mol/L, got '0.1 N'"),
        ({"titrant": "other", "strength": "0.1 mol/L"}, "strength: expected a mass by volume"),
        ({"titrant": "hydroxide"}, "hydroxide finds sulfuric acid, and not copper"),
        ({"factor": "995"}, "factor must be from 0.8 to 1.25, got 995"),
        ({"factor": "x"}, "factor: expected a fraction"),
        ({"blank": ("9",)}, "has to take more than the blank of 9 mL"),
        ({"aliquot": "5 mL"}, "a dilution needs both"),
        ({"diluted_to": "4 mL", "aliquot": "1 mL"}, "does not go into a flask of 4 mL"),
        ({"sample_limit": "100 %"}, "sample-limit: must be at least 0 and less than all of it"),
        ({"sample_limit": "-1 mL"}, "sample-limit: must be at least 0"),
        ({"titrant_limit": "100 %"}, "titrant-limit: must be at least 0 and below 100 %"),
        ({"end_point": "0.1 g"}, "end-point: expected a volume"),
    ],
)
def test_one_clear_error(told, complaint):
    with pytest.raises(InputError) as refused:
        concentration(**told)
    (problem,) = refused.value.problems
    assert complaint in problem
    assert str(refused.value).startswith("analysis: ")
