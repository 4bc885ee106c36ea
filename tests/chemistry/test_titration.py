"""Titrations against published ones, the `uncertainties` package, and drawn errors."""

import math
from statistics import fmean, stdev

import numpy as np
import pytest
from scipy import stats
from uncertainties import ufloat

from daemon.chemistry.titration import (
    EDTA,
    HYDROXIDE,
    SILVER_NITRATE,
    THIOSULFATE,
    Burette,
    Measured,
    Sample,
    Titrant,
    analysed,
    delivered,
    titrant_of,
)

EXACT = Burette(limit_ml=0.0, step_ml=0.0, end_point_ml=0.0)


def pipetted(volume_ml: float, limit_ml: float = 0.0) -> Sample:
    return Sample(Measured(volume_ml, limit_ml))


def test_a_published_edta_titration() -> None:
    # A titrator maker's application data, G10: copper by 0.1 mol/L EDTA, 5 mL of sample; its factor
    # 0.995 is inferred from the printed results.
    volumes_ml = (7.623, 7.603, 7.622, 7.611, 7.595)
    found = analysed(volumes_ml, titrant_of(EDTA, 0.1, 0.995), pipetted(5.0), EXACT)
    assert found.each_g_l == pytest.approx((9.639, 9.614, 9.638, 9.624, 9.603), rel=3e-4)
    assert found.concentration.value == pytest.approx(9.62, abs=0.005)
    assert found.scatter_g_l == pytest.approx(0.02, abs=0.005)
    assert found.odd is None


def test_a_published_thiosulfate_titration() -> None:
    # A titrator maker's application data, E11: copper by 0.1 mol/L thiosulfate after iodide, 1 mL
    # of sample; its factor 1.005 is inferred.
    volumes_ml = (9.623, 9.622, 9.632)
    found = analysed(volumes_ml, titrant_of(THIOSULFATE, 0.1, 1.005), pipetted(1.0), EXACT)
    assert found.each_g_l == pytest.approx((61.456, 61.450, 61.514), rel=2e-4)
    assert found.concentration.value == pytest.approx(61.5, abs=0.05)


def test_a_millilitre_of_decinormal_thiosulfate() -> None:
    # 6.3546 mg of copper (1 mol for 1 mol; hand sum): 1 mL for 1 mL of sample is 6.3546 g/L.
    assert titrant_of(THIOSULFATE, 0.1).g_ml == pytest.approx(6.3546e-3, rel=1e-5)
    assert titrant_of(HYDROXIDE, 1.0).g_ml == pytest.approx(49.039e-3, rel=1e-5)
    # 0.01 mol/L silver nitrate: 0.3545 mg of chloride, which the trade's handbooks print.
    assert titrant_of(SILVER_NITRATE, 0.01).g_ml == pytest.approx(0.3545e-3, rel=2e-4)


def test_free_acid_by_hand() -> None:
    # 12.24 mL of 1 mol/L for 10 mL: 12.24 · 49.039 / 10 = 60.02 g/L.
    found = analysed([12.24], titrant_of(HYDROXIDE, 1.0), pipetted(10.0))
    assert found.concentration.value == pytest.approx(60.02, abs=0.01)


def test_chloride_by_a_factor() -> None:
    # 8.2 mL, each for 0.355 mg, less a blank of 0.2 mL, in 50 mL: 56.8 mg/L by hand.
    found = analysed([8.2], Titrant(0.355e-3), pipetted(50.0), blanks_ml=[0.2])
    assert found.concentration.value == pytest.approx(0.0568)


def test_a_diluted_sample() -> None:
    # 10 mL made up to 100 mL, 20 mL of that: 2 mL of bath. 15.73 mL · 0.1 · 63.546 / 2 = 49.98.
    sample = Sample(Measured(10.0, 0.0), Measured(100.0, 0.0), Measured(20.0, 0.0))
    found = analysed([15.73], titrant_of(EDTA, 0.1), sample)
    assert sample.bath_ml == pytest.approx(2.0)
    assert found.concentration.value == pytest.approx(49.98, abs=0.01)


def test_between_two_marks() -> None:
    assert delivered(0.13, 7.75) == pytest.approx(7.62)


VOLUMES_ML = (15.71, 15.76, 15.73)
BLANKS_ML = (0.12, 0.08, 0.11)
SAMPLE = Sample(Measured(10.0, 0.04), Measured(100.0, 0.15), Measured(20.0, 0.06))
BURETTE = Burette(limit_ml=0.03, step_ml=0.01)
TITRANT = titrant_of(EDTA, 0.1, 0.998, limit=0.003)


