"""Topping up: by hand, and by mixing what is left with what is added."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.chemistry.acid_density import SULFURIC, of_specific_gravity, of_wt_percent
from daemon.chemistry.make_up import Composition, Sources, copper_g_l_of, held_by
from daemon.chemistry.substances import CHLORIDE_IN_SODIUM_CHLORIDE
from daemon.chemistry.top_up import SLACK, top_up

CONCENTRATED = Sources(acid=of_wt_percent(SULFURIC, 96))
BATTERY = Sources(acid=of_specific_gravity(SULFURIC, 1.280))


def bath(salt_g_l, acid_g_l, chloride_mg_l=60.0, **more):
    return Composition(copper_g_l_of(salt_g_l), acid_g_l, chloride_mg_l, **more)


TARGET = bath(200, 60)


def test_a_bath_that_wants_everything():
    # By hand, for 10 L of 200 + 60 g/L + 60 mg/L from 9 L of 180 + 55 g/L + 40 mg/L:
    # 2000 - 1620 = 380 g; (600 - 495) / 0.96 = 109.4 g; (600 - 360) mg / 0.60663 = 0.3956 g.
    found = top_up(bath(180, 55, 40), 9, TARGET, 10, CONCENTRATED)
    assert found.taken_out_l == 0
    assert found.thinned == ()
    assert found.without_taking_out_l is None
    assert found.added.crystals_g == pytest.approx(380.0)
    assert found.added.acid_g == pytest.approx(109.375)
    assert found.added.chloride_g == pytest.approx(0.3956, rel=1e-3)
    # Water comes to the tenth litre, less what the added salt takes up: 0.7 to 1 kg.
    assert 700 < found.added.water_g < 1000


def test_evaporated_water_alone():
    # 9 L with 10 L's salt, acid and chloride: nothing but the litre is missing, about 1 kg.
    found = top_up(bath(200 / 0.9, 60 / 0.9, 60 / 0.9), 9, TARGET, 10, CONCENTRATED)
    assert found.taken_out_l == 0
    assert found.added.crystals_g == pytest.approx(0, abs=1e-9)
    assert found.added.acid_g == pytest.approx(0, abs=1e-9)
    assert found.added.water_g == pytest.approx(1000, rel=0.02)


def test_too_much_copper_can_only_be_thinned():
    # By hand: 10 - 10 · 200 / 230 = 1.304 L out, or filled up to 10 · 230 / 200 = 11.5 L.
    found = top_up(bath(230, 55), 10, TARGET, 10, CONCENTRATED)
    assert found.thinned == ("copper",)
    assert found.taken_out_l == pytest.approx(1.3043, rel=1e-4)
    assert found.without_taking_out_l == pytest.approx(11.5)
    assert found.added.crystals_g == pytest.approx(0, abs=1e-9)
    # 600 - 55 · 8.6957 = 121.7 g of acid, of 96 % 126.8 g.
    assert found.added.acid_g == pytest.approx(126.8, rel=1e-3)


def test_the_worst_component_decides():
    found = top_up(bath(230, 90, 66), 10, TARGET, 10, CONCENTRATED)
    assert found.thinned == ("copper", "sulfuric acid", "chloride")
    assert found.taken_out_l == pytest.approx(10 - 10 * 60 / 90)
    assert found.without_taking_out_l == pytest.approx(15.0)


def test_a_little_too_much_is_left_as_it_is():
    found = top_up(bath(200 * (1 + 0.9 * SLACK), 60), 10, TARGET, 10, CONCENTRATED)
    assert found.taken_out_l == 0
    assert found.thinned == ()


def test_weak_acid_needs_room():
    """Battery acid for 20 g/L brings more water than has left: bath has to be taken out for it."""
    found = top_up(bath(200, 40), 10, TARGET, 10, BATTERY)
    assert found.thinned == ()
    # About 20 g/L · 10 L / 473 g/L = 0.42 L of acid, and more since what is taken out is replaced.
    assert 0.42 < found.taken_out_l < 0.6
    assert found.added.water_g == pytest.approx(0, abs=1e-5)
    assert found.without_taking_out_l == pytest.approx(10 + found.taken_out_l, rel=0.01)


def test_less_bath_than_there_is():
    found = top_up(TARGET, 10, TARGET, 6, CONCENTRATED)
    assert found.taken_out_l == 4
    assert found.thinned == ()
    assert found.without_taking_out_l == 10
    assert found.added.crystals_g == pytest.approx(0, abs=1e-9)


def test_what_is_not_known_counts_as_on_target():
    found = top_up(bath(180, 55, None), 9, TARGET, 10, CONCENTRATED)
    assert found.unknown == ("chloride",)
    # The tenth litre alone gets chloride: 60 mg.
    assert found.added.chloride_g == pytest.approx(0.060 / CHLORIDE_IN_SODIUM_CHLORIDE)


def test_chloride_that_the_target_does_not_tell_is_left_alone():
    found = top_up(bath(180, 55, 500), 9, bath(200, 60, None), 10, CONCENTRATED)
    assert (found.thinned, found.unknown, found.added.chloride_g) == ((), (), 0)


def test_chloride_that_shall_not_be_there_cannot_be_filled_away():
    found = top_up(bath(200, 60, 50), 10, bath(200, 60, 0), 10, CONCENTRATED)
    assert found.taken_out_l == 10
    assert found.without_taking_out_l is None


def test_additives_of_the_bath_that_is_taken_out_are_put_back():
    target = replace(TARGET, additives_ml_l=(("brightener", 5.0),))
    assert top_up(bath(180, 55), 9, target, 10, CONCENTRATED).added.additives_ml == ()
    found = top_up(bath(230, 55), 10, target, 10, CONCENTRATED)
    assert found.added.additives_ml == (("brightener", pytest.approx(5 * 1.3043, rel=1e-4)),)


def test_further_components():
    target = replace(TARGET, others_g_l=(("boric acid", 5.0), ("salt", 2.0)))
    present = bath(200, 60, others_g_l=(("boric acid", 3.0), ("dirt", 9.0)))
    found = top_up(present, 10, target, 10, CONCENTRATED)
    assert found.added.others_g == (("boric acid", pytest.approx(20.0)), ("salt", 0.0))
    assert found.unknown == ("salt",)


present_baths = st.builds(bath, st.floats(50, 240), st.floats(10, 120), st.floats(5, 150))
targets = st.builds(bath, st.floats(100, 240), st.floats(20, 120), st.floats(20, 150))


@given(present_baths, st.floats(1, 30), targets, st.floats(1, 30), st.floats(60, 98))
def test_what_is_left_and_what_is_added_make_the_target(present, there_l, target, wanted_l, wt):
    sources = Sources(acid=of_wt_percent(SULFURIC, wt))
    found = top_up(present, there_l, target, wanted_l, sources)
    left_l = there_l - found.taken_out_l
    assert 0 <= found.taken_out_l <= there_l
    assert found.added.water_g >= -1e-3
    added = held_by(found.added, sources)
    for there, brought, wanted in (
        (present.copper_g_l, added.copper_g, target.copper_g_l),
        (present.acid_g_l, added.acid_g, target.acid_g_l),
        (present.chloride_mg_l / 1000, added.chloride_g, target.chloride_mg_l / 1000),
    ):
        reached = (there * left_l + brought) / wanted_l
        assert wanted * (1 - 1e-6) <= reached <= wanted * (1 + SLACK) * (1 + 1e-6)


@given(present_baths, st.floats(1, 30), targets, st.floats(1, 30))
def test_a_greater_volume_spares_taking_bath_out(present, there_l, target, wanted_l):
    greater_l = top_up(present, there_l, target, wanted_l, CONCENTRATED).without_taking_out_l
    if greater_l is not None:
        again = top_up(present, there_l, target, greater_l * (1 + 1e-9), CONCENTRATED)
        assert again.taken_out_l == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        ((TARGET, 0, TARGET, 10, CONCENTRATED), "present volume must be above 0 L"),
        ((TARGET, 10, TARGET, -1, CONCENTRATED), "volume must be above 0 L"),
        ((TARGET, 10, Composition(acid_g_l=60), 10, CONCENTRATED), "its target is not told"),
        ((TARGET, 10, Composition(50), 10, CONCENTRATED), "sulfuric acid, and its target"),
        (
            (bath(200, 60), 10, bath(200, 200), 10, Sources(acid=of_wt_percent(SULFURIC, 15))),
            "stronger acid is wanted",
        ),
        ((bath(200, 50), 10, TARGET, 10, Sources()), "how strong it is has not been told"),
    ],
)
def test_what_cannot_be_reached_is_refused(arguments, complaint):
    with pytest.raises(ValueError, match=r"must|told|wanted") as refused:
        top_up(*arguments)
    assert complaint in str(refused.value)
