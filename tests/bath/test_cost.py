"""What a run has cost: by hand."""

import math

import pytest

from daemon.bath.cost import Energy, cost, energy, energy_by_means
from daemon.bath.description import Additive, Description, Prices
from daemon.record.entries import Sample
from daemon.record.series import Bands, Series

BATH = Description(
    "bath A",
    additives=(Additive("brightener", 150.0), Additive("carrier")),
    prices=Prices("EUR", 12.0, 0.40, {"brightener": 38.0}),
)


def samples(values, step_s=1.0):
    return [Sample(1, step_s * n, a, v, 2.0, 0.0) for n, (a, v) in enumerate(values)]


def test_the_energy_is_the_integral_of_the_power():
    found = energy(samples([(2.0, 3.0)] * 3601))
    assert found.cell_kwh == pytest.approx(0.006)
    assert found.unread_s == 0
    # A current that rises from 0 to 2 A at 3 V: half of it.
    rising = [(2.0 * n / 3600, 3.0) for n in range(3601)]
    assert energy(samples(rising)).cell_kwh == pytest.approx(0.003)


def test_what_was_not_read_is_told_and_nothing_is_made_up_for_it():
    gap = [Sample(1, 0.0, 2.0, 3.0, 2.0, 0.0), Sample(1, 60.0, 2.0, 3.0, 2.0, 0.0)]
    assert energy(gap) == Energy(0.0, 60.0)
    blind = samples([(2.0, 3.0), (2.0, None), (2.0, 3.0)])
    assert energy(blind) == Energy(0.0, 2.0)
    assert energy([]) == Energy(0.0, 0.0)


def test_each_thing_used_has_its_price_and_what_has_none_is_said():
    found = cost(100.0, 84.4, Energy(0.4, 0.0), BATH, 0.8)
    by_name = {item.name: item for item in found.items}
    assert by_name["copper"].price == pytest.approx(1.20)
    assert by_name["brightener"].amount == pytest.approx(12.66)
    assert by_name["brightener"].price == pytest.approx(12.66e-3 * 38)
    assert by_name["electricity"].amount == pytest.approx(0.5)
    assert by_name["electricity"].price == pytest.approx(0.20)
    # An additive without a rate is not used up by charge, as far as is known.
    assert "carrier" not in by_name
    assert found.total == pytest.approx(1.20 + 0.48108 + 0.20)
    assert found.unpriced == ()
    bare = cost(100.0, 84.4, Energy(0.4, 0.0), Description("bath A"))
    assert (bare.total, bare.unpriced) == (0, ("copper", "electricity"))


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ((-1.0, 1.0, Energy(0, 0), BATH), "copper must be at least 0 g"),
        ((1.0, math.nan, Energy(0, 0), BATH), "charge must be at least 0 A·h"),
        ((1.0, 1.0, Energy(0, 0), BATH, 1.2), "must be above 0 and at most 1, got 1.2"),
        ((1.0, 1.0, Energy(0, 0), BATH, 0.0), "must be above 0 and at most 1, got 0"),
    ],
)
def test_what_cannot_be_is_refused(wrong, said):
    with pytest.raises(ValueError, match=said):
        cost(*wrong)


def test_energy_by_means_counts_spans_and_tells_what_was_not_read() -> None:
    # 2 A at 3 V for 600 s is 1 Wh; 10 s of silence; a minute without a voltage.
    none = Bands((None, None, None), (None, None, None), (None, None, None))
    seen = Series(
        "minute",
        first_s=(0.0, 610.0, 670.0),
        last_s=(600.0, 669.0, 730.0),
        current_a=Bands((2.0,) * 3, (2.0,) * 3, (2.0,) * 3),
        voltage_v=Bands((3.0, 3.0, None), (3.0, 3.0, None), (3.0, 3.0, None)),
        set_current_a=none,
        charge_ah=(0.0, 0.0, 0.0),
        temperature_c=none,
    )
    found = energy_by_means(seen)
    # 6 W for 600 s and 59 s; of 10 s and 61 s nothing is known.
    assert found.cell_kwh == pytest.approx(6.0 * 659.0 / 3.6e6)
    assert found.unread_s == pytest.approx(71.0)