def test_a_second_opinion_on_the_uncertainty() -> None:
    """The budget against the package's own derivatives, each error entered once by hand."""

    def limits(value: float, limit: float) -> object:
        return ufloat(value, limit / math.sqrt(3))

    volume = ufloat(fmean(VOLUMES_ML), stdev(VOLUMES_ML) / math.sqrt(3))
    blank = ufloat(fmean(BLANKS_ML), stdev(BLANKS_ML) / math.sqrt(3))
    mol_l = limits(0.1 * 0.998, 0.1 * 0.998 * 0.003)
    bath = limits(10, 0.04) * limits(20, 0.06) / limits(100, 0.15)
    other = (volume - blank + limits(0, 0.03)) * mol_l * 63.546 / bath

    found = analysed(VOLUMES_ML, TITRANT, SAMPLE, BURETTE, BLANKS_ML)
    assert found.concentration.value == pytest.approx(other.nominal_value, rel=1e-9)
    assert found.concentration.u == pytest.approx(other.std_dev, rel=1e-6)
    assert [share.name for share in found.concentration.shares] == [
        "scatter", "burette", "titrant", "blank", "sample", "flask", "aliquot",
    ]  # fmt: skip


def test_a_monte_carlo_on_the_interval() -> None:
    """JCGM 101: the inputs drawn from what is known of them, the result's middle 95 % counted."""
    chance = np.random.default_rng(101)
    draws = 400_000
    volumes_ml = np.round(15.7 + 0.05 * stats.norm.ppf((np.arange(30) + 0.5) / 30), 2)
    u_ml = volumes_ml.std(ddof=1) / math.sqrt(30)

    def limits(value, limit):
        return chance.uniform(value - limit, value + limit, draws)

    volume = volumes_ml.mean() + u_ml * chance.standard_t(29, draws) + limits(0, 0.03)
    mol_l = limits(0.1 * 0.998, 0.1 * 0.998 * 0.003)
    drawn = volume * mol_l * 63.546 / (limits(10, 0.04) * limits(20, 0.06) / limits(100, 0.15))
    found = analysed(volumes_ml.tolist(), TITRANT, SAMPLE, BURETTE).concentration
    half_width = np.quantile(np.abs(drawn - found.value), 0.95)
    assert found.expanded(0.95) == pytest.approx(half_width, rel=0.01)


def test_the_interval_holds_the_truth() -> None:
    """Whole titrations drawn anew, with errors in their glass, their titrant and each end point."""
    chance = np.random.default_rng(44)
    number, draws = 3, 300
    true_g_l, scatter_ml = 50.0, 0.03
    inside = 0
    for _ in range(draws):
        taken, flask, aliquot = (
            volume.volume_ml + chance.uniform(-volume.limit_ml, volume.limit_ml)
            for _, volume in SAMPLE.measured()
        )
        mol_l = 0.1 * 0.998 * (1 + chance.uniform(-0.003, 0.003))
        needed_ml = true_g_l * taken * aliquot / flask / (mol_l * 63.546)
        burette_ml = chance.uniform(-0.03, 0.03)
        shown_ml = needed_ml + burette_ml + chance.normal(0, scatter_ml, number)
        found = analysed([round(v, 2) for v in shown_ml], TITRANT, SAMPLE, BURETTE)
        budget = found.concentration
        inside += abs(budget.value - true_g_l) <= budget.expanded(0.95)
    # Four standard deviations of the draws below 95 %. Student's part makes it hold rather more.
    assert inside / draws >= 0.95 - 4 * math.sqrt(0.95 * 0.05 / draws)


def test_common_errors_do_not_average_out() -> None:
    once = analysed([15.70], TITRANT, SAMPLE, BURETTE).concentration
    often = analysed([15.70] * 100, TITRANT, SAMPLE, BURETTE).concentration
    common = {"burette", "titrant", "sample", "flask", "aliquot"}
    assert {s.name: s.u for s in once.shares if s.name in common} == pytest.approx(
        {s.name: s.u for s in often.shares if s.name in common}
    )


def test_scatter_averages_out() -> None:
    found = analysed([15.6, 15.7, 15.8], TITRANT, SAMPLE, BURETTE)
    per_ml = found.concentration.value / 15.7
    assert found.concentration.shares[0].u == pytest.approx(per_ml * 0.1 / math.sqrt(3))
    assert found.concentration.shares[0].freedom == 2
    assert found.scatter_g_l == pytest.approx(per_ml * 0.1)


def test_one_titration_alone_is_as_sure_as_a_drop() -> None:
    found = analysed([15.70], TITRANT, pipetted(10.0), Burette(end_point_ml=0.05))
    share = found.concentration.shares[0]
    assert share.name == "end point"
    assert share.u == pytest.approx(found.concentration.value / 15.70 * 0.05 / math.sqrt(3))
    assert found.scatter_g_l is None


def test_equal_readings_are_no_surer_than_their_last_digit() -> None:
    found = analysed([15.7] * 3, TITRANT, pipetted(10.0), Burette(step_ml=0.1))
    # Start and end are each within ± 0.05 mL: 0.1/√12 · √2 of one, and over √3 of three.
    assert found.concentration.shares[0].u == pytest.approx(
        found.concentration.value / 15.7 * 0.1 / math.sqrt(18)
    )


