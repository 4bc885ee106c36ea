"""The balance of a bath: hand sums, other libraries, trials with random numbers."""

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from daemon.chemistry.mass_balance import (
    Doubtful,
    Rates,
    analysed,
    carried_off,
    charged,
    filled_up,
    left_over,
    levelled,
    made_up,
    put_in,
    rested,
    taken_out,
)

RATES = Rates(
    excess=Doubtful(0.005, 0.004),
    evaporation_l_d=Doubtful(0.2, 0.05),
    drag_out_l_dm2=Doubtful(0.001, 0.0004),
    use_ml_ah={"brightener": Doubtful(0.15, 0.04)},
    scatter=0.0,
)
CONTENTS = {
    "copper": Doubtful(500.0, 5.0),
    "sulfuric acid": Doubtful(600.0, 6.0),
    "brightener": Doubtful(50.0, 2.0),
}
BATH = made_up(Doubtful(10.0, 0.2), CONTENTS, RATES)


def test_what_the_anodes_give_more_than_the_cathodes_take_stays_in_the_bath():
    after = charged(BATH, 1000.0)
    # 1.186 g/A·h (handbook table of electrochemical equivalents, 100 %, to 0.1 %) times 0.5 %.
    gained = after.amount("copper").value - 500.0
    assert gained == pytest.approx(0.005 * 1000 * 1.186, rel=1e-3)
    # Mole for mole: 98.078 g of sulfuric acid for 63.546 g of copper.
    assert 600.0 - after.amount("sulfuric acid").value == pytest.approx(
        gained * 98.078 / 63.546, rel=1e-5
    )
    assert after.amount("brightener").value == pytest.approx(50.0 - 150.0)
    assert after.amount("volume").value == 10.0


def test_the_doubt_of_a_rate_grows_with_charge_and_not_with_its_square_root():
    def own_u(charge_ah):
        return math.sqrt(charged(BATH, charge_ah).amount("copper").u ** 2 - 5.0**2)

    assert own_u(400.0) == pytest.approx(0.004 * 400 * 1.1855, rel=1e-3)
    assert own_u(800.0) == pytest.approx(2 * own_u(400.0))
    # The same in many steps as in one.
    many = BATH
    for _ in range(100):
        many = charged(many, 8.0)
    assert many.amount("copper").u == pytest.approx(charged(BATH, 800.0).amount("copper").u)


def test_water_that_evaporates_leaves_everything_else_behind():
    after = rested(BATH, 10.0)
    assert after.amount("volume").value == pytest.approx(8.0)
    assert after.amount("copper") == BATH.amount("copper")
    assert after.concentration("copper").value == pytest.approx(62.5)
    # 10 days of 0.2 ± 0.05 L, and a level known to 0.2 L.
    assert after.amount("volume").u == pytest.approx(math.hypot(0.2, 0.5))


def test_single_days_scatter_by_the_square_root_of_their_number():
    rates = Rates(evaporation_l_d=Doubtful(0.2), scatter=0.3)
    bath = made_up(Doubtful(10.0), {"copper": Doubtful(500.0)}, rates)
    assert rested(bath, 9.0).amount("volume").u == pytest.approx(0.06 * 3)
    daily = bath
    for _ in range(9):
        daily = rested(daily, 1.0)
    assert daily.amount("volume").u == pytest.approx(0.06 * 3)


def test_parts_carry_bath_away_and_its_concentration_stays():
    after = carried_off(BATH, 100.0)
    # 100 mL/m² is 1 mL/dm²: 100 dm² carry off 0.1 L with 1 % of all that is dissolved.
    assert after.amount("volume").value == pytest.approx(9.9)
    assert after.amount("copper").value == pytest.approx(495.0)
    assert after.concentration("copper").value == pytest.approx(50.0)
    assert carried_off(BATH, 0.0).amount("volume") == BATH.amount("volume")


def test_a_sample_takes_its_share():
    after = taken_out(BATH, Doubtful(0.5, 0.01))
    assert after.amount("sulfuric acid").value == pytest.approx(570.0)
    with pytest.raises(ValueError, match="from 0 to 10 L, got 12 L"):
        taken_out(BATH, Doubtful(12.0))


