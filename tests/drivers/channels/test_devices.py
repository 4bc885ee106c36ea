"""Meters and thermometers on kernel channels, as the rest of tankhand uses them."""

import math
import os
from itertools import count as counting
from pathlib import Path

import pytest

from drivers.channels.description import Description, ShuntTable, adapted, load_channel
from drivers.channels.devices import ChannelMeter, ChannelThermometer
from drivers.channels.ripple import ripple
from drivers.contracts import Meter, Reading, Temperature, Thermometer
from drivers.errors import (
    DescriptionError,
    GarbledReplyError,
    LinkError,
    NoReplyError,
    PortUnavailableError,
    WrongDeviceError,
)


class Ticking:
    """A clock that is one second further at each look."""

    def __init__(self) -> None:
        self._looks = counting(100)

    def __call__(self) -> float:
        return float(next(self._looks))


@pytest.fixture
def ina226(sysfs):
    return sysfs.hwmon(
        4,
        "ina226",
        "1-0040",
        curr1_input=12_000,
        in1_input=3_250,
        power1_input=0,
        shunt_resistor=2500,
    )


def meter_of(sysfs, name: str, now=lambda: 0.0, **changes: object) -> ChannelMeter:
    return ChannelMeter(adapted(load_channel(name), **changes), now, sysfs.root)


def test_30_millivolts_over_a_shunt_of_30_amperes_and_60_millivolts_are_15_amperes(sysfs, ina226):
    # 12 000 counts of 2.5 µV are 30.00 mV.
    meter: Meter = meter_of(sysfs, "ina226", lambda: 7.0)
    meter.open()
    reading = meter.read()
    assert reading.current_a == pytest.approx(15.00, rel=1e-12)
    assert reading.voltage_v == pytest.approx(3.250)
    assert (reading.mode, reading.output_on) == (None, None)
    # One window of averaging, 35.2 ms, before it was read.
    assert reading.monotonic_s == pytest.approx(7.0 - 0.0352)
    meter.close()
    meter.close()


def test_swapped_sense_wires_are_turned_round(sysfs, ina226):
    (ina226 / "curr1_input").write_text("-12000\n")
    tables = load_channel("ina226").model_dump()
    tables["current"]["reversed"] = True
    meter = ChannelMeter(Description.model_validate(tables), root=sysfs.root)
    assert meter.read().current_a == pytest.approx(15.00)
    meter.close()


def test_a_meter_knows_what_its_shunt_carries_and_where_it_ends(sysfs):
    meter = meter_of(sysfs, "ina226")
    assert meter.continuous_a == pytest.approx(20.0)
    assert meter.readable_a == pytest.approx(40.95)
    assert meter_of(sysfs, "ina226", shunt=ShuntTable(resistance_mohm=2)).continuous_a is None
    assert meter_of(sysfs, "ina226-amperes").continuous_a is None
    assert meter_of(sysfs, "ads1115-divider").readable_a is None


def test_a_meter_of_the_kernel_s_amperes_takes_them_as_they_are(sysfs, ina226):
    (ina226 / "shunt_resistor").write_text("2000\n")
    (ina226 / "curr1_input").write_text("15003\n")
    meter = meter_of(sysfs, "ina226-amperes")
    meter.open()
    assert meter.read().current_a == pytest.approx(15.003)
    meter.close()


def test_a_kernel_that_was_told_of_another_shunt_is_refused(sysfs, ina226):
    (ina226 / "shunt_resistor").write_text("10000\n")
    meter = meter_of(sysfs, "ina226")
    with pytest.raises(WrongDeviceError, match="shunt_resistor: is 10000, but this channel needs"):
        meter.open()


def test_two_meters_of_one_kind_are_told_by_their_addresses(sysfs, ina226):
    sysfs.hwmon(
        2, "ina226", "1-0041", curr1_input=1, shunt_resistor=2500, in1_input=0, power1_input=0
    )
    first, second = meter_of(sysfs, "ina226"), meter_of(sysfs, "ina226", address="1-0041")
    assert first.read().current_a == pytest.approx(15.0)
    assert second.read().current_a == pytest.approx(0.00125)
    first.close()
    second.close()


def test_a_voltage_that_cannot_be_had_does_not_lose_the_current(sysfs, ina226):
    meter = meter_of(sysfs, "ina226")
    meter.open()
    for bad in ("", "x", "36001"):
        (ina226 / "in1_input").write_text(bad)
        reading = meter.read()
        assert reading.current_a == pytest.approx(15.0)
        assert reading.voltage_v is None
    (ina226 / "in1_input").write_text("3300\n")
    assert meter.read().voltage_v == pytest.approx(3.3)
    meter.close()


