"""What to weigh, and what was mixed: against sums by hand, and one against the other."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.chemistry.acid_density import (
    HYDROCHLORIC,
    SULFURIC,
    WATER_20_C_G_CM3,
    of_specific_gravity,
    of_wt_percent,
)
from daemon.chemistry.make_up import (
    Amounts,
    Composition,
    Sources,
    brought_water_g,
    copper_g_l_of,
    make_up,
    mixed,
    scaled,
)
from daemon.chemistry.substances import CopperSulfate

GAL_L, LB_G, FL_OZ_ML = 3.785411784, 453.59237, 29.5735295625  # exact, by definition
BATH = Composition(copper_g_l_of(200), 60, 60)
CONCENTRATED = Sources(acid=of_wt_percent(SULFURIC, 96))
BATTERY = Sources(acid=of_specific_gravity(SULFURIC, 1.280))


def acid_ml(amounts, sources):
    return amounts.acid_g / sources.acid.density_g_cm3


def test_ten_litres_of_the_standard_bath():
    # Computed apart: 2000 g crystals, 340.5 mL of 96 % (1.8355), 0.989 g NaCl; 0.3 %.
    amounts = make_up(BATH, 10, CONCENTRATED)
    assert amounts.crystals_g == pytest.approx(2000, rel=1e-9)
    assert acid_ml(amounts, CONCENTRATED) == pytest.approx(340.5, rel=0.003)
    assert amounts.acid_g == pytest.approx(625.0)  # 600 g / 0.96
    assert amounts.chloride_g == pytest.approx(0.989, rel=0.003)
    # About 898 g of water for each litre (the density by the library thermo 0.6.1); 1 %.
    assert amounts.water_g == pytest.approx(8980, rel=0.01)


def test_the_same_from_battery_acid():
    # Computed apart from Myhre 1998: 1268 mL; 0.3 %.
    assert acid_ml(make_up(BATH, 10, BATTERY), BATTERY) == pytest.approx(1268, rel=0.003)


@pytest.mark.parametrize(
    ("salt_g_l", "acid_g_l", "water_g_l"), [(200, 60, 898), (220, 60, 890), (75, 200, 890)]
)
def test_water_of_published_baths(salt_g_l, acid_g_l, water_g_l):
    # Computed apart by the library thermo 0.6.1; 1 %, as the density is promised.
    bath = Composition(copper_g_l_of(salt_g_l), acid_g_l)
    sources = Sources(acid=of_wt_percent(SULFURIC, 96))
    assert make_up(bath, 1, sources).water_g == pytest.approx(water_g_l, rel=0.01)


def test_chloride_from_hydrochloric_acid():
    # By hand: 600 mg Cl / 0.97236 / 0.37 = 1.668 g, in 1.184 g/mL 1.41 mL (1.40 at 1.19 g/mL).
    sources = replace(CONCENTRATED, hydrochloric=of_wt_percent(HYDROCHLORIC, 37))
    amounts = make_up(BATH, 10, sources)
    assert amounts.chloride_g == pytest.approx(1.668, rel=1e-3)
    assert amounts.chloride_g / 1.19 == pytest.approx(1.40, rel=0.003)


def test_purity_and_hydrate_change_what_is_weighed():
    # By hand: 50.901 g copper a litre is 0.80101 mol; of CuSO4 127.85 g, of 98 % pentahydrate
    # 204.1 g.
    pure = make_up(BATH, 1, replace(CONCENTRATED, hydrate=CopperSulfate(0)))
    assert pure.crystals_g == pytest.approx(127.85, rel=1e-4)
    technical = make_up(BATH, 1, replace(CONCENTRATED, purity=0.98))
    assert technical.crystals_g == pytest.approx(204.08, rel=1e-4)
    salty = make_up(BATH, 10, replace(CONCENTRATED, salt_purity=0.99))
    assert salty.chloride_g == pytest.approx(0.98907 / 0.99, rel=1e-4)


def test_dry_salt_wants_the_water_that_its_crystals_would_have_brought():
    # By hand: 200 g of pentahydrate hold 36.0761 % = 72.15 g of water.
    with_crystals = make_up(BATH, 1, CONCENTRATED)
    dry = make_up(BATH, 1, replace(CONCENTRATED, hydrate=CopperSulfate(0)))
    assert dry.water_g - with_crystals.water_g == pytest.approx(72.15, abs=0.01)


def test_additives_and_further_components():
    bath = replace(BATH, additives_ml_l=(("brightener", 7.8),), others_g_l=(("boric acid", 5.0),))
    amounts = make_up(bath, 10, replace(CONCENTRATED, purities=(("boric acid", 0.5),)))
    assert amounts.additives_ml == (("brightener", pytest.approx(78.0)),)
    assert amounts.others_g == (("boric acid", pytest.approx(100.0)),)
    # An additive takes the room of about as much water: 78 mL are 77.9 g; 1 %.
    less = make_up(BATH, 10, CONCENTRATED).water_g - amounts.water_g
    assert less == pytest.approx(78 * WATER_20_C_G_CM3, rel=0.01)


def test_the_water_of_a_bath_of_much_else_is_not_told():
    nickel = Composition(others_g_l=(("nickel sulfate", 240.0), ("boric acid", 30.0)))
    amounts = make_up(nickel, 10, Sources())
    assert amounts.others_g == (("nickel sulfate", 2400.0), ("boric acid", 300.0))
    assert amounts.water_g is None
    assert amounts.crystals_g == amounts.acid_g == amounts.chloride_g == 0


@pytest.mark.parametrize(("nickel_g", "known"), [(9.0, True), (11.0, False)])
def test_the_volume_of_a_bath_of_much_else_does_not_follow_from_its_density(nickel_g, known):
    # 250 g of crystals in 900 g of water make 1.0 L or so.
    poured = Amounts(250.0, 0.0, 0.0, 900.0, others_g=(("nickel sulfate", nickel_g),))
    if known:
        assert mixed(poured, Sources()).volume_l == pytest.approx(1.0, abs=0.05)
    else:
        with pytest.raises(ValueError, match="volume has to be told: the density of this bath"):
            mixed(poured, Sources())
    assert mixed(poured, Sources(), 1.0).volume_l == 1.0


def test_four_gallons_of_a_weak_bath():
    """What a recipe comes to that goes about (common practice, no source)."""
    acid_g = 42.4 * FL_OZ_ML * BATTERY.acid.density_g_cm3
    poured = Amounts(3.3 * LB_G, acid_g, 0.0, 1000 * 3.68 * GAL_L * WATER_20_C_G_CM3)
    filled = mixed(poured, BATTERY, 4 * GAL_L)
    # By hand: 1496.9 g / 15.142 L; 1253.9 mL · 473.3 g/L / 15.142 L.
    assert filled.composition.copper_sulfate_g_l == pytest.approx(98.86, rel=1e-3)
    assert filled.composition.acid_g_l == pytest.approx(39.2, rel=1e-3)
    # Salt and acid take room: it needs about 4 % less water than the 3.68 gal of the recipe ...
    needed_gal = make_up(filled.composition, 4 * GAL_L, BATTERY).water_g / (
        1000 * GAL_L * WATER_20_C_G_CM3
    )
    assert needed_gal == pytest.approx(3.68 * 0.96, rel=0.005)
    # ... or else it makes more than four gallons of a thinner bath.
    assert mixed(poured, BATTERY).volume_l == pytest.approx(4.15 * GAL_L, rel=0.003)


def test_what_is_mixed_by_hand():
    # 250 g of pentahydrate (63.63 g Cu) and 30 g of 96 % acid (28.8 g) filled up to a litre, with
    # 1 mL of 37 % hydrochloric acid (1.184 g · 0.37 · 0.97236 = 0.4260 g Cl).
    sources = replace(CONCENTRATED, hydrochloric=of_wt_percent(HYDROCHLORIC, 37))
    found = mixed(Amounts(250, 30, 1.184, None), sources, 1.0)
    assert found.composition.copper_g_l == pytest.approx(63.626, rel=1e-4)
    assert found.composition.acid_g_l == pytest.approx(28.8)
    assert found.composition.chloride_mg_l == pytest.approx(426.0, rel=1e-3)
    assert found.by_density_l is None


compositions = st.builds(
    Composition,
    copper_g_l=st.floats(5, 65),
    acid_g_l=st.floats(5, 180),
    chloride_mg_l=st.floats(1, 200),
    additives_ml_l=st.just(()) | st.tuples(st.tuples(st.just("brightener"), st.floats(0.1, 20))),
    others_g_l=st.just(()) | st.tuples(st.tuples(st.just("boric acid"), st.floats(0.1, 9))),
)
sources_of_any_kind = st.builds(
    Sources,
    hydrate=st.builds(CopperSulfate, st.floats(0, 7)),
    purity=st.floats(0.5, 1),
    acid=st.builds(of_wt_percent, st.just(SULFURIC), st.floats(50, 100)),
    hydrochloric=st.none() | st.just(of_wt_percent(HYDROCHLORIC, 37)),
    salt_purity=st.floats(0.5, 1),
    purities=st.just((("boric acid", 0.9),)),
)


def flat(composition):
    return [
        composition.copper_g_l,
        composition.acid_g_l,
        composition.chloride_mg_l,
        *(value for _, value in (*composition.additives_ml_l, *composition.others_g_l)),
    ]


@given(compositions, st.floats(0.5, 200), sources_of_any_kind)
def test_what_was_made_up_is_found_again_in_the_mixed_bath(composition, volume_l, sources):
    """And the volume by density is the one that was asked for: no room is lost or counted twice."""
    amounts = make_up(composition, volume_l, sources)
    found = mixed(amounts, sources)
    assert found.volume_l == pytest.approx(volume_l, rel=1e-6)
    assert flat(found.composition) == pytest.approx(flat(composition), rel=1e-6)


@given(compositions, st.floats(0.5, 200), st.floats(0.01, 100))
def test_a_recipe_for_another_volume_is_the_same_bath(composition, volume_l, factor):
    sources = CONCENTRATED
    larger = scaled(make_up(composition, volume_l, sources), factor)
    asked = make_up(composition, volume_l * factor, sources)
    assert larger.water_g == pytest.approx(asked.water_g, rel=1e-9)
    assert larger.crystals_g == pytest.approx(asked.crystals_g, rel=1e-9)
    assert larger.acid_g == pytest.approx(asked.acid_g, rel=1e-9)
    assert [ml for _, ml in larger.additives_ml] == pytest.approx(
        [ml for _, ml in asked.additives_ml]
    )


def test_twice_the_volume_takes_twice_of_everything():
    recipe = Amounts(1.0, 2.0, 3.0, 4.0, (("brightener", 5.0),), (("iron sulfate", 6.0),))
    twice = Amounts(2.0, 4.0, 6.0, 8.0, (("brightener", 10.0),), (("iron sulfate", 12.0),))
    assert scaled(recipe, 2.0) == twice
    assert scaled(Amounts(water_g=None), 2.0).water_g is None


@given(compositions, st.floats(0.5, 200), sources_of_any_kind)
def test_mass_is_kept(composition, volume_l, sources):
    """Water poured and water brought are the bath's water, whatever it comes from."""
    amounts = make_up(composition, volume_l, sources)
    brought = brought_water_g(amounts, sources)
    assert (amounts.water_g + brought) / volume_l == pytest.approx(composition.water_g_l)


