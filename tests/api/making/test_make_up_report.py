"""What a report says: warnings, cautions where they are needed, costs; not how it is printed."""

import pytest

from daemon.api.making.make_up_report import made_up, mixed, topped_up
from daemon.api.making.mixed import read_mixed
from daemon.api.making.recipe import present_of, read_recipe

RECIPE = """
volume = "10 L"
[target]
copper_sulfate = "200 g/L"
sulfuric_acid = "60 g/L"
chloride = "60 mg/L"
[acid]
strength = "96 %"
"""
WEAK = """
[poured]
copper_sulfate = "3.3 lb"
acid = "42.4 fl oz"
water = "3.68 gal"
[acid]
strength = "battery acid"
"""


def report(more="", old="", new=""):
    assert old in RECIPE
    return made_up(read_recipe(RECIPE.replace(old, new) + more, "bath.toml"))


def said(found, *words):
    """The steps, or warnings, in which all of these words are."""
    texts = [step.text for step in found.steps] + list(found.warnings)
    return [text for text in texts if all(word in text for word in words)]


def step(found, word):
    (only,) = [step for step in found.steps if word in step.text]
    return only


def fact(found, name):
    (only,) = [each.text for each in found.rows if each.name == name]
    return only


def test_the_order_is_water_crystals_acid_level_chloride_analysis_additives_dummy():
    found = report('[[additive]]\nname = "brightener"\nmake_up = "5 mL/L"')
    words = ["65 % of the water", "Stir in 2000 g", "sulfuric acid", "fill up to 10 L",
             "sodium chloride", "Analyse", "Additives last", "Plate scrap first"]  # fmt: skip
    assert len(found.steps) == len(words)
    for each, word in zip(found.steps, words, strict=True):
        assert word in each.text


def test_cautions_stand_where_they_are_needed():
    found = report()
    acid, crystals = step(found, "sulfuric acid"), step(found, "Stir in 2000 g")
    assert any("never water or solution into the acid" in x for x in acid.cautions)
    assert any("Eye protection" in x for x in acid.cautions)
    assert any("very toxic to aquatic life" in x for x in crystals.cautions)
    assert not any("battery" in x for x in acid.cautions)
    assert "safety data sheets" in found.cautions[0]


def test_the_solution_is_cooled_before_acid_goes_in():
    # By hand in daemon/bath/README.md: at most 15 °C warmer, and 60 °C is the limit.
    assert "Let it cool below 45 °C" in step(report(), "sulfuric acid").text
    assert "up to 15 °C" in step(report(), "sulfuric acid").text


def test_much_acid_goes_in_in_portions():
    found = report(old='copper_sulfate = "200 g/L"\nsulfuric_acid = "60 g/L"',
                   new='copper_sulfate = "75 g/L"\nsulfuric_acid = "210 g/L"')  # fmt: skip
    acid = step(found, "sulfuric acid")
    assert "in portions" in acid.text
    assert "Stop at 60 °C" in acid.text
    assert acid.cautions


def test_battery_acid_heats_little_and_has_to_be_new():
    for strength in ("battery acid", "SG 1.28"):
        acid = step(report(old="96 %", new=strength), "sulfuric acid")
        assert "Let it cool below 58 °C" in acid.text
        assert any("drained from a battery carries lead and iron" in x for x in acid.cautions)


def test_water_is_distilled_and_need_not_be_hot():
    text = step(report(), "Fill in").text
    assert "distilled or deionised: no tap water, and none that was only filtered" in text
    assert "54 to 60 °C (130 to 140 °F) is a help, not a need" in text
    # By hand in daemon/bath/README.md: 18.4 °C.
    assert "Below 19 °C so much water does not take all the crystals" in text


