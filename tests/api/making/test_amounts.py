import pytest

from daemon.api.making.amounts import (
    both_masses,
    both_volumes,
    content,
    figure,
    mass,
    us_mass,
    us_volume,
    volume,
)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"), (2000.0, "2000"), (8973.23, "8973"), (12345.6, "12350"), (340.507, "340.5"),
        (625.0, "625"), (0.98908, "0.9891"), (0.0348884, "0.03489"), (999.96, "1000"), (1.0, "1"),
        (-5.25, "-5.25"), (120.0, "120"),
    ],
)  # fmt: skip
def test_four_digits_and_no_exponent(value, text):
    assert figure(value) == text


def test_metric_and_us_amounts():
    # By definition: 453.59237 g, 28.349523125 g, 3.785411784 L, 29.5735295625 mL.
    assert (mass(2000), mass(13_910)) == ("2000 g", "13.91 kg")
    assert (us_mass(2000), us_mass(0.98908), us_mass(453.7)) == ("4.41 lb", "0.0349 oz", "1 lb")
    assert (volume(340.5), volume(8989)) == ("340.5 mL", "8.989 L")
    assert (us_volume(340.507), us_volume(8989)) == ("11.5 fl oz", "2.37 gal")
    assert both_volumes(10_000) == "10 L (2.64 gal)"
    assert both_masses(1497) == "1497 g (3.3 lb)"


@pytest.mark.parametrize(("g_l", "oz_gal"), [(195, 26), (248, 33), (30, 4), (75, 10), (60, 8)])
def test_grams_per_litre_in_ounces_per_gallon_as_printed(g_l, oz_gal):
    # Metal Finishing Guidebook 2011-12, Table VIII, both units printed; 0.5 %.
    text = content(g_l)
    assert text.startswith(f"{g_l} g/L (")
    assert float(text.split("(")[1].split()[0]) == pytest.approx(oz_gal, rel=0.005)
