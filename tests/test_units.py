import contextlib
import math
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

import daemon.units
from daemon.units import UnitError, parse

OURS = pint.UnitRegistry(Path(daemon.units.__file__).with_name("units.txt"))
NOT_PINTS = {
    "mil",  # an angle to pint
    "fl_oz", "ASF", "ASD", "ampere_per_square_foot", "ampere_per_square_decimeter",
}  # fmt: skip


@pytest.mark.parametrize("name", sorted({str(each) for each in OURS} - NOT_PINTS))
def test_units_are_as_large_as_in_pints_own_list(name):
    its = pint.get_application_registry().Quantity(1.0, name).to_base_units()
    here = OURS.Quantity(1.0, name).to(str(its.units))
    assert here.magnitude == pytest.approx(its.magnitude, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("25 µm", "µm", 25.0),  # U+00B5, micro sign
        ("25 μm", "µm", 25.0),  # U+03BC, Greek mu
        ("25 um", "µm", 25.0),
        ("25µm", "µm", 25.0),
        ("0.025 mm", "µm", 25.0),
        ("2 in", "µm", 50_800.0),
        ("1 mil", "µm", 25.4),
        ("0.5 mils", "µm", 12.7),
        ("2.5 A/dm²", "A/dm²", 2.5),
        ("2.5 A/dm^2", "A/dm²", 2.5),
        ("2.5 A/dm2", "A/dm²", 2.5),
        ("2.5 A / dm**2", "A/dm²", 2.5),
        ("2.5 ASD", "A/dm²", 2.5),
        ("9.290304 ASF", "A/dm²", 1.0),
        ("9.290304 A/ft²", "A/dm²", 1.0),
        ("250 A/m²", "A/dm²", 2.5),
        ("1.8 dm2", "dm²", 1.8),
        ("180 cm²", "dm²", 1.8),
        ("1 ft²", "dm²", 9.290304),
        ("90 min", "s", 5400.0),
        ("1.5 h", "s", 5400.0),
        ("1 h 30 min", "s", 5400.0),
        ("1h 30min 5s", "s", 5405.0),
        ("100 %", "", 1.0),
        ("95%", "", 0.95),
        ("0.95", "", 0.95),
        (0.95, "", 0.95),
        (1, "", 1.0),
        ("4.5 Ah", "A·h", 4.5),
        ("4.5 A·h", "A·h", 4.5),
        ("4.5 A h", "A·h", 4.5),
        ("4.5 A*h", "A·h", 4.5),
        ("4500 mAh", "A·h", 4.5),
        ("30 A·min", "A·h", 0.5),
        ("3600 C", "A·h", 1.0),
        ("500 mA", "A", 0.5),
        ("3 amps", "A", 3.0),
        ("+5e-1 A", "A", 0.5),
        (".5 A", "A", 0.5),
        ("-3 A", "A", -3.0),
        ("2500 mV", "V", 2.5),
        ("8.92 g/cm³", "g/cm³", 8.92),
        ("8920 kg/m3", "g/cm³", 8.92),
        ("0.5 mL/kAh", "mL/kAh", 0.5),
        ("5 L/MAh", "mL/kAh", 5.0),
        ("1500 mL/(10 kAh)", "mL/kAh", 150.0),
        ("1500 mL / ( 10 kA·h )", "mL/kAh", 150.0),
        ("0.15 mL/Ah", "mL/kAh", 150.0),
        ("1 fl oz/kAh", "mL/kAh", 29.5735295625),  # 231/128 in³, in of 25.4 mm
        ("1 fl. oz/(1000 Ah)", "mL/kAh", 29.5735295625),
        ("1 floz/gal", "mL/L", 7.8125),  # 128 fl oz in a gallon
        ("0.1 fl oz", "mL", 2.95735295625),
        ("60 ppm", "mg/L", 60.0),
        ("0.06 g/L", "mg/L", 60.0),
        ("200 mL/d", "L/d", 0.2),
        ("100 mL/m²", "mL/dm²", 1.0),
        ("24 °C", "°C", 24.0),
        ("77 degF", "°C", 25.0),
        (" 4 V ", "V", 4.0),
        ("1.2 m/s", "m/s", 1.2),
        ("2 lbs", "g", 907.18474),
        ("1 tsp", "mL", 4.92892159375),  # 231/768 in³
        ("1 GB", "MB", 1000.0),
        ("512 MiB", "MB", 536.870912),
        ("20 kilobytes", "MB", 0.02),
    ],
)
def test_quantities_as_people_write_them(text, unit, expected):
    assert parse(text, unit) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "printed_g_l"),
    [
        # Metal Finishing Guidebook 2011-12, p. 206, Table VIII, both units printed; its coulometer,
        # 2012-13 p. 554 (8 oz/gal); 0.5 %
        ("26 oz/gal", 195),
        ("33 oz/gal", 248),
        ("4 oz/gal", 30),
        ("10 oz/gal", 75),
        ("8 oz/gal", 60),
    ],
)
def test_ounces_per_gallon_as_printed_in_grams_per_litre(text, printed_g_l):
    assert parse(text, "g/L") == pytest.approx(printed_g_l, rel=0.005)