def test_a_strong_bath_wants_more_water_at_first():
    found = report(old='copper_sulfate = "200 g/L"\nsulfuric_acid = "60 g/L"',
                   new='copper_sulfate = "420 g/L"\nsulfuric_acid = "0 g/L"')  # fmt: skip
    assert "Below" in step(found, "Fill in").text
    thirsty = report(old="96 %", new="7 %")  # which brings nearly all of the water
    assert "So much water does not take all the crystals" in step(thirsty, "Fill in").text
    weak = report(old="200 g/L", new="100 g/L")
    assert "Below" not in step(weak, "Fill in").text


def test_technical_crystals_are_filtered_before_the_acid():
    texts = [each.text for each in report("[crystals]\ntechnical = true").steps]
    assert "Filter the solution" in texts[2]
    assert "sulfuric acid" in texts[3]
    assert not said(report(), "Filter")


def test_dry_salt_is_warned_of():
    # By hand: 8.010 mol · 66.1 kJ in 0.65 · 9695 g of water: 529.5 / (4.18 · 6.302) = 20.1 K.
    found = report('[crystals]\nhydrate = "CuSO4"')
    (_, hot) = step(found, "CuSO4").cautions
    assert "by up to 21 °C: a little at a time" in hot
    assert len(step(report(), "CuSO4").cautions) == 1


def test_hydrochloric_acid_is_poured_with_its_caution():
    found = report('[chloride]\nsource = "hydrochloric acid"\nstrength = "37 %"')
    poured = step(found, "hydrochloric acid")
    assert "1.409 mL" in poured.text  # 1.668 g / 1.184 g/mL
    assert "fresh air" in poured.cautions[0]


def test_each_component_is_held_against_its_published_window():
    found = report()
    assert fact(found, "copper sulfate").endswith("within 195 to 248 g/L")
    assert fact(found, "sulfuric acid").endswith("within 30 to 75 g/L")
    assert fact(found, "chloride").endswith("within 50 to 120 mg/L")
    assert "Metal Finishing Guidebook 2011-12, Table VIII" in fact(found, "windows")
    assert not said(found, "standard acid copper bath")
    strong = report(old='chloride = "60 mg/L"', new='chloride = "130 mg/L"')
    assert said(strong, "Chloride of 130 mg/L is above the 50 to 120 mg/L")


def test_a_bath_may_be_held_against_another_window_or_none():
    high = made_up(read_recipe('window = "high throw"\n' + RECIPE, "bath.toml"))
    assert said(high, "Copper sulfate of 200 g/L is above the 60 to 75 g/L", "Table IX")
    none = made_up(read_recipe('window = "none"\n' + RECIPE, "bath.toml"))
    assert not said(none, "Guidebook")
    assert fact(none, "sulfuric acid") == "60 g/L (8.01 oz/gal)"


def test_cold_storage_is_warned_of():
    # By hand in daemon/bath/README.md: 12 °C.
    assert said(report(), "In the cold", "below about 12 °C", "careful estimate")
    cold = report('[storage]\nlowest_temperature = "5 °C"')
    assert said(cold, "At 5 °C crystals may drop out of it", "below about 12 °C", "Keep it warmer")
    assert not said(report('[storage]\nlowest_temperature = "15 °C"'), "crystals may drop")
    assert not said(report(old="200 g/L", new="100 g/L"), "crystals may drop")


def test_the_container_is_told():
    brim = report('[container]\nbrim = "20 L"')
    assert "takes 16 L (4.23 gal), four fifths of its brim" in fact(brim, "volume")
    told = report('[container]\nbrim = "20 L"\nparts = "2 L"')
    assert fact(told, "volume").endswith("the container takes 18 L (4.76 gal)")


def test_a_bath_of_something_else():
    found = made_up(
        read_recipe(
            'volume = "10 L"\n[[component]]\nname = "nickel sulfate"\ncontent = "240 g/L"\n', "x"
        )
    )
    assert said(found, "density of this bath is not known: fill up to the mark")
    assert said(found, "Fill in 60 to 70 % of the water")
    assert said(found, "Stir in 2400 g (5.29 lb) of nickel sulfate")
    assert not said(found, "Plate scrap")
    assert [line.what for line in found.lines] == ["nickel sulfate"]
    assert "windows" not in [each.name for each in found.rows]


