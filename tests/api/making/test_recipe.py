"""Recipes as they are read: what they come to, and the one clear error of each that cannot be."""

from importlib.resources import files

import pytest

from daemon.api.errors import InputError
from daemon.api.making.recipe import in_volume, present_of, read_recipe, recipe_of
from daemon.chemistry.acid_density import HYDROCHLORIC, SULFURIC, of_wt_percent
from daemon.chemistry.bath_limits import HIGH_THROW, STANDARD, Container
from daemon.chemistry.make_up import Composition, Sources, copper_g_l_of
from daemon.chemistry.substances import CopperSulfate

PLAIN = """
volume = "10 L"
[target]
copper_sulfate = "200 g/L"
sulfuric_acid = "60 g/L"
chloride = "60 ppm"
[acid]
strength = "96 %"
"""
WHOLE = """
title = "Whole"
volume = "4 gal"
window = "high throw"
[target]
copper = "18 g/L"
sulfuric_acid = "25 oz/gal"
chloride = "60 mg/L"
[crystals]
molar_mass = "213.65 g/mol"
purity = "98 %"
technical = true
price = "9.50 EUR/kg"
[acid]
strength = "98 %"
density = "1.84 g/mL"
price = "3 EUR/L"
[chloride]
source = "hydrochloric acid"
strength = "37 %"
density = "1.19 kg/L"
price = "8 EUR/kg"
[water]
price = "0.40 EUR/L"
[[additive]]
name = "brightener"
make_up = "1 fl oz/gal"
price = "38 EUR/L"
[[component]]
name = "wetting powder"
content = "0.2 g/L"
purity = "50 %"
price = "60 EUR/kg"
[container]
brim = "20 L"
anodes = "0.5 L"
parts = "1 L"
free_board = "0 L"
[storage]
lowest_temperature = "41 °F"
"""


def problem(text):
    with pytest.raises(InputError) as caught:
        read_recipe(text, "bath.toml")
    (only,) = caught.value.problems
    assert str(caught.value) == f"bath.toml: {only}"
    return only


def changed(old, new, text=PLAIN):
    assert text.count(old) == 1
    return text.replace(old, new)


def test_a_recipe_becomes_plain_values():
    recipe = read_recipe(WHOLE, "bath.toml")
    assert recipe.volume == pytest.approx(15.1416, rel=1e-5)
    bath = recipe.composition()
    assert (bath.copper_g_l, bath.chloride_mg_l) == (18.0, 60.0)
    assert bath.acid_g_l == pytest.approx(187.2288, rel=1e-6)  # 25 · 7.489152
    assert bath.additives_ml_l == (("brightener", pytest.approx(1000 / 128)),)
    assert bath.others_g_l == (("wetting powder", 0.2),)
    sources = recipe.sources()
    assert (sources.hydrate, sources.purity) == (CopperSulfate(3.0), 0.98)
    assert sources.acid.wt_percent == pytest.approx(98)
    assert sources.acid.density_g_cm3 == pytest.approx(1.84)
    assert sources.hydrochloric.acid is HYDROCHLORIC
    assert sources.hydrochloric.density_g_cm3 == pytest.approx(1.19)
    assert sources.purities == (("wetting powder", 0.5),)
    assert recipe.container.of() == Container(20.0, 0.5, 1.0, 0.0)
    assert recipe.storage.lowest_temperature == pytest.approx(5.0)
    assert recipe.formulation is HIGH_THROW
    assert recipe.crystals.technical


def test_what_is_left_out_is_what_is_usual():
    recipe = read_recipe(PLAIN, "bath.toml")
    assert recipe.sources() == Sources(acid=of_wt_percent(SULFURIC, 96))
    assert recipe.composition() == Composition(copper_g_l_of(200), 60.0, 60.0)
    assert recipe.formulation is STANDARD
    assert (recipe.container, recipe.storage) == (None, None)


def test_the_recipe_that_ships_is_one():
    text = files("daemon.service").joinpath("examples/acid_copper.toml").read_text("utf-8")
    assert read_recipe(text, "acid_copper.toml").volume == 10.0


def test_the_same_from_tables():
    tree = {
        "volume": "10 L",
        "target": {"copper_sulfate": "200 g/L", "sulfuric_acid": "60 g/L", "chloride": "60 ppm"},
        "acid": {"strength": "96 %"},
    }
    assert recipe_of(tree, "form") == read_recipe(PLAIN, "bath.toml")


def test_the_same_bath_in_another_volume():
    recipe = in_volume(read_recipe(WHOLE, "bath.toml"), "2 gal", "--volume")
    assert recipe.volume == pytest.approx(7.5708, rel=1e-5)
    assert recipe.amounts().crystals_g == pytest.approx(
        read_recipe(WHOLE, "bath.toml").amounts().crystals_g / 2
    )