def test_a_concentration_has_the_doubt_that_another_library_finds():
    volume, copper = ufloat(10.0, 0.2), ufloat(500.0, 5.0)
    found = BATH.concentration("copper")
    assert found.value == pytest.approx((copper / volume).n)
    assert found.u == pytest.approx((copper / volume).s)
    # After a sample, whose volume is doubtful too, amount and volume are no more independent.
    sample = ufloat(0.5, 0.01)
    after = taken_out(BATH, Doubtful(0.5, 0.01))
    assert after.amount("copper").u == pytest.approx((copper * (1 - sample / volume)).s)
    assert after.concentration("copper").u == pytest.approx((copper / volume).s)


def test_a_finding_is_weighed_with_what_was_expected():
    bath = made_up(Doubtful(10.0), {"copper": Doubtful(500.0, 20.0)}, Rates())
    after, (finding,) = analysed(bath, {"copper": Doubtful(52.0, 1.0)})
    # Two values, 50 ± 2 and 52 ± 1: weights 1/4 and 1.
    assert after.concentration("copper").value == pytest.approx((50 / 4 + 52) / 1.25)
    assert after.concentration("copper").u == pytest.approx(1.25**-0.5)
    assert finding.deviations == pytest.approx(2 / 5**0.5)
    assert finding.believed


def test_a_component_of_which_nothing_was_known_is_what_was_found():
    bath = made_up(Doubtful(10.0, 0.2), {"copper": Doubtful(0.0, 1e4)}, Rates())
    after, (finding,) = analysed(bath, {"copper": Doubtful(51.0, 0.5)})
    assert finding.believed
    assert after.concentration("copper").value == pytest.approx(51.0)
    assert after.concentration("copper").u == pytest.approx(0.5)
    # Of the amount it is known as well as the volume is.
    assert after.amount("copper").u == pytest.approx(510 * math.hypot(0.02, 0.5 / 51))


def test_analyses_teach_what_the_anodes_do():
    after, _ = analysed(charged(BATH, 2000.0), {"copper": Doubtful(55.0, 0.3)})
    assert after.amount("excess").value > 0.005
    assert after.amount("excess").u < 0.004


def test_a_finding_that_both_doubts_do_not_explain_is_told_and_not_believed_until_it_comes_again():
    far = {"copper": Doubtful(60.0, 0.5)}
    after, (finding,) = analysed(BATH, far)
    assert not finding.believed
    assert finding.expected.value == pytest.approx(50.0)
    assert after.concentration("copper") == BATH.concentration("copper")
    # It comes again: what was expected was wrong.
    again, (finding,) = analysed(after, {"copper": Doubtful(60.5, 0.5)})
    assert finding.believed
    assert again.concentration("copper").value == pytest.approx(60.5)
    assert again.concentration("copper").u == pytest.approx(0.5)
    # One that is 3 g/L from the first is not the same again: three of both's 0.71 g/L are 2.1.
    _, (finding,) = analysed(after, {"copper": Doubtful(63.0, 0.5)})
    assert not finding.believed
    # Another far one, but elsewhere, proves nothing.
    other, (finding,) = analysed(after, {"copper": Doubtful(40.0, 0.5)})
    assert not finding.believed
    # One that fits clears the suspicion.
    fits, _ = analysed(after, {"copper": Doubtful(50.0, 0.5)})
    _, (finding,) = analysed(fits, far)
    assert not finding.believed
    assert other.amount("copper") == BATH.amount("copper")


def test_what_is_put_in_is_there_with_its_doubt():
    # 500 g and 20 g; 5 g and 1 g of doubt that know nothing of each other: √26 g.
    after = put_in(BATH, {"copper": Doubtful(20.0, 1.0)})
    assert after.amount("copper").value == pytest.approx(520.0)
    assert after.amount("copper").u == pytest.approx(26.0**0.5)
    assert after.amount("volume") == BATH.amount("volume")


def test_a_level_is_weighed_and_filling_up_to_a_mark_makes_the_volume_known():
    low = rested(BATH, 10.0)
    read = levelled(low, Doubtful(8.6, 0.1))
    assert 8.5 < read.amount("volume").value < 8.6
    # Less has evaporated than was thought.
    assert read.amount("evaporation").value < 0.2
    full = filled_up(low, Doubtful(10.0, 0.1))
    assert full.amount("volume").value == 10.0
    assert full.amount("volume").u == pytest.approx(0.1)
    assert full.amount("copper") == low.amount("copper")
    assert full.amount("evaporation") == low.amount("evaporation")


