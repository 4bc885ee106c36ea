"""Descriptions of kernel channels: what is shipped, what is refused, and how the refusal reads."""

import re
from pathlib import Path

import pytest

from drivers.channels.description import (
    Description,
    ShuntTable,
    adapted,
    load_channel,
    shipped_channels,
)
from drivers.errors import DescriptionError

FOLDER = Path(__file__).parents[3] / "drivers/channels"


@pytest.fixture
def altered(tmp_path):
    """Write a shipped description with one passage replaced, and give its path."""

    def write(name: str, old: str, new: str) -> Path:
        text = (FOLDER / f"{name}.toml").read_text()
        assert text.count(old) == 1, old
        path = tmp_path / "mine.toml"
        path.write_text(text.replace(old, new))
        return path

    return write


def test_what_is_shipped():
    assert shipped_channels() == [
        "ads1115-divider",
        "ads1115-shunt",
        "ds18b20",
        "ina219",
        "ina226",
        "ina226-amperes",
        "ina228",
        "ina238",
    ]


@pytest.mark.parametrize("name", shipped_channels())
def test_every_shipped_description_is_accepted_and_explains_its_keys(name):
    assert load_channel(name).title
    for block in (FOLDER / f"{name}.toml").read_text().split("\n\n"):
        if re.search(r"^[a-z0-9_]+ = ", block, re.MULTILINE):
            assert re.search(r"^# ", block, re.MULTILINE), block


def test_keys_that_are_commented_out_are_keys(tmp_path):
    text = (FOLDER / "ina226.toml").read_text()
    text = text.replace("# [[chip", "[[chip").replace("# file", "file").replace("# value", "value")
    text = text.replace("# resistance_mohm", "resistance_mohm")
    text = text.replace("rated_voltage_mv = 60", "")
    path = tmp_path / "all.toml"
    path.write_text(text)
    description = load_channel(path)
    assert [setting.value for setting in description.chip.settings] == [2500, 141]
    assert description.shunt.resistance_ohm == pytest.approx(2.003e-3)


@pytest.mark.parametrize(
    ("rated_a", "rated_mv", "ohm", "continuous_a"),
    # Check value of trade practice: 30 A at 60 mV is 2.000 mΩ; 2/3 of 30 A is 20 A.
    [(30, 60, 0.002, 20), (10, 50, 0.005, 6.667), (1, 75, 0.075, 0.6667), (100, 100, 0.001, 66.67)],
)
def test_a_shunt_by_its_rating(rated_a, rated_mv, ohm, continuous_a):
    shunt = ShuntTable(rated_current_a=rated_a, rated_voltage_mv=rated_mv)
    assert shunt.resistance_ohm == pytest.approx(ohm)
    assert shunt.continuous_a == pytest.approx(continuous_a, rel=1e-3)


def test_a_shunt_by_its_resistance_may_know_its_rated_current_or_not():
    assert ShuntTable(resistance_mohm=2.0).continuous_a is None
    assert ShuntTable(resistance_mohm=2.0, rated_current_a=30).continuous_a == pytest.approx(20)


