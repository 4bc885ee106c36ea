"""From a settings file to meters and thermometers: names, roles, shunts, and what is refused."""

import shutil
from importlib.resources import files

import pytest

from daemon.api.errors import InputError
from daemon.service.devices.assembly import make_meters
from daemon.service.settings.file import read_settings
from drivers.contracts import Rating
from drivers.errors import DescriptionError, PortUnavailableError

RATING = Rating(current_a=40.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01)

LEAST = """\
[supply]
port = "/dev/ttyUSB0"
[bath]
name = "Acid copper"
[simulation]
sysfs = "sys"
"""

SHUNT = """\
[[meter]]
name = "shunt"
description = "ina226"
"""

VOLTS = """\
[[meter]]
name = "cell"
description = "ads1115-divider"
"""


@pytest.fixture
def settings(tmp_path):
    def settings(text=""):
        path = tmp_path / "settings.toml"
        path.write_text(LEAST + text)
        return read_settings(path)

    return settings


@pytest.fixture
def meters(settings, clock):
    def meters(text=""):
        return make_meters(settings(text), clock, RATING)

    return meters


@pytest.fixture
def chip(tmp_path):
    """Plug in a chip of hwmon or IIO beside the settings; gives its folder."""

    def chip(shelf, number, name, address, **values):
        device = tmp_path / f"sys/devices/{address}"
        folder = device / number
        folder.mkdir(parents=True)
        for file, value in {"name": name, **values}.items():
            (folder / file.replace("__", "-")).write_text(f"{value}\n")
        (folder / "device").symlink_to(device)
        link = tmp_path / "sys" / shelf / number
        link.parent.mkdir(parents=True, exist_ok=True)
        link.symlink_to(folder)
        return folder

    return chip


@pytest.fixture
def ina226(chip):
    def ina226(address="1-0040", number="hwmon3", **values):
        given = {"shunt_resistor": 2500, "curr1_input": 1600, "in1_input": 2750}
        return chip("class/hwmon", number, "ina226", address, **(given | values))

    return ina226


def refused(make, text):
    with pytest.raises(InputError) as caught:
        make(text)
    return str(caught.value)


# Which one counts.


def test_without_meters_the_supply_counts(meters):
    found = meters()
    assert (found.counting, found.meters, found.thermometers) == ("supply", {}, {})
    assert found.period_s == 0.1
    assert list(found.doubts()) == ["supply"]


@pytest.mark.parametrize(
    ("text", "counting"),
    [
        (SHUNT, "shunt"),
        (VOLTS + SHUNT, "shunt"),
        (VOLTS, "supply"),
        (SHUNT + SHUNT.replace("shunt", "tube"), "shunt"),
        (SHUNT + SHUNT.replace("shunt", "tube") + '[roles]\ncounts = "tube"\n', "tube"),
        (SHUNT + '[roles]\ncounts = "supply"\n', "supply"),
    ],
)
def test_the_first_that_reads_a_current_counts_unless_the_roles_say_otherwise(
    meters, text, counting
):
    assert meters(text).counting == counting


def test_a_role_for_a_meter_that_is_not_there(settings):
    said = refused(settings, SHUNT + '[roles]\ncounts = "tube"\n')
    assert "roles.counts must be one of supply, shunt, got 'tube'" in said


def test_a_thermometer_cannot_count(settings):
    text = '[[thermometer]]\nname = "bath"\ndescription = "ds18b20"\n[roles]\ncounts = "bath"\n'
    assert "roles.counts must be one of supply, got 'bath'" in refused(settings, text)


def test_a_voltmeter_cannot_count(meters):
    said = refused(meters, SHUNT + VOLTS + '[roles]\ncounts = "cell"\n')
    assert "roles.counts: meter 'cell' reads no current; allowed: supply, shunt" in said


def test_a_counting_meter_too_slow_for_the_gap_limit_is_refused(meters):
    said = refused(meters, SHUNT + 'period = "2 s"\n')
    assert "meter 'shunt' counts: its period must be below loop.gap, 1 s, got 2 s" in said
    # One that only checks may be slow.
    slow = SHUNT + 'period = "2 s"\n[roles]\ncounts = "supply"\n'
    assert meters(slow).counting == "supply"


# Names.


@pytest.mark.parametrize("text", [SHUNT + SHUNT, SHUNT.replace('"shunt"', '"supply"')])
def test_a_name_that_is_there_twice(settings, text):
    assert "names of meters must differ" in refused(settings, text)


