"""Figures in the units of the US trade.

Factors are those of NIST SP 811 (2008), appendix B.8, all exact but for the digits that it gives:
mil 25.4 µm, square inch 6.4516 cm², square foot 9.290304 dm², ounce (avoirdupois) 28.34952 g, pound
453.5924 g, gallon (US) 3.785412 L, ounce per gallon (US) 7.489152 g/L, °F: t/°C = (t/°F - 32)/1.8.
"""

import pytest

from daemon.api.trade_text import in_trade
from daemon.api.trade_units import METRIC_UNITS, decimals, line, shown, sign
from daemon.units import UnitError, converted


@pytest.mark.parametrize(
    ("metric", "unit", "trade", "of"),
    [
        (25.4, "µm", 1.0, "mil"),
        (25.4, "mm", 1.0, "in"),
        (2.54, "cm", 1.0, "in"),
        (0.3048, "m", 1.0, "ft"),
        (9.290304, "dm²", 1.0, "ft²"),
        (9.29, "dm²", 143.9953, "in²"),
        (0.064516, "dm²", 1.0, "in²"),
        (6.4516, "cm²", 1.0, "in²"),
        (0.09290304, "m²", 1.0, "ft²"),
        (16.38706, "cm³", 1.0, "in³"),
        (1.0, "A/dm²", 9.290304, "ASF"),
        (100.0, "A/m²", 9.290304, "ASF"),
        (1.0, "mL/dm²", 9.290304, "mL/ft²"),
        (28.34952, "g", 1.0, "oz"),
        (0.4535924, "kg", 1.0, "lb"),
        (3.785412, "L", 1.0, "gal"),
        (7.489152, "g/L", 1.0, "oz/gal"),
        (3.785412, "L/d", 1.0, "gal/d"),
        (3.785412, "L/h", 1.0, "gal/h"),
        (24.0, "°C", 75.2, "°F"),
        (-40.0, "°C", -40.0, "°F"),
        (5.0, "K", 9.0, "°F"),
        (5.0, "mL", 5.0, "mL"),
        (60.0, "mg/L", 60.0, "mg/L"),
        (4.5, "Ah", 4.5, "Ah"),
    ],
)
def test_a_figure_in_the_trades_units(metric: float, unit: str, trade: float, of: str):
    there = shown(metric, unit, "trade")
    assert (there.value, there.unit) == (pytest.approx(trade, rel=2e-6), of)
    assert shown(metric, unit, "metric").value == metric


def test_each_unit_of_the_table_has_a_sign_and_a_line():
    for unit in METRIC_UNITS:
        factor, start = line(unit, "trade")
        assert sign(unit, "trade") != unit
        assert sign(unit, "metric") == unit
        assert line(unit, "metric") == (1.0, 0.0)
        large = shown(100.0, unit, "trade")
        assert factor * 100.0 + start == pytest.approx(large.value)


def test_units_of_another_kind_are_refused():
    with pytest.raises(UnitError, match="different kinds"):
        converted(1.0, "µm", "gal")


@pytest.mark.parametrize(
    ("value", "unit", "places", "kept"),
    [
        (24.8, "µm", 1, 3),  # 0.1 µm is 0.0039 mil
        (25.0, "µm", 0, 2),  # 1 µm is 0.039 mil
        (1.0, "L", 0, 2),  # two digits at least
        (1500.0, "g", -2, 0),  # "1.5e+03": its last place is worth 100 g, 3.5 oz
        (1.8, "dm²", 1, 0),  # 0.1 dm² is 1.55 in²
        (24.0, "°C", 0, 0),
        (24.0, "°C", 1, 1),
        (0.0, "µm", 2, 4),
    ],
)
def test_no_digit_is_made_up(value: float, unit: str, places: int, kept: int):
    assert decimals(value, unit, places) == kept


# Each right side worked out by hand from the factors above.
@pytest.mark.parametrize(
    ("metric", "trade"),
    [
        ("24.8 ± 0.9 µm (95 %)", "0.98 ± 0.04 mil (95 %)"),
        ("18.2 of 25 µm, done about 02:10.", "0.717 of 0.984 mil, done about 02:10."),
        ("2.52 A/dm² on 1.8 dm² ± 5 %", "23.4 ASF on 28 in² ± 5 %"),
        ("18 dm²", "1.9 ft²"),
        ("14.9 ± 0.3 L", "3.94 ± 0.08 gal"),
        ("bath: 24.0 °C; at most 40.0 °C is wanted", "bath: 75.2 °F; at most 104.0 °F is wanted"),
        ("0 to 60 °C", "32 to 140 °F"),
        ("between 20 and 26 °C", "between 68 and 79 °F"),
        ("24.5 ± 0.5 °C", "76.1 ± 0.9 °F"),
        ("It warms up by up to 12 °C", "It warms up by up to 22 °F"),
        ("−0.5 °C", "−0.90 °F"),
        ("+0.30 µm (+1.2 %)", "+0.0118 mil (+1.2 %)"),
        ("copper 48.2 (u 0.35) g/L", "copper 6.44 (u 0.05) oz/gal"),
        ("44.58, 44.49, 44.65 g/L", "5.953, 5.941, 5.962 oz/gal"),
        ("25\N{NO-BREAK SPACE}µm", "0.98 mil"),
        ("1.5e+03 g", "53 oz"),
    ],
)
def test_a_text_is_told_in_the_trades_units(metric: str, trade: str):
    assert in_trade(metric) == trade
    assert in_trade(trade) == trade


@pytest.mark.parametrize("um", ["24.99", "24.9", "24.4"])
def test_what_is_short_of_the_target_never_reads_as_there(um: str):
    part, whole = in_trade(f"{um} of 25 µm").removesuffix(" mil").split(" of ")
    assert float(part) < float(whole)
    assert len(part) == len(whole)
    sure, whole = in_trade(f"{um} ± 0.9 µm (95 %) of 25 µm.").split(" mil (95 %) of ")
    assert float(sure.split()[0]) < float(whole.removesuffix(" mil."))


@pytest.mark.parametrize(
    ("both", "trade"),
    [
        ("200 g/L (26.7 oz/gal)", "26.7 oz/gal"),
        ("2000 g (4.41 lb)", "4.41 lb"),
        ("340.5 mL (11.5 fl oz)", "11.5 fl oz"),
        ("54 to 60 °C (130 to 140 °F)", "130 to 140 °F"),
        ("5 cm (1.97 in): 3.1 A/dm² (28.8 A/ft²)", "1.97 in: 28.8 ASF"),
    ],
)
def test_a_figure_in_both_is_told_once(both: str, trade: str):
    assert in_trade(both) == trade


@pytest.mark.parametrize(
    "text",
    [
        "5 mL of brightener at 150 mL/kAh, 60 mg/L, 5 mL/L",
        "2.16 A, 3.5 V, 4.5 Ah, 40 min, 0.41 Wh, 95 %",
        "14 EUR/L, 0.1 mol/L, 1.158 g/cm³, 0.5 mm²",
        "60 x 40 x 20 mm",
        'got "1.8 dm²", such as "25 µm"',
        "“Lamp foot, 25 µm” is kept",
        "5, 10 and 25 µm",  # rather left than half of it changed
        "H2O 5 gallons",
        "",
    ],
)
def test_what_stays_as_it_is(text: str):
    assert in_trade(text) == text