@pytest.mark.parametrize(
    ("name", "old", "new", "expected"),
    [
        (
            "ina226",
            'bus = "hwmon"',
            'bus = "i2c"',
            "chip.bus: got 'i2c', allowed: 'hwmon', 'iio' or 'w1'",
        ),
        ("ina226", '"1-0040"', '"0x40"', "chip.address: got '0x40'"),
        ("ina226", '"1-0040"', '"1-40"', "chip.address: got '1-40'"),
        (
            "ina226",
            '["ina226", "ina230", "ina231"]',
            "[]",
            "chip: allowed: names for a chip on hwm",
        ),
        (
            "ds18b20",
            'bus = "w1"',
            'bus = "w1"\nnames = ["x"]',
            "chip: allowed: names for a chip on",
        ),
        ("ina226", '"curr1_input"', '"../curr1_input"', "current.file: got '../curr1_input'"),
        ("ina226", '"shunt_resistor"', '"../../x"', "chip.settings.0.file: got '../../x'"),
        ("ina226", "value = 2500", "value = 0", "chip.settings.0.value: got 0"),
        (
            "ina226",
            "value = 2500",
            "ohm = 2500",
            "chip.settings.0.ohm: unknown key; allowed here: f",
        ),
        (
            "ina226",
            "microvolts_per_count = 2.5",
            "microvolts_per_count = -2.5",
            "current.microvolts_per_count: got -2.5, allowed: greater than 0",
        ),
        (
            "ina226",
            "microvolts_per_count = 2.5",
            "",
            "current: allowed: one of microvolts_per_coun",
        ),
        (
            "ina226",
            "microvolts_per_count = 2.5",
            "microvolts_per_count = 2.5\nmilliamperes_per_count = 1",
            "current: allowed: one of microvolts_per_count",
        ),
        ("ina226", "greatest_count = 32760", "", "current.greatest_count: missing, but required"),
        ("ina226", "window_ms = 35.2", "window_ms = -1", "current.window_ms: got -1"),
        ("ina226", "window_ms = 35.2", "window_s = 0.04", "current.window_s: unknown key"),
        ("ina226", "reversed = false", 'reversed = "no"', "current.reversed: got 'no'"),
        (
            "ina226",
            "rated_voltage_mv = 60",
            "",
            "shunt: allowed: rated_current_a and rated_voltage_mv, or resistance_mohm",
        ),
        (
            "ina226",
            "rated_voltage_mv = 60",
            "rated_voltage_mv = 60\nresistance_mohm = 2",
            "shunt: allowed: rated_voltage_mv or resistance_mohm, not both",
        ),
        ("ina226", "rated_current_a = 30", "rated_current_a = 0", "shunt.rated_current_a: got 0"),
        (
            "ina226",
            "[shunt]\nrated_current_a = 30\nrated_voltage_mv = 60",
            "",
            "the file: allowed: shunt where current is read as a voltage, and none where",
        ),
        (
            "ina226-amperes",
            "[voltage]",
            "[shunt]\nresistance_mohm = 2\n[voltage]",
            "the file: allowed: shunt where current is read as a voltage, and none where",
        ),
        ("ina226", "ratio = 1", "ratio = 0.5", "voltage.ratio: got 0.5, allowed: greater than or"),
        ("ina226", "millivolts_per_count = 1", "", "voltage: allowed: one of millivolts_per_count"),
        (
            "ds18b20",
            "least_c = -10",
            "least_c = 100",
            "temperature: allowed: least_c below greatest",
        ),
        ("ds18b20", "offset_c = 0", "offset_c = nan", "temperature.offset_c: got nan"),
        ("ds18b20", "[85000]", "85000", "temperature.void_counts: got 85000"),
        (
            "ds18b20",
            "[temperature]",
            "[voltage]\nfile = 'a'\nmillivolts_per_count = 1\ngreatest_count = 1\n[temperature]",
            "the file: allowed: current, voltage or both for a meter, or temperature alone",
        ),
    ],
)
def test_a_wrong_key_or_value_is_named_with_what_is_allowed(altered, name, old, new, expected):
    path = altered(name, old, new)
    with pytest.raises(DescriptionError) as caught:
        load_channel(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert expected in str(caught.value)


def test_a_chip_that_measures_nothing_is_refused(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text('title = "x"\n[chip]\nbus = "w1"\naddress = "28-000000000000"\n')
    with pytest.raises(DescriptionError, match="current, voltage or both for a meter"):
        load_channel(path)


@pytest.mark.parametrize("name", ["ina225", "missing.toml", "/nowhere/mine.toml", "../scpi/scpi99"])
def test_a_missing_file_is_named_beside_the_shipped_ones(name):
    with pytest.raises(DescriptionError, match=rf"{name}: no such description.*ina226"):
        load_channel(name)


def test_a_shunt_that_the_converter_cannot_follow_up_to_its_continuous_current_is_refused():
    # 2/3 of 150 mV is 100 mV, and an INA226 ends at 81.9 mV.
    shunt = ShuntTable(rated_current_a=100, rated_voltage_mv=150)
    with pytest.raises(DescriptionError, match=r"within ±81\.9 mV.*gives 100 mV at 66\.67 A, 2/3"):
        adapted(load_channel("ina226"), shunt=shunt)
    assert adapted(load_channel("ina238"), shunt=shunt).shunt == shunt
    # 100 mV at rated current is 66.7 mV in continuous use: that can be read.
    shunt = ShuntTable(rated_current_a=100, rated_voltage_mv=100)
    assert adapted(load_channel("ina226"), shunt=shunt).shunt == shunt


def test_a_description_is_adapted_to_a_tank():
    shipped = load_channel("ina226")
    shunt = ShuntTable(resistance_mohm=1.0)
    mine = adapted(shipped, address="1-0044", shunt=shunt)
    assert (mine.chip.address, mine.shunt) == ("1-0044", shunt)
    assert mine.chip.settings == shipped.chip.settings
    assert shipped.chip.address == "1-0040"
    assert adapted(shipped) == shipped


def test_a_wrong_address_is_refused_when_adapted():
    with pytest.raises(DescriptionError, match=r"INA226 with a shunt: chip\.address: allowed: "):
        adapted(load_channel("ina226"), address="40")


def test_a_shunt_for_a_thermometer_is_refused_when_adapted():
    with pytest.raises(DescriptionError, match="shunt where current is read as a voltage"):
        adapted(load_channel("ds18b20"), shunt=ShuntTable(resistance_mohm=1.0))


def test_a_description_can_be_made_without_a_file():
    tables = {
        "title": "probe",
        "chip": {"bus": "hwmon", "names": ["lm75"], "address": "1-0048"},
        "temperature": {
            "file": "temp1_input",
            "degrees_c_per_count": 0.001,
            "least_c": 0,
            "greatest_c": 80,
        },
    }
    assert Description.model_validate(tables).temperature.void_counts == []