def test_a_volume_that_the_container_does_not_take_is_refused_too():
    with pytest.raises(InputError, match=r"--volume: volume: must be at most 18\.5 L"):
        in_volume(read_recipe(WHOLE, "bath.toml"), "19 L", "--volume")


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        (changed("10 L", "-10 L"), "volume: must be above 0 L, got -10 L"),
        (changed("10 L", "10 kg"), 'volume: expected a volume such as "15 L", got "10 kg"'),
        (changed('volume = "10 L"', ""), 'volume is missing: volume of the bath, such as "10 L"'),
        (changed("96 %", "120 %"), "acid: sulfuric acid must be above 0 and at most 100 wt %"),
        (changed("96 %", "SG 0.9"), "acid: specific gravity of sulfuric acid must be above 1"),
        (changed("96 %", "1.28"), 'a specific gravity is written "SG 1.28"'),
        (changed('[acid]\nstrength = "96 %"', ""), "acid is missing: how strong the sulfuric acid"),
        (changed("200 g/L", "200 mL/L"), "target.copper_sulfate: expected a mass concentration"),
        (changed("200 g/L", "-1 g/L"), "target.copper_sulfate: must be at least 0 g/L"),
        (changed("200 g/L", "2000 g/L"), "target: no density is known of a bath with 1278 g/L"),
        (changed("sulfuric_acid", "sulphuric_acid"), "did you mean sulfuric_acid?"),
        (PLAIN + "colour = 1", "acid.colour is an unknown key; allowed: strength, density, price"),
        ("title = 1\n" + PLAIN, "title: should be a valid string, got 1"),
        (
            changed("chloride =", 'copper = "50 g/L"\nchloride ='),
            "target: needs either copper_sulfate or copper; both are given",
        ),
        ('volume = "10 L"', "target: needs something that the bath is made of"),
        (PLAIN + '[crystals]\nhydrate = "MgSO4·7H2O"', "'MgSO4·7H2O' has no copper in it"),
        (PLAIN + "[crystals]\nhydrate = 5", 'must be a text such as "CuSO4·5H2O", got 5'),
        (PLAIN + '[crystals]\nmolar_mass = "120 g/mol"', "no copper sulfate has a molar mass of"),
        (
            PLAIN + '[crystals]\nmolar_mass = "249.7 g/mol"\nhydrate = "CuSO4"',
            "crystals: needs either hydrate or molar_mass; both are given",
        ),
        (PLAIN + '[crystals]\npurity = "110 %"', "crystals.purity: must be at most 1"),
        (
            PLAIN + '[[additive]]\nname = "b"\nmake_up = "5 mL"',
            'additive[1].make_up: expected a volume by litre of bath such as "7.8 mL/L", got "5 m',
        ),
        (
            PLAIN + '[[additive]]\nname = "Chloride"\nmake_up = "5 mL/L"',
            "additive[1].name: has a place of its own in the recipe, got 'Chloride'",
        ),
        (
            PLAIN + '[[additive]]\nname = "b"\nmake_up = "5 mL/L"\n'
            '[[component]]\nname = "b"\ncontent = "5 g/L"',
            "names must differ, b is there twice",
        ),
        (
            PLAIN + '[[additive]]\nname = "b"\nmake_up = "5 mL/L"\nprice = "5 EUR/kg"',
            'additive[1].price: expected a price such as "12.50 EUR/L"',
        ),
        (
            PLAIN + '[container]\nbrim = "11 L"',
            "volume: must be at most 8.8 L, which the container",
        ),
        (
            PLAIN + '[container]\nbrim = "11 L"\nparts = "2 L"',
            "must be at most 9 L, which the container takes (brim 11 L less anodes, parts and free",
        ),
        (
            PLAIN + '[container]\nbrim = "11 L"\nparts = "20 L"',
            "volume: must be at most 0 L, which the container takes",
        ),
        (PLAIN + '[chloride]\nstrength = "37 %"', 'are of source = "hydrochloric acid"'),
        (PLAIN + '[chloride]\nsource = "hydrochloric acid"', "chloride: strength is missing"),
        (
            PLAIN + '[chloride]\nsource = "hydrochloric acid"\nstrength = "45 %"',
            "chloride: hydrochloric acid must be above 0 and at most 38 wt %, got 45 wt %",
        ),
        (PLAIN + '[chloride]\nprice = "2 EUR/L"', "chloride: price of the salt has to be by mass"),
        (
            PLAIN + 'price = "2 EUR/L"\n[water]\nprice = "1 USD/L"',
            "price: must be in one currency, got EUR and USD",
        ),
        (
            changed("96 %", "14 %").replace("60 g/L", "200 g/L"),
            "target: cannot be made from these: crystals and acid bring",
        ),
        (PLAIN + '[storage]\nlowest_temperature = "-5 °C"', "must be at least 0 °C, got -5 °C"),
        ('window = "mine"\n' + PLAIN, "window: should be 'standard', 'high throw' or 'none'"),
    ],
)
def test_a_recipe_that_cannot_be_is_refused_with_one_clear_error(text, complaint):
    assert complaint in problem(text)


def test_a_bath_that_is_there():
    present = present_of({"volume": "9 L", "copper": "45 g/L", "chloride": "40 ppm"}, "options")
    assert present.volume == 9.0
    assert present.composition() == Composition(45.0, None, 40.0)
    with pytest.raises(InputError, match=r"options: volume is missing: how much of it there is"):
        present_of({"copper": "45 g/L"}, "options")