@pytest.mark.parametrize(
    ("call", "complaint"),
    [
        (lambda: make_up(BATH, -1, CONCENTRATED), "volume must be above 0 L"),
        (lambda: make_up(BATH, 0, CONCENTRATED), "volume must be above 0 L"),
        (lambda: make_up(BATH, 1, Sources()), "how strong it is has not been told"),
        (lambda: Composition(copper_g_l=-1), "copper must be at least 0 g/L"),
        (lambda: Composition(acid_g_l=float("nan")), "sulfuric acid must be at least 0 g/L"),
        (lambda: Composition(chloride_mg_l=-1), "chloride must be at least 0 mg/L"),
        (lambda: Composition(additives_ml_l=(("x", -1.0),)), "x must be at least 0 mL/L"),
        (lambda: Composition(others_g_l=(("y", -1.0),)), "y must be at least 0 g/L"),
        (
            lambda: make_up(Composition(additives_ml_l=(("x", 1000.0),)), 1, Sources()),
            "additives alone must be less than 1000 mL in a litre of bath",
        ),
        (lambda: Sources(purity=1.1), "purity of copper sulfate must be above 0 and at most 1"),
        (lambda: Sources(salt_purity=0), "purity of sodium chloride must be above 0"),
        (lambda: Sources(purities=(("y", 2.0),)), "purity of y must be above 0"),
        (lambda: Sources(acid=of_wt_percent(HYDROCHLORIC, 30)), "must be sulfuric acid, got hydro"),
        (
            lambda: make_up(
                Composition(copper_g_l_of(200), 200), 1, Sources(acid=of_wt_percent(SULFURIC, 15))
            ),
            "more water than a litre of the bath holds; stronger acid is wanted",
        ),
        (lambda: mixed(Amounts(acid_g=1), Sources(), 1), "how strong it is has not been told"),
        (lambda: mixed(Amounts(100, water_g=None), Sources()), "the volume has to be told"),
        (lambda: mixed(Amounts(), Sources()), "what was poured must be above 0 g"),
        (lambda: mixed(Amounts(100, water_g=None), Sources(), -1), "volume must be above 0 L"),
        (lambda: scaled(Amounts(), 0), "factor must be above 0"),
    ],
)  # fmt: skip
def test_what_cannot_be_made_is_refused(call, complaint):
    with pytest.raises(ValueError, match=r"must|told|wanted") as refused:
        call()
    assert complaint in str(refused.value)
