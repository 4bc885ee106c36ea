import pytest

from daemon.api.errors import InputError
from daemon.api.making.mixed import mixed_of, read_mixed
from daemon.chemistry.make_up import Amounts

PLAIN = """
volume = "10 L"
[poured]
copper_sulfate = "2 kg"
acid = "340.5 mL"
chloride = "1 g"
[acid]
strength = "96 %"
[[additive]]
name = "brightener"
poured = "50 mL"
[[component]]
name = "wetting powder"
poured = "2 g"
purity = "50 %"
"""


def problem(text):
    with pytest.raises(InputError) as caught:
        read_mixed(text, "was.toml")
    (only,) = caught.value.problems
    return only


def changed(old, new):
    assert PLAIN.count(old) == 1
    return PLAIN.replace(old, new)


def test_what_was_poured_in_masses():
    # By hand: 340.5 mL · 1.8355 g/mL = 625.0 g.
    assert read_mixed(PLAIN, "was.toml").amounts() == Amounts(
        crystals_g=2000.0,
        acid_g=pytest.approx(625.0, rel=1e-4),
        chloride_g=1.0,
        water_g=None,
        additives_ml=(("brightener", 50.0),),
        others_g=(("wetting powder", 2.0),),
    )


def test_a_mass_is_taken_as_it_is():
    text = changed("340.5 mL", "625 g")
    assert read_mixed(text, "was.toml").amounts().acid_g == pytest.approx(625.0)


def test_water_by_volume_and_by_mass():
    litres = mixed_of({"poured": {"copper_sulfate": "1 kg", "water": "5 L"}}, "options")
    assert litres.amounts().water_g == pytest.approx(4991.05)  # 0.99821 g/mL, CRC Handbook
    grams = mixed_of({"poured": {"copper_sulfate": "1 kg", "water": "5 kg"}}, "options")
    assert grams.amounts().water_g == 5000


def test_what_is_in_it():
    found = read_mixed(PLAIN, "was.toml").found()
    # By hand: 2000 g / 10 L; 600 g / 10 L; 1 g · 0.60663 / 10 L; 2 g · 0.5 / 10 L.
    assert found.composition.copper_sulfate_g_l == pytest.approx(200)
    assert found.composition.acid_g_l == pytest.approx(60, rel=1e-4)
    assert found.composition.chloride_mg_l == pytest.approx(60.66, rel=1e-3)
    assert found.composition.others_g_l == (("wetting powder", pytest.approx(0.1)),)


def test_hydrochloric_acid_by_volume():
    text = changed('chloride = "1 g"', 'chloride = "1 mL"')
    text += '[chloride]\nsource = "hydrochloric acid"\nstrength = "37 %"\ndensity = "1.19 g/mL"'
    assert read_mixed(text, "was.toml").amounts().chloride_g == pytest.approx(1.19)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", 'poured: needs what was weighed and poured, such as copper_sulfate = "2 kg"'),
        (changed("2 kg", "2 L"), 'poured.copper_sulfate: expected a mass such as "25 g"'),
        (changed("340.5 mL", "60 g/L"), "poured.acid: expected a mass or a volume such as"),
        (changed("340.5 mL", "-1 mL"), "poured.acid: must be above 0, got -1 mL"),
        (changed('"1 g"', '"1 mL"'), 'poured.chloride: must be a mass, such as "1 g", got 1 mL'),
        (changed('[acid]\nstrength = "96 %"', ""), "acid is missing: how strong the sulfuric acid"),
        (changed("96 %", "120 %"), "acid: sulfuric acid must be above 0 and at most 100 wt %"),
        (changed('volume = "10 L"', ""), "needs volume, to which it was filled up, or poured.wat"),
        (changed("10 L", "0 L"), "volume: must be above 0 L"),
        (changed('"50 mL"', '"50 mL/L"'), 'additive[1].poured: expected a volume such as "5 mL"'),
        (changed('"wetting powder"', '"brightener"'), "names must differ, brightener is there"),
        (PLAIN + "x = 1", "component[1].x is an unknown key"),
        (
            '[poured]\nwater = "1 L"\n[[component]]\nname = "salt"\npoured = "300 g"',
            "poured: the volume has to be told: the density of this bath is not known",
        ),
        (
            '[poured]\ncopper_sulfate = "3 kg"\nwater = "1 L"',
            "poured: density is known up to 28.4 % of mass",
        ),
    ],
)
def test_a_mixture_that_cannot_be_is_refused_with_one_clear_error(text, complaint):
    assert complaint in problem(text)