@pytest.mark.parametrize("volumes_ml", [(15.70, 15.70), (15.70, 15.78)])
def test_two_titrations_that_agree_are_as_sure_as_a_drop(volumes_ml: tuple[float, ...]) -> None:
    """Equal ones are not sure beyond measure, and 0.08 mL apart are not as unsure as ± 0.5 mL."""
    share = analysed(volumes_ml, TITRANT, pipetted(10.0)).concentration.shares[0]
    per_ml = 1000 * TITRANT.g_ml / 10
    assert share.name == "end point"
    assert share.u == pytest.approx(per_ml * 0.05 / math.sqrt(3) / math.sqrt(2))


def test_two_titrations_that_do_not_agree_have_students_interval() -> None:
    found = analysed([15.6, 15.8], Titrant(6e-3, 0.0), pipetted(10.0), Burette(limit_ml=0.0))
    scatter = found.concentration.shares[0].u
    wanted = scatter * stats.t.ppf(0.975, 1)
    assert found.concentration.expanded(0.95) == pytest.approx(wanted, rel=1e-6)


def test_an_outlier_is_pointed_out_and_stays_in_the_mean() -> None:
    volumes_ml = [15.71, 15.72, 15.70, 16.50, 15.71]
    found = analysed(volumes_ml, TITRANT, SAMPLE)
    assert found.odd == 3
    assert len(found.each_g_l) == 5
    per_ml = found.each_g_l[0] / 15.71
    assert found.concentration.value == pytest.approx(per_ml * fmean(volumes_ml))


@pytest.mark.parametrize(("volumes_ml", "apart"), [
    ((15.70, 15.85), True), ((15.70, 15.80), False), ((15.70,), False), ((15.7, 15.8, 16), False),
])  # fmt: skip
def test_two_that_do_not_agree(volumes_ml: tuple[float, ...], apart: bool) -> None:
    assert analysed(volumes_ml, TITRANT, SAMPLE).apart is apart


@pytest.mark.parametrize(("start_ml", "end_ml"), [(7.75, 0.13), (3.0, 3.0), (0.0, -1.0)])
def test_a_burette_that_runs_backwards(start_ml: float, end_ml: float) -> None:
    with pytest.raises(ValueError, match="the end of a reading has to lie beyond its start"):
        delivered(start_ml, end_ml)


@pytest.mark.parametrize(("start_ml", "end_ml"), [(-0.1, 5.0), (math.nan, 5.0), (0.0, math.inf)])
def test_a_burette_that_shows_nonsense(start_ml: float, end_ml: float) -> None:
    with pytest.raises(ValueError, match="mL"):
        delivered(start_ml, end_ml)


@pytest.mark.parametrize(("volumes_ml", "blanks_ml", "why"), [
    ((), (), "at least one titration"),
    ((0.0,), (), "above 0 mL"),
    ((-3.0,), (), "above 0 mL"),
    ((math.nan,), (), "above 0 mL"),
    ((5.0, 0.2), (0.3,), "more than the blank of 0.3 mL, got 0.2 mL"),
    ((5.0,), (5.0,), "more than the blank"),
    ((5.0,), (-0.1,), "blank must be at least 0 mL"),
])  # fmt: skip
def test_readings_that_are_nonsense(
    volumes_ml: tuple[float, ...], blanks_ml: tuple[float, ...], why: str
) -> None:
    with pytest.raises(ValueError, match=why):
        analysed(volumes_ml, TITRANT, SAMPLE, blanks_ml=blanks_ml)


@pytest.mark.parametrize(("make", "why"), [
    (lambda: Sample(Measured(0.0, 0.0)), "volume of the sample must be above 0 mL"),
    (lambda: Sample(Measured(5.0, 5.0)), "limit of the sample must be less than its volume"),
    (lambda: Sample(Measured(5.0, -0.1)), "limit of the sample must be at least 0"),
    (lambda: Sample(Measured(5.0, 0.0), Measured(100.0, 0.0)), "a dilution needs both"),
    (lambda: Sample(Measured(5.0, 0.0), None, Measured(10.0, 0.0)), "a dilution needs both"),
    (lambda: Sample(Measured(50.0, 0.0), Measured(25.0, 0.0), Measured(1.0, 0.0)),
     "does not go into a flask of 25 mL"),
    (lambda: Sample(Measured(5.0, 0.0), Measured(25.0, 0.0), Measured(50.0, 0.0)),
     "more than the flask of 25 mL holds"),
    (lambda: Titrant(0.0), "must be above 0 g/mL"),
    (lambda: Titrant(0.006, 1.0), "from 0 to below 1"),
    (lambda: titrant_of(EDTA, 0.0), "above 0 mol/L"),
    (lambda: titrant_of(EDTA, 0.1, 99.5), "factor must be from 0.8 to 1.25, got 99.5"),
    (lambda: Burette(limit_ml=-0.1), "limit of the burette must be at least 0"),
    (lambda: Burette(step_ml=math.nan), "step of the readings"),
    (lambda: Burette(end_point_ml=-0.1), "limit of the end point"),
])  # fmt: skip
def test_glass_and_titrants_that_cannot_be(make: object, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        make()