def test_a_thermometer_with_a_meter_s_name(settings):
    text = SHUNT + '[[thermometer]]\nname = "shunt"\ndescription = "ds18b20"\n'
    assert "shunt is there twice" in refused(settings, text)


@pytest.mark.parametrize("name", ["", "Shunt", "1st", "a" * 31, "a\\nb"])
def test_a_name_of_the_wrong_form(settings, name):
    assert "meter[1].name" in refused(settings, SHUNT.replace('"shunt"', f'"{name}"'))


# Units and shunts.


@pytest.mark.parametrize(
    ("key", "words"),
    [
        (
            'shunt = { rated_current = "60 mV", rated_voltage = "60 mV" }',
            ["rated_current", "60 mV"],
        ),
        ('shunt = { resistance = "2 A" }', ["resistance", "2 A"]),
        ('shunt = { resistance = "0 mΩ" }', ["resistance", "above 0"]),
        ('shunt = { rated_current = 30, rated_voltage = "60 mV" }', ["rated_current"]),
        ('shunt = { rated_voltage = "60 mV" }', ["rated_current is wanted with rated_voltage"]),
        ('shunt = { rated_current = "30 A" }', ["rated_voltage or resistance is wanted"]),
        (
            'shunt = { rated_current = "30 A", rated_voltage = "60 mV", resistance = "2 mΩ" }',
            ["rated_voltage or resistance is wanted, and not both"],
        ),
        ("shunt = { ohm = 2 }", ["ohm"]),
        ('period = "0 s"', ["period", "above 0"]),
        ('period = "10 V"', ["period", "10 V"]),
        ('accuracy = { gain = "2 A" }', ["accuracy.gain", "2 A"]),
        ('accuracy = { offset = "1 %" }', ["accuracy.offset", "1 %"]),
        ("chip = 1", ["chip"]),
    ],
)
def test_what_is_wrong_is_named(settings, key, words):
    said = refused(settings, SHUNT + key + "\n")
    assert "meter[1]" in said
    for word in words:
        assert word in said


@pytest.mark.parametrize(
    ("shunt", "current_a"),
    [
        # 1600 counts of 2.5 µV are 4 mV. The shipped shunt has 30 A at 60 mV, 2 mΩ.
        ("", 2.0),
        ('shunt = { rated_current = "100 A", rated_voltage = "50 mV" }', 8.0),
        ('shunt = { resistance = "4 mΩ" }', 1.0),
        ('shunt = { resistance = "0.004 Ω", rated_current = "10 A" }', 1.0),
    ],
)
def test_a_shunt_is_applied_in_each_form(meters, ina226, shunt, current_a):
    ina226()
    meter = meters(SHUNT + shunt).meters["shunt"]
    meter.open()
    reading = meter.read()
    assert reading.current_a == pytest.approx(current_a)
    assert reading.voltage_v == pytest.approx(2.75)


def test_a_shunt_beyond_the_converter_is_refused(meters):
    with pytest.raises(DescriptionError, match=r"81\.9 mV"):
        meters(SHUNT + 'shunt = { rated_current = "10 A", rated_voltage = "150 mV" }')


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SHUNT.replace("ina226", "ina999"), "ina999: no such description"),
        (SHUNT.replace("ina226", "ds18b20"), "describes a thermometer"),
        ('[[thermometer]]\nname = "bath"\ndescription = "ina226"\n', "describes a meter"),
        (SHUNT + 'address = "64"\n', "address"),
        (VOLTS + 'shunt = { resistance = "2 mΩ" }\n', "shunt"),
    ],
)
def test_a_description_that_does_not_fit(meters, text, words):
    with pytest.raises(DescriptionError) as caught:
        meters(text)
    assert words in str(caught.value)


def test_two_chips_of_one_kind_by_their_addresses(meters, ina226):
    ina226("1-0040", "hwmon3")
    ina226("1-0041", "hwmon5", curr1_input=800)
    found = meters(SHUNT + SHUNT.replace("shunt", "tube") + 'address = "1-0041"\n').meters
    for meter in found.values():
        meter.open()
    assert [m.read().current_a for m in found.values()] == pytest.approx([2.0, 1.0])


def test_a_description_of_one_s_own_lies_beside_the_settings(meters, ina226, tmp_path):
    ina226()
    shutil.copy(str(files("drivers.channels") / "ina226.toml"), tmp_path / "mine.toml")
    meter = meters(SHUNT.replace('"ina226"', '"mine.toml"')).meters["shunt"]
    meter.open()
    assert meter.read().current_a == pytest.approx(2.0)