def test_acid_into_a_bath_whose_density_is_not_known():
    found = made_up(
        read_recipe(
            'volume = "10 L"\n[target]\nsulfuric_acid = "50 g/L"\n[acid]\nstrength = "96 %"\n'
            '[[component]]\nname = "tin sulfate"\ncontent = "60 g/L"\n', "x"
        )
    )  # fmt: skip
    assert "It heats up: keep it below 60 °C" in step(found, "sulfuric acid").text
    assert step(found, "sulfuric acid").cautions


def test_what_it_costs():
    prices = (
        'price = "4 EUR/L"\n[crystals]\npurity = "80 %"\nprice = "10 EUR/kg"\n'
        '[water]\nprice = "0.50 EUR/L"\n[[additive]]\nname = "acid"\nmake_up = "5 mL/L"\n'
        'price = "40 EUR/L"\n[chloride]\nprice = "2 EUR/kg"\n'
        '[[component]]\nname = "wetting powder"\ncontent = "1 g/L"\nprice = "60 EUR/kg"'
    )
    found = report(prices)
    # By hand: 2.5 kg · 10; 0.3405 L · 4; 0.050 L · 40; 0.989 g · 2 EUR/kg; 10 g · 60 EUR/kg; and
    # about 8.94 L of water · 0.50.
    by_name = {line.what: line.cost for line in found.lines}
    assert by_name["copper sulfate, CuSO4·5H2O, 80 %"] == "25.00 EUR"
    assert by_name["sulfuric acid, 96 wt %"] == "1.36 EUR"
    assert by_name["acid"] == "2.00 EUR"
    assert by_name["sodium chloride"] == "0.00 EUR"
    assert by_name["wetting powder"] == "0.60 EUR"
    assert by_name["water, distilled or deionised"] == "4.47 EUR"
    assert found.cost == "33.43 EUR"


def test_a_cost_names_what_has_no_price():
    assert report('price = "4 EUR/kg"').cost == (
        "2.50 EUR, without copper sulfate, CuSO4·5H2O, sodium chloride"
    )
    assert report().cost == ""


def test_a_weak_bath_that_was_mixed():
    """Four gallons of a recipe that goes about (common practice, no source)."""
    found = mixed(read_mixed('volume = "4 gal"\n' + WEAK, "was.toml"))
    assert fact(found, "copper sulfate").startswith("98.86 g/L (13.2 oz/gal)")
    assert fact(found, "sulfuric acid").startswith("39.2 g/L (5.23 oz/gal)")
    assert said(found, "98.86 g/L is below the 195 to 248 g/L of a standard acid copper bath")
    assert said(found, "No chloride is told; a bath wants the 50 to 120 mg/L")
    assert said(found, "takes 13.37 L (3.53 gal) of water", "4 % less than the 13.93 L (3.68 gal)")
    assert found.steps == ()


def test_a_volume_by_density():
    found = mixed(read_mixed(WEAK, "was.toml"))
    assert fact(found, "volume") == "15.7 L (4.15 gal), by its density"
    assert not said(found, "by its density")


def test_a_mixture_that_was_not_filled_up():
    found = mixed(read_mixed('volume = "5 gal"\n' + WEAK, "was.toml"))
    assert said(found, "and it is not full", "% more than the")


def test_a_mixture_whose_volume_fits_says_nothing():
    assert not said(mixed(read_mixed('volume = "15.7 L"\n' + WEAK, "was.toml")), "density")


def test_a_mixture_for_another_volume():
    found = mixed(read_mixed('volume = "4 gal"\n' + WEAK, "was.toml"), 2 * 3.785411784)
    assert found.heading == "the same for 7.571 L (2 gal)"
    assert [line.us for line in found.lines] == ["1.84 gal", "1.65 lb", "21.2 fl oz"]