def test_carbon_leaves_a_share_of_an_additive_and_nothing_else_changes():
    after = left_over(BATH, "brightener", Doubtful(0.1, 0.1))
    assert after.amount("brightener").value == pytest.approx(5.0)
    assert after.amount("brightener").u == pytest.approx(math.hypot(0.1 * 2.0, 0.1 * 50.0))
    assert after.amount("copper") == BATH.amount("copper")
    assert left_over(BATH, "carrier", Doubtful(0.1)) is BATH


def test_a_year_of_events_has_the_spread_that_random_trials_show():
    """The same events with rates and amounts drawn at random, by sums written out here."""
    draw = random.Random(7)
    found = []
    for _ in range(4000):
        volume, copper = draw.gauss(10.0, 0.05), draw.gauss(500.0, 5.0)
        excess, evaporation = draw.gauss(0.005, 0.004), draw.gauss(0.05, 0.01)
        drag_out = draw.gauss(0.001, 0.0004)
        for _ in range(20):
            volume -= 5 * evaporation
            copper += excess * 40 * 63.546 * 3600 / (2 * 96485.33212)
            copper -= copper / volume * 15 * drag_out
            volume -= 15 * drag_out
            volume = draw.gauss(10.0, 0.05)
        found.append(copper / volume)
    rates = Rates(Doubtful(0.005, 0.004), Doubtful(0.05, 0.01), Doubtful(0.001, 0.0004), scatter=0)
    bath = made_up(Doubtful(10.0, 0.05), {"copper": Doubtful(500.0, 5.0)}, rates)
    for _ in range(20):
        bath = carried_off(charged(rested(bath, 5.0), 40.0), 15.0)
        bath = filled_up(bath, Doubtful(10.0, 0.05))
    expected = bath.concentration("copper")
    assert expected.value == pytest.approx(np.mean(found), abs=4 * expected.u / 4000**0.5)
    assert expected.u == pytest.approx(np.std(found), rel=0.05)


EVENTS = st.lists(
    st.one_of(
        st.tuples(st.just(rested), st.floats(0, 2)),
        st.tuples(st.just(charged), st.floats(0, 50)),
        st.tuples(st.just(carried_off), st.floats(0, 30)),
        st.tuples(st.just(taken_out), st.floats(0, 0.3).map(lambda v: Doubtful(v, 0.02 * v))),
        st.tuples(
            st.just(put_in), st.floats(0, 1).map(lambda v: {"volume": Doubtful(v, 0.03 * v)})
        ),
        st.tuples(st.just(levelled), st.floats(9, 11).map(lambda v: Doubtful(v, 0.2))),
    ),
    max_size=30,
)


@given(EVENTS)
def test_no_event_makes_copper_and_every_covariance_is_one(events):
    bath = made_up(Doubtful(100.0, 0.2), CONTENTS, RATES)
    for event, what in events:
        before = bath
        bath = event(bath, what)
        sulfate = [
            each.amount("copper").value / 63.546 + each.amount("sulfuric acid").value / 98.0783
            for each in (before, bath)
        ]
        if event in (charged, rested, put_in):
            # Copper that comes takes the place of acid: sulfate neither comes nor goes.
            assert sulfate[1] == pytest.approx(sulfate[0])
        if event in (carried_off, taken_out):
            assert sulfate[1] <= sulfate[0] + 1e-9
            assert bath.concentration("copper").value == pytest.approx(
                before.concentration("copper").value
            )
        assert np.allclose(bath.covariance, bath.covariance.T)
        least = np.linalg.eigvalsh(bath.covariance).min()
        assert least >= -1e-9 * np.abs(bath.covariance).max()


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: made_up(Doubtful(0.0), CONTENTS, RATES), "volume must be above 0 L"),
        (lambda: made_up(Doubtful(10.0), {}, RATES), "brightener: is used up by charge"),
        (lambda: Doubtful(1.0, -0.1), "uncertainty must be at least 0"),
        (lambda: Doubtful(math.nan), "must be a finite number"),
        (lambda: rested(BATH, -1.0), "time must be at least 0 d"),
        (lambda: carried_off(BATH, -1.0), "area must be at least 0 dm²"),
        (lambda: charged(BATH, math.inf), "must be a finite number"),
    ],
)
def test_what_cannot_be_is_refused(wrong, said):
    with pytest.raises(ValueError, match=said):
        wrong()