def test_a_current_that_cannot_be_had_is_an_error_and_not_zero(sysfs, ina226):
    meter = meter_of(sysfs, "ina226")
    meter.open()
    (ina226 / "curr1_input").write_text("32767\n")
    with pytest.raises(GarbledReplyError, match="converter is at its stop"):
        meter.read()
    (ina226 / "curr1_input").write_text("")
    with pytest.raises(NoReplyError):
        meter.read()
    meter.close()


def test_a_meter_that_was_unplugged_is_found_again_by_reading(sysfs, ina226):
    meter = meter_of(sysfs, "ina226")
    meter.open()
    sysfs.unplug(ina226)
    for _ in range(3):
        with pytest.raises(LinkError):
            meter.read()
    files = {"curr1_input": 24_000, "in1_input": 1, "power1_input": 0, "shunt_resistor": 2500}
    sysfs.hwmon(9, "ina226", "1-0040", **files)
    assert meter.read().current_a == pytest.approx(30.0)
    # Each file is found by itself, so the voltage may lag by one reading.
    assert meter.read() == Reading(pytest.approx(-0.0352), pytest.approx(30.0), pytest.approx(1e-3))
    meter.close()


def test_nothing_stays_open_after_an_opening_that_failed(sysfs, ina226):
    def open_files() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    before = open_files()
    (ina226 / "in1_input").unlink()
    meter = meter_of(sysfs, "ina226")
    with pytest.raises(PortUnavailableError, match="in1_input: there is no such file"):
        meter.open()
    assert open_files() == before


def test_the_kernel_gets_its_occasion_to_restore_the_chip_every_minute(sysfs, ina226, mocker):
    clock = mocker.Mock(return_value=0.0)
    meter = meter_of(sysfs, "ina226", clock)
    meter.open()
    looks = mocker.spy(os, "pread")
    files_read = []
    for moment_s in (0.0, 59.9, 60.0, 61.0):
        clock.return_value = moment_s
        looks.reset_mock()
        meter.read()
        files_read.append(looks.call_count)
    # Current, voltage, and each minute the power.
    assert files_read == [3, 2, 3, 2]
    meter.close()


def test_no_current_is_lost_for_an_occasion_that_failed(sysfs, ina226):
    (ina226 / "power1_input").unlink()
    meter = meter_of(sysfs, "ina226")
    meter.open()
    assert meter.read().current_a == pytest.approx(15.0)
    meter.close()


def ads1115(sysfs, scale: object, **raw: int) -> Path:
    files = {"in_voltage0-voltage1_scale": scale, "in_voltage2_scale": 0.125}
    names = {"shunt": "in_voltage0-voltage1_raw", "cell": "in_voltage2_raw"}
    return sysfs.iio(0, "ads1015", "1-0048", files | {names[k]: v for k, v in raw.items()})


@pytest.mark.parametrize("rated_mv", [50, 60, 75, 100])
def test_an_ads1115_reads_the_usual_shunts(sysfs, rated_mv):
    # Half the rated voltage, in counts of 256 mV / 32768.
    ads1115(sysfs, "0.007812500", shunt=round(rated_mv / 2 / 256 * 32768))
    shunt = ShuntTable(rated_current_a=30, rated_voltage_mv=rated_mv)
    meter = meter_of(sysfs, "ads1115-shunt", shunt=shunt)
    meter.open()
    assert meter.read().current_a == pytest.approx(15.0, abs=30 * 0.004 / rated_mv)
    assert meter.read().voltage_v is None
    assert meter.readable_a == pytest.approx(30 * 255.98 / rated_mv, rel=1e-4)
    meter.close()


def test_an_ads1115_reads_a_cell_voltage_over_a_divider(sysfs):
    # 47 kΩ over 4.7 kΩ: 3.30 V at the cell are 300 mV at the input, 2400 counts of 0.125 mV.
    ads1115(sysfs, 1, cell=2400)
    meter = meter_of(sysfs, "ads1115-divider", Ticking())
    meter.open()
    reading = meter.read()
    assert reading.voltage_v == pytest.approx(3.30)
    assert reading.current_a is None
    # Asked at 100 s and answered at 101 s.
    assert reading.monotonic_s == 100.5
    with pytest.raises(ValueError, match="ADS1115 with a divider: reads no current"):
        meter.burst(1.0)
    meter.close()


def test_one_ads1115_reads_both_in_one_meter(sysfs):
    ads1115(sysfs, "0.007812500", shunt=3840, cell=2400)
    tables = load_channel("ads1115-shunt").model_dump()
    tables["voltage"] = load_channel("ads1115-divider").model_dump()["voltage"]
    meter = ChannelMeter(Description.model_validate(tables), root=sysfs.root)
    reading = meter.read()
    assert reading.current_a == pytest.approx(15.0)
    assert reading.voltage_v == pytest.approx(3.30)
    meter.close()


