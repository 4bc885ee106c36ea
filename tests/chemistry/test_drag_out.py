"""Drag-out: conversions, a printed estimate by a tracer, and the `uncertainties` package."""

import pytest
from uncertainties import ufloat

from daemon.chemistry.drag_out import DRAINED, USUAL_ML_DM2, Tracer, by_tracer, carried_l


def test_gallons_on_a_thousand_square_feet() -> None:
    # Electroplating Engineering Handbook, from memory: 0.4, 2.0, 4.0 gal/1000 ft²; 1 gal on 1000
    # ft² is 40.746 mL/m².
    figures = {each.how: each.ml_dm2[0] * 100 for each in DRAINED}
    assert figures["vertical, well drained"] == pytest.approx(16.30, rel=1e-3)
    assert figures["vertical, poorly drained"] == pytest.approx(81.49, rel=1e-3)
    assert figures["vertical, very poorly drained"] == pytest.approx(162.98, rel=1e-3)
    assert figures["horizontal, very poorly drained"] == pytest.approx(407, rel=2e-3)
    assert [100 * ml for ml in DRAINED[-1].ml_dm2] == pytest.approx([326, 978], rel=2e-3)


def test_by_area() -> None:
    assert carried_l(180, USUAL_ML_DM2) == pytest.approx(0.18)
    assert carried_l(180) == carried_l(180, 1.0)


def test_a_printed_estimate_by_a_tracer() -> None:
    # A trade note: 1000 lb lost at 20 oz/gal are 800 gal.
    gram, litre = 453.59237, 3.785411784
    concentration = 20 * gram / 16 / litre
    left = by_tracer(Tracer(1000 * gram, concentration, concentration, 5000))
    assert left.value / litre == pytest.approx(800, rel=1e-9)


def test_what_the_bath_gained_was_not_lost() -> None:
    # 15 L from 58 to 60 g/L hold 30 g more; of 100 g added 70 g left, at 59 g/L 1.186 L.
    assert by_tracer(Tracer(100, 58, 60, 15)).value == pytest.approx(1.186, abs=1e-3)


def test_a_second_opinion_on_the_uncertainty() -> None:
    tracer = Tracer(100, 58, 60, 15, 1.0, 0.6, 0.7, 0.3)
    added, start, end, volume = ufloat(100, 1), ufloat(58, 0.6), ufloat(60, 0.7), ufloat(15, 0.3)
    other = (added - (end - start) * volume) / ((start + end) / 2)
    found = by_tracer(tracer)
    assert found.value == pytest.approx(other.nominal_value)
    assert found.u == pytest.approx(other.std_dev, rel=1e-9)


def test_a_bath_may_have_lost_nothing() -> None:
    found = by_tracer(Tracer(30, 58, 60, 15))
    assert found.value == 0
    assert {share.name for share in found.shares} == {
        "added", "first analysis", "last analysis", "volume",
    }  # fmt: skip


def test_a_bath_that_gained_more_than_was_added_tells_nothing() -> None:
    with pytest.raises(ValueError, match="holds 30 g more than before, and only 20 g were added"):
        by_tracer(Tracer(20, 58, 60, 15))


@pytest.mark.parametrize("call", [
    lambda: carried_l(0), lambda: carried_l(1, -1), lambda: by_tracer(Tracer(-1, 58, 58, 15)),
    lambda: by_tracer(Tracer(1, 0, 58, 15)), lambda: by_tracer(Tracer(1, 58, 58, 0)),
])  # fmt: skip
def test_figures_below_nothing(call: object) -> None:
    with pytest.raises(ValueError, match="must be"):
        call()
