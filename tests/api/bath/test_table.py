"""The table `[bath]` of the settings: from texts with units to plain values."""

import pytest

from daemon.api.bath.table import BathTable
from daemon.api.errors import InputError
from daemon.api.explain import read_toml
from daemon.bath.description import (
    Additive,
    Anodes,
    Description,
    Interval,
    Prices,
    Window,
)

FULL = """\
name = "Acid copper 1"
volume = "15 L"
brim = "18 L"
evaporation = "200 mL/d"
drag_out = "100 mL/m²"
[window.copper]
least = "45 g/L"
target = "50 g/L"
greatest = "60 g/L"
[window."sulfuric acid"]
least = "4 oz/gal"
[window.chloride]
least = "50 ppm"
greatest = "0.12 g/L"
[window.brightener]
greatest = "10 mL/L"
[[additive]]
name = "brightener"
rate = "1500 mL/(10 kAh)"
dose = "5 mL"
make_up = "1 fl oz/gal"
[[additive]]
name = "carrier"
[anodes]
area = "4 dm²"
mass = "2 kg"
greatest_current_density = "2 A/dm²"
least_mass = "500 g"
[filtration]
every_charge = "50 Ah"
every_time = "7 d"
[carbon]
every_charge = "1 kAh"
[prices]
copper = "12.50 EUR/kg"
electricity = "0.32 EUR/kWh"
additive = { brightener = "38 EUR/L" }
"""


def read(text):
    return read_toml(text, "settings", BathTable).description()


def test_a_name_is_enough():
    assert read('name = "Bath"') == Description("Bath")


def test_everything_in_the_units_that_hold_inside():
    found = read(FULL)
    # 4 oz/gal = 30 g/L: Metal Finishing Guidebook 2011-12, p. 206, Table VIII; in full 29.9566
    assert found.window.pop("sulfuric acid").least == pytest.approx(30, rel=0.005)
    assert found == Description(
        name="Acid copper 1",
        volume_l=15.0,
        brim_l=18.0,
        window={
            "copper": Window(45.0, 50.0, 60.0),
            "chloride": Window(50.0, None, pytest.approx(120.0)),
            "brightener": Window(greatest=pytest.approx(10.0)),
        },
        additives=(
            Additive("brightener", pytest.approx(150.0), 5.0, pytest.approx(7.8125)),
            Additive("carrier"),
        ),
        anodes=Anodes(4.0, 2000.0, 2.0, 500.0),
        filtration=Interval(50.0, 7 * 86_400.0),
        carbon=Interval(1000.0),
        evaporation_l_d=pytest.approx(0.2),
        drag_out_ml_dm2=pytest.approx(1.0),
        prices=Prices("EUR", 12.5, pytest.approx(0.32), {"brightener": pytest.approx(38.0)}),
    )


def test_copper_may_be_stated_as_its_sulfate():
    """200 g/L of the pentahydrate are 50.90 g/L of copper (molar masses 249.685 and 63.546)."""
    found = read('name = "B"\n[window."copper sulfate"]\ntarget = "200 g/L"')
    assert found.window == {"copper": Window(target=pytest.approx(50.90, abs=0.005))}


@pytest.mark.parametrize("rate", ["150 mL/kAh", "0.15 mL/Ah", "1500 mL/(10 kAh)"])
def test_rates_as_makers_write_them(rate):
    found = read(f'name = "B"\n[[additive]]\nname = "x"\nrate = "{rate}"')
    assert found.additives[0].rate_ml_kah == pytest.approx(150.0)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ('[[additive]]\nname = "x"\nrate = "150 mL"',
         'additive[1].rate: expected a volume by charge such as "250 mL/kAh", got "150 mL"'),
        ('[[additive]]\nname = "x"\nrate = "1 oz/kAh"', '"oz" is a mass, a volume is "fl oz"'),
        ('[[additive]]\nname = "x"\nrate = "0 mL/kAh"', "additive[1].rate: must be above 0"),
        ('[[additive]]\nname = "x"\ndose = "5 mL/L"', "additive[1].dose: expected a volume"),
        ('[[additive]]\nname = "copper"', "additive[1].name: is a component's name"),
        ('[[additive]]\nname = "x"\n[[additive]]\nname = "x"', "x is there twice"),
        ('[[additive]]\nname = "x"\nrates = "1"', "additive[1].rates is an unknown key"),
        ('volume = "15 kg"', 'volume: expected a volume such as "15 L", got "15 kg"'),
        ('volume = "15 L"\nbrim = "14 L"', "brim must not be below volume, got 14 L and 15 L"),
        ('[window.copper]\nleast = "5 mL/L"', "window.copper.least: expected a mass concentration"),
        ('[window.copper]\nleast = "-5 g/L"', "window.copper.least: must not be less than 0 g/L"),
        ('[window.copper]', "window.copper: needs least, target or greatest"),
        ('[window.copper]\nleast = "60 g/L"\ntarget = "50 g/L"', "must rise: least, target"),
        ('[window.copper]\nleast = "6 g/L"\n[window."copper sulfate"]\nleast = "6 g/L"',
         "copper has its window already"),
        ('[window.volume]\nleast = "5 L"', "the bath's volume is `volume`"),
        ('[anodes]\nmass = "1 kg"\nleast_mass = "2 kg"', "least_mass must be below mass"),
        ('[filtration]\nevery_time = "7"', "filtration.every_time: expected a time"),
        ('[prices]\ncopper = "12.50"', 'prices.copper: expected a price such as "12.50 EUR/kg"'),
        ('[prices]\ncopper = "12 EUR/L"', 'prices.copper: expected a price such as "12.50 EUR/kg"'),
        ('[prices]\ncopper = "12 EUR/kg"\nelectricity = "1 USD/kWh"', "got EUR and USD"),
        ('[prices]\nadditive = { x = "1 EUR/L" }', "prices.additive.x: no such additive"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused_with_its_key(text, complaint):
    with pytest.raises(InputError) as refused:
        read(f'name = "B"\n{text}')
    (problem,) = refused.value.problems
    assert complaint in problem