@pytest.mark.parametrize(("text", "a_dm2"), [("20 ASF", 2.153), ("100 A/ft²", 10.764)])
def test_amperes_per_square_foot(text, a_dm2):
    # computed from the foot of 0.3048 m; 1e-3
    assert parse(text, "A/dm²") == pytest.approx(a_dm2, rel=1e-3)


@pytest.mark.parametrize(
    ("came", "unit", "complaint"),
    [
        ("25", "µm", 'expected a length such as "25 µm", got "25": a number without a unit'),
        (25, "µm", 'expected a length such as "25 µm", got 25: a number without a unit'),
        (2.5, "A", 'expected a current such as "2.5 A", got 2.5: a number without a unit'),
        ("1 h 30", "s", 'got "1 h 30": a number without a unit'),
        ("25 A", "µm", 'expected a length such as "25 µm", got "25 A": of another kind: "A"'),
        ("2.5 A", "A/dm²", 'expected a current density such as "2.5 A/dm²"'),
        ("90 m", "s", 'expected a time such as "90 min", got "90 m": of another kind: "m"'),
        ("20 °C/m", "°C", "of another kind"),
        ("25 furlong_ish", "µm", 'an unknown unit: "furlong_ish"'),
        ("2 if", "A", 'an unknown unit: "if"'),
        ("2.5anA A/dm²", "A/dm²", 'an unknown unit: "anA A/dm²"'),
        ("2.5 A/dB²", "A/dm²", 'of another kind: "A/dB²"'),
        ("2.5 A/dBm²", "A/dm²", 'an unknown unit: "A/dBm²"'),
        ("1,5 A", "A", "a number with a decimal comma where a point belongs"),
        (",5 A", "A", "with a decimal comma where a point belongs"),
        ("A", "A", 'got "A": not a number with a unit'),
        ("", "A", 'got "": not a number with a unit'),
        ("nan A", "A", "not a number with a unit"),
        ("inf A", "A", "not a number with a unit"),
        ("1e999 A", "A", "not a finite number"),
        ("1e308 s 1e308 s", "s", "not a finite number"),
        ("5 A + 1 A", "A", "not a unit of one number"),
        ("9**9**9 A", "A", "not a unit of one number"),
        ("2.5² A", "A", "not a unit of one number"),
        ("5 A/", "A", "not a unit of one number"),
        ("150 mL", "mL/kAh", 'a volume by charge such as "250 mL/kAh", got "150 mL": of another'),
        ("1 oz/kAh", "mL/kAh", '"oz" is a mass, a volume is "fl oz"'),
        ("5 g", "mL", 'expected a volume such as "5 mL", got "5 g": of another kind: "g"'),
        ("5 mL/(0 kAh)", "mL/kAh", "by nothing"),
        ("5 mL/10 kAh", "mL/kAh", "not a unit of one number"),
        ("5 mL/(10 furlongish)", "mL/kAh", "an unknown unit"),
        ("60 ppm", "g/L", "of another kind"),
        ("1 m 2 m", "µm", "not a unit of one number"),
        ("٣ A", "A", "not a number with a unit"),
        (math.nan, "", 'expected a fraction such as "95 %", got NaN: not a finite number'),
        (math.inf, "", "not a finite number"),
        (10**400, "", "not a finite number"),
        (True, "", "got true: neither a text nor a number"),
        (None, "A", "got null: neither a text nor a number"),
        (["2 A"], "A", 'got ["2 A"]: neither a text nor a number'),
        ("1" * 81 + " A", "A", "a text of more than 80 characters"),
        ("5 V", "m/s", 'expected a quantity in m/s such as "1 m/s"'),
    ],
)
def test_what_is_not_the_quantity_is_refused(came, unit, complaint):
    with pytest.raises(UnitError) as refused:
        parse(came, unit)
    assert complaint in str(refused.value)
    assert len(str(refused.value)) < 250


@given(st.text(max_size=30) | st.from_regex(r"[0-9]{1,3} ?[a-zA-Zµ/²^·* ]{1,8}", fullmatch=True))
def test_any_text_gives_a_finite_number_or_a_unit_error(text):
    with contextlib.suppress(UnitError):
        assert math.isfinite(parse(text, "A"))


@given(st.floats(-1e12, 1e12))
def test_a_float_written_out_comes_back_unchanged(value):
    assert parse(f"{value!r} A", "A") == value


@given(st.floats(1e-3, 1e6))
def test_there_and_back_through_a_trade_unit(value):
    in_asf = parse(f"{value!r} A/dm²", "A/ft²")
    assert math.isclose(parse(f"{in_asf!r} ASF", "A/dm²"), value)


@pytest.mark.parametrize(
    ("text", "ml_m2"),
    # Electroplating Engineering Handbook, from memory; 1 gal on 1000 ft² is 40.746 mL/m².
    [("0.4 gal/1000 ft²", 16.30), ("2 gal/(1000 ft2)", 81.49), ("4.0 gal / 1000 ft²", 162.98)],
)
def test_drag_out_as_the_trade_writes_it(text, ml_m2):
    assert parse(text, "mL/m²") == pytest.approx(ml_m2, rel=1e-3)