def test_a_gain_that_ends_below_the_shunt_s_continuous_voltage_is_refused_at_opening(sysfs):
    # A shunt of 600 mV on the range of ±0.256 V.
    ads1115(sysfs, "0.007812500", shunt=1)
    shunt = ShuntTable(rated_current_a=30, rated_voltage_mv=600)
    meter = meter_of(sysfs, "ads1115-shunt", shunt=shunt)
    with pytest.raises(DescriptionError, match=r"within ±255\.984 mV.*400 mV at 20 A"):
        meter.open()
    (sysfs.root / "bus/iio/devices/iio:device0/in_voltage0-voltage1_scale").write_text("0.0625\n")
    meter.open()
    meter.close()


def test_a_thermometer_gives_degrees_and_the_middle_of_its_conversion(sysfs):
    sysfs.w1("28-0316a2795e1f", temperature=24_187)
    description = adapted(load_channel("ds18b20"), address="28-0316a2795e1f")
    thermometer: Thermometer = ChannelThermometer(description, Ticking(), sysfs.root)
    thermometer.open()
    assert thermometer.read() == Temperature(100.5, pytest.approx(24.187))
    thermometer.close()


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("85000\n", GarbledReplyError),
        ("127937\n", GarbledReplyError),
        ("-55000\n", GarbledReplyError),
        ("", NoReplyError),
        ("oops\n", GarbledReplyError),
    ],
)
def test_what_is_no_temperature_is_an_error(sysfs, content, expected):
    folder = sysfs.w1("28-0316a2795e1f", temperature=0)
    description = adapted(load_channel("ds18b20"), address="28-0316a2795e1f")
    thermometer = ChannelThermometer(description, root=sysfs.root)
    thermometer.open()
    (folder / "temperature").write_text(content)
    with pytest.raises(expected):
        thermometer.read()
    (folder / "temperature").write_text("21000\n")
    assert thermometer.read().temperature_c == pytest.approx(21.0)
    thermometer.close()


def test_the_placeholder_address_shows_which_sensors_there_are(sysfs):
    sysfs.w1("28-0316a2795e1f", temperature=0)
    thermometer = ChannelThermometer(load_channel("ds18b20"), root=sysfs.root)
    with pytest.raises(PortUnavailableError, match="there is at 28-0316a2795e1f"):
        thermometer.open()


def test_meter_and_thermometer_are_not_taken_for_each_other(sysfs):
    with pytest.raises(DescriptionError, match="describes a thermometer; expected a meter"):
        ChannelMeter(load_channel("ds18b20"), root=sysfs.root)
    with pytest.raises(DescriptionError, match="describes a meter; expected a thermometer"):
        ChannelThermometer(load_channel("ina226"), root=sysfs.root)


class RippledFile:
    """A clock whose looks are 0.25 ms apart; each puts the current of its moment in a file."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._ticks = counting(1)

    def __call__(self) -> float:
        now_s = next(self._ticks) * 0.25e-3
        amperes = 10 + 0.5 * math.sin(2 * math.pi * 100 * now_s)
        # An INA219 over 2 mΩ: 10 µV a count.
        self._path.write_text(f"{round(amperes * 2e-3 / 10e-6)}\n")
        return now_s


def test_a_burst_of_a_fast_meter_shows_the_ripple(sysfs):
    files = {"curr1_input": 0, "in1_input": 0, "power1_input": 0, "shunt_resistor": 10_000}
    folder = sysfs.hwmon(0, "ina219", "1-0040", **files)
    meter = meter_of(sysfs, "ina219", RippledFile(folder / "curr1_input"))
    meter.open()
    burst = meter.burst(0.3)
    meter.close()
    assert len(burst.times_s) == len(burst.currents_a) == 1200
    assert burst.times_s[-1] - burst.times_s[0] == pytest.approx(0.3, abs=0.0005)
    found = ripple(burst.times_s, burst.currents_a, lowest_hz=100)
    assert found.rms_percent == pytest.approx(10 / (2 * math.sqrt(2)), rel=0.01)


def test_a_burst_that_fails_gives_nothing(sysfs, ina226):
    meter = meter_of(sysfs, "ina226", Ticking())
    meter.open()
    (ina226 / "curr1_input").write_text("")
    with pytest.raises(NoReplyError):
        meter.burst(5.0)
    meter.close()


@pytest.mark.parametrize("duration_s", [0.0, -1.0, 10.1, math.nan, math.inf])
def test_a_burst_of_no_sensible_length_is_refused(sysfs, ina226, duration_s):
    meter = meter_of(sysfs, "ina226")
    with pytest.raises(ValueError, match="above 0 to 10 s"):
        meter.burst(duration_s)