def top(present, recipe=RECIPE):
    return topped_up(read_recipe(recipe, "bath.toml"), present_of(present, "options"))


def test_topping_up():
    found = top({"volume": "9 L", "copper_sulfate": "180 g/L", "sulfuric_acid": "55 g/L",
                 "chloride": "40 mg/L"})  # fmt: skip
    # By hand in tests/chemistry/test_top_up.py: 380 g, 109.4 g (59.59 mL), 0.3956 g.
    assert step(found, "Dissolve 380 g")
    acid = step(found, "pour 59.59 mL")
    assert acid.text.startswith("With the current off")
    assert any("never water" in x for x in acid.cautions)
    assert step(found, "0.3956 g")
    assert found.warnings == ()
    assert fact(found, "volume") == "9 L (2.38 gal) now, 10 L (2.64 gal) wanted"


def test_too_much_of_something_is_thinned():
    recipe = RECIPE + '[[additive]]\nname = "brightener"\nmake_up = "5 mL/L"\n'
    found = top({"volume": "10 L", "copper_sulfate": "230 g/L", "sulfuric_acid": "60 g/L",
                 "chloride": "60 mg/L"}, recipe)  # fmt: skip
    out = step(found, "Take 1.304 L")
    assert "no drain" in out.cautions[0]
    assert said(found, "too much copper", "filling up to 11.5 L (3.04 gal) instead")
    assert said(found, "Put back the additives", "6.522 mL")


def test_no_volume_helps_against_what_shall_not_be_there():
    found = top({"volume": "10 L", "copper_sulfate": "200 g/L", "sulfuric_acid": "60 g/L",
                 "chloride": "60 mg/L"}, RECIPE.replace('"60 mg/L"', '"0 mg/L"'))  # fmt: skip
    assert said(found, "too much chloride")
    assert not said(found, "filling up to 1", "instead")


def test_weak_acid_finds_no_room():
    present = {"volume": "10 L", "copper_sulfate": "200 g/L", "sulfuric_acid": "40 g/L",
               "chloride": "60 mg/L"}  # fmt: skip
    found = top(present, RECIPE.replace("96 %", "battery acid"))
    assert said(found, "brings more than there is room for, unless it is filled up to")
    assert any("Only new acid" in x for x in step(found, "sulfuric acid").cautions)


def test_what_was_not_analysed_is_said():
    found = top({"volume": "10 L", "copper_sulfate": "200 g/L", "sulfuric_acid": "60 g/L"})
    assert said(found, "How much chloride is in it is not known")
    assert fact(found, "chloride") == "not known now, 60 mg/L wanted"


def test_a_bath_on_target_wants_nothing():
    found = top({"volume": "10 L", "copper_sulfate": "200 g/L", "sulfuric_acid": "60 g/L",
                 "chloride": "60 mg/L"})  # fmt: skip
    assert found.lines == ()
    assert found.heading == ""
    assert [x.text[:12] for x in found.steps] == ["Fill up to 1", "Analyse agai"]


def test_further_components_are_topped_up_and_technical_crystals_filtered():
    recipe = RECIPE + (
        '[crystals]\ntechnical = true\n[[component]]\nname = "boric acid"\ncontent = "5 g/L"\n'
    )
    found = top({"volume": "5 L", "copper_sulfate": "200 g/L", "sulfuric_acid": "60 g/L",
                 "chloride": "60 mg/L"}, recipe)  # fmt: skip
    assert "through a filter" in step(found, "Dissolve 1000 g").text
    assert step(found, "25 g (0.882 oz) of boric acid")
    with pytest.raises(ValueError, match="not told"):
        top({"volume": "5 L", "copper": "50 g/L"}, RECIPE.replace('copper_sulfate = "200 g/L"', ""))