def test_the_simulated_sysfs_lies_beside_the_settings_too(settings, tmp_path):
    assert settings().simulation.sysfs == tmp_path / "sys"


def test_a_chip_that_is_not_there(meters):
    with pytest.raises(PortUnavailableError, match="no ina226 or ina230 or ina231 at 1-0040"):
        meters(SHUNT).meters["shunt"].open()


def test_a_thermometer(meters, tmp_path):
    folder = tmp_path / "sys/bus/w1/devices/28-0316a2795e1f"
    folder.mkdir(parents=True)
    (folder / "temperature").write_text("24125\n")
    text = '[[thermometer]]\nname = "bath"\ndescription = "ds18b20"\naddress = "28-0316a2795e1f"\n'
    thermometer = meters(text).thermometers["bath"]
    thermometer.open()
    assert thermometer.read().temperature_c == pytest.approx(24.125)


# What follows for control.


def test_what_a_maker_promises_becomes_a_doubt(meters, ina226):
    ina226()
    found = meters(SHUNT + 'accuracy = { gain = "0.5 %", offset = "6 mA", noise = "1 mA" }\n')
    found.meters["shunt"].open()
    doubt = found.doubts()["shunt"]
    # Limits as rectangles: 0.005/√3 and 6/√3 mA; one count of 2.5 µV on 2 mΩ is 1.25 mA.
    assert doubt.gain == pytest.approx(0.0028868, rel=1e-4)
    assert doubt.offset_a == pytest.approx(0.0034641, rel=1e-4)
    assert (doubt.noise_a, doubt.of_limits) == (0.001, True)
    # Noise of nearly a step, if somebody says so, dithers the rounding away.
    assert doubt.step_a < 1e-7
    assert found.doubts()["supply"].step_a == 0.001


def test_without_a_word_on_noise_the_step_counts_in_full(meters, ina226):
    ina226()
    found = meters(SHUNT)
    found.meters["shunt"].open()
    assert found.doubts()["shunt"].step_a == pytest.approx(0.00125)
    assert found.doubts()["shunt"].noise_a == 0.002


def test_a_step_that_the_kernel_tells_is_known_once_the_meter_is_open(meters, chip):
    chip(
        "bus/iio/devices", "iio:device1", "ads1115", "1-0048",
        in_voltage0__voltage1_raw=100, in_voltage0__voltage1_scale=0.0078125,
    )  # fmt: skip
    found = meters(
        SHUNT.replace("ina226", "ads1115-shunt")
        + 'shunt = { rated_current = "30 A", rated_voltage = "50 mV" }\n'
    )
    found.meters["shunt"].open()
    # 7.8125 µV over 50 mV / 30 A.
    assert found.doubts()["shunt"].step_a == pytest.approx(0.0046875)


@pytest.mark.parametrize(
    ("shunt", "greatest_a"),
    [
        # 30 A at 60 mV: 20 A without a break; the converter ends at 81.9 mV, 40.95 A.
        ('shunt = { rated_current = "30 A", rated_voltage = "60 mV" }', 20.0),
        # 4 mΩ of unknown rating: the converter ends at 20.475 A.
        ('shunt = { resistance = "4 mΩ" }', 20.475),
        ('shunt = { rated_current = "90 A", rated_voltage = "60 mV" }', 40.0),
    ],
)
def test_no_plan_may_ask_for_more_than_the_shunt_can_take_or_show(
    meters, ina226, shunt, greatest_a
):
    ina226()
    found = meters(SHUNT + shunt)
    found.meters["shunt"].open()
    narrowed = found.narrowed(RATING)
    assert narrowed.current_a == pytest.approx(greatest_a)
    assert narrowed.voltage_v == 30.0


def test_limits_follow_the_meter_that_counts(settings, meters):
    slow = '[loop]\nperiod = "100 ms"\ngap = "5 s"\nlost = "20 s"\n'
    text = SHUNT + 'period = "2 s"\naccuracy = { offset = "50 mA" }\n' + slow
    found = meters(text)
    doubt = found.accuracies["shunt"].doubt(step_a=0.0)
    limits = settings(text).limits(0.001, found.period_s, doubt)
    # Five readings to see the current gone; 50 mA may be shown for none: 3·50/√3 = 86.6 mA.
    assert (limits.period_s, limits.off_s, limits.down_s) == (0.1, 10.0, 4.0)
    assert limits.gone_a == pytest.approx(0.0868, abs=0.0003)
    assert settings().limits(0.001).gone_a == 0.02
