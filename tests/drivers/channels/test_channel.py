"""One kernel file: found by what it is, read as a value, and never 0 when there is none."""

import errno
import os
from pathlib import Path

import pytest

from drivers.channels.channel import Channel, Setting, Source
from drivers.channels.sysfs import Bus
from drivers.errors import (
    GarbledReplyError,
    NoReplyError,
    PortUnavailableError,
    WrongDeviceError,
)


def ina(address: str = "1-0040", **more: object) -> Source:
    return Source(Bus.HWMON, ("ina226",), address, "curr1_input", **more)


def test_a_value_is_count_times_scale_plus_offset(sysfs):
    sysfs.hwmon(0, "ina226", "1-0040", curr1_input=-1200)
    channel = Channel(ina(), "A", scale=0.25, offset=1.0, root=sysfs.root)
    channel.open()
    assert channel.read() == -299.0
    channel.close()
    channel.close()


def test_every_read_looks_again(sysfs):
    folder = sysfs.hwmon(0, "ina226", "1-0040", curr1_input=1)
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    seen = []
    for count in (5, 70, 6):
        (folder / "curr1_input").write_text(f"{count}\n")
        seen.append(channel.read())
    channel.close()
    assert seen == [5.0, 70.0, 6.0]


def test_two_chips_of_a_name_are_told_by_their_addresses(sysfs):
    sysfs.hwmon(0, "cpu_thermal", "thermal_zone0", temp1_input=40000)
    sysfs.hwmon(1, "ina226", "1-0041", curr1_input=41)
    sysfs.hwmon(2, "ina226", "1-0040", curr1_input=40)
    for address, expected in (("1-0040", 40.0), ("1-0041", 41.0)):
        channel = Channel(ina(address), "A", scale=1.0, root=sysfs.root)
        assert channel.read() == expected
        channel.close()


def test_a_chip_that_is_not_there_is_named_beside_those_that_are(sysfs):
    sysfs.hwmon(3, "ina226", "1-0041", curr1_input=41)
    channel = Channel(ina("1-0040"), "A", scale=1.0, root=sysfs.root)
    with pytest.raises(
        PortUnavailableError, match="no ina226 at 1-0040; there is ina226 at 1-0041"
    ):
        channel.open()


def test_without_any_driver_loaded_there_is_nothing(sysfs):
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    with pytest.raises(PortUnavailableError, match="there is nothing"):
        channel.open()


def test_another_chip_at_the_address_is_refused(sysfs):
    sysfs.hwmon(0, "ina219", "1-0040", curr1_input=40)
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    with pytest.raises(WrongDeviceError, match="expected ina226 at 1-0040, but ina219 is"):
        channel.open()


def test_a_chip_without_a_name_is_not_ours(sysfs):
    folder = sysfs.hwmon(0, "ina226", "1-0040", curr1_input=40)
    (folder / "name").unlink()
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    with pytest.raises(WrongDeviceError, match="something without a name"):
        channel.open()


def test_a_chip_that_comes_back_under_another_number_is_found_again(sysfs):
    folder = sysfs.hwmon(2, "ina226", "1-0040", curr1_input=10)
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    assert channel.read() == 10.0
    sysfs.unplug(folder)
    with pytest.raises(NoReplyError, match="hwmon2/curr1_input: is empty"):
        channel.read()
    for _ in range(2):
        with pytest.raises(PortUnavailableError, match="no ina226 at 1-0040"):
            channel.read()
    sysfs.hwmon(2, "ina226", "1-0041", curr1_input=99)
    sysfs.hwmon(5, "ina226", "1-0040", curr1_input=11)
    assert channel.read() == 11.0
    channel.close()


def test_no_file_stays_open_behind_a_lost_chip(sysfs):
    def open_files() -> int:
        return len(list(Path("/proc/self/fd").iterdir()))

    before = open_files()
    folder = sysfs.hwmon(2, "ina226", "1-0040", curr1_input=10)
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    channel.read()
    assert open_files() == before + 1
    sysfs.unplug(folder)
    for _ in range(3):
        with pytest.raises((NoReplyError, PortUnavailableError)):
            channel.read()
    assert open_files() == before


@pytest.mark.parametrize(
    ("number", "expected"),
    [
        (errno.EIO, NoReplyError),
        (errno.EREMOTEIO, NoReplyError),
        (errno.ETIMEDOUT, NoReplyError),
        (errno.ENODEV, PortUnavailableError),
        (errno.ENXIO, PortUnavailableError),
        (errno.EBUSY, PortUnavailableError),
    ],
)
def test_an_error_of_the_bus_is_no_value_and_is_got_over(sysfs, mocker, number, expected):
    folder = sysfs.hwmon(0, "ina226", "1-0040", curr1_input=10)
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    assert channel.read() == 10.0
    mocker.patch.object(os, "pread", side_effect=OSError(number, os.strerror(number)))
    with pytest.raises(expected, match="curr1_input: "):
        channel.read()
    mocker.stopall()
    # Whatever it was, the chip may have come back under another number.
    sysfs.unplug(folder)
    sysfs.hwmon(7, "ina226", "1-0040", curr1_input=12)
    assert channel.read() == 12.0
    channel.close()


def test_an_input_output_error_of_a_real_file_is_no_reply(sysfs):
    folder = sysfs.hwmon(0, "ina226", "1-0040")
    # Nothing is ever mapped at address 0 of a process, so reading there is a true EIO.
    (folder / "curr1_input").symlink_to("/proc/self/mem")
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    channel.open()
    with pytest.raises(NoReplyError, match="cannot be read: Input/output error"):
        channel.read()


def test_a_folder_in_the_file_s_place_is_no_reply(sysfs):
    folder = sysfs.hwmon(0, "ina226", "1-0040")
    (folder / "curr1_input").mkdir()
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    with pytest.raises(NoReplyError, match="cannot be read: Is a directory"):
        channel.read()


def test_a_file_that_is_not_set_up_is_named(sysfs):
    sysfs.hwmon(0, "ina226", "1-0040", in1_input=3)
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    with pytest.raises(PortUnavailableError, match="curr1_input: there is no such file"):
        channel.open()


def test_an_empty_file_is_no_reply(sysfs):
    folder = sysfs.hwmon(0, "ina226", "1-0040", curr1_input=10)
    (folder / "curr1_input").write_text("")
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    with pytest.raises(NoReplyError, match="is empty"):
        channel.read()


@pytest.mark.parametrize(
    "text", ["\n", "-", "x", "12 13", "0x10", "nan", "inf", "1e3", "1_000", "12A", "1" * 64]
)
def test_what_is_no_number_is_garbled(sysfs, text):
    folder = sysfs.hwmon(0, "ina226", "1-0040")
    (folder / "curr1_input").write_text(text)
    channel = Channel(ina(), "A", scale=1.0, root=sysfs.root)
    with pytest.raises(GarbledReplyError, match="expected a number"):
        channel.read()
    channel.close()


@pytest.mark.parametrize("count", [101, -101])
def test_a_converter_at_its_stop_is_refused(sysfs, count):
    folder = sysfs.hwmon(0, "ina226", "1-0040", curr1_input=count)
    channel = Channel(ina(greatest_count=100), "A", scale=0.5, root=sysfs.root)
    assert channel.full_scale == 50.0
    with pytest.raises(GarbledReplyError, match=rf"{count} is beyond ±100"):
        channel.read()
    (folder / "curr1_input").write_text("-100\n")
    assert channel.read() == -50.0
    channel.close()


def test_a_value_out_of_its_range_is_refused(sysfs):
    folder = sysfs.hwmon(0, "ina226", "1-0040", curr1_input=21)
    channel = Channel(ina(), "A", scale=1.0, least=-5.0, greatest=20.0, root=sysfs.root)
    with pytest.raises(GarbledReplyError, match="21 A is no possible value; allowed: -5 to 20 A"):
        channel.read()
    for count in (-5, 20):
        (folder / "curr1_input").write_text(f"{count}\n")
        assert channel.read() == count
    channel.close()


def test_85_degrees_on_one_wire_is_no_temperature(sysfs):
    folder = sysfs.w1("28-0316a2795e1f", temperature=85000)
    source = Source(Bus.W1, (), "28-0316a2795e1f", "temperature", void_counts=(85000,))
    channel = Channel(source, "°C", scale=0.001, root=sysfs.root)
    with pytest.raises(GarbledReplyError, match="85000 is what this chip gives when it has not"):
        channel.read()
    (folder / "temperature").write_text("84937\n")
    assert channel.read() == pytest.approx(84.937)
    channel.close()


def test_a_one_wire_sensor_that_is_missing_is_named_beside_the_others(sysfs):
    sysfs.w1("28-0316a2795e1f", temperature=21000)
    channel = Channel(
        Source(Bus.W1, (), "28-000000000000", "temperature"), "°C", 1.0, root=sysfs.root
    )
    with pytest.raises(
        PortUnavailableError, match=r"no chip at 28-0{12}; there is at 28-0316a2795e"
    ):
        channel.open()


ADC = Source(Bus.IIO, ("ads1115",), "1-0048", "in_voltage0_raw", scale_file="in_voltage0_scale")


def test_the_scale_is_read_when_the_chip_is_found(sysfs):
    folder = sysfs.iio(0, "ads1115", "1-0048", {"in_voltage0_raw": 800, "in_voltage0_scale": 0.125})
    channel = Channel(ADC, "V", scale=0.001, root=sysfs.root)
    channel.open()
    assert channel.read() == pytest.approx(0.1)
    sysfs.unplug(folder)
    with pytest.raises(NoReplyError):
        channel.read()
    sysfs.iio(1, "ads1115", "1-0048", {"in_voltage0_raw": 800, "in_voltage0_scale": "0.007812500"})
    assert channel.read() == pytest.approx(0.00625)
    channel.close()


def test_a_chip_of_another_driver_beside_it_is_not_taken_for_it(sysfs):
    sysfs.iio(0, "ads1115", "1-0048", {"in_voltage0_raw": 8, "in_voltage0_scale": 1})
    trigger = sysfs.root / "devices/platform/i2c-1/1-0048/trigger0"
    trigger.mkdir()
    (trigger / "name").write_text("ads1115-dev0\n")
    (sysfs.root / "bus/iio/devices/a_trigger").symlink_to(trigger)
    channel = Channel(ADC, "V", scale=1.0, root=sysfs.root)
    assert channel.read() == 8.0
    channel.close()


@pytest.mark.parametrize(
    ("content", "expected", "said"),
    [
        (None, PortUnavailableError, "in_voltage0_scale: there is no such file"),
        ("", GarbledReplyError, "expected a number, got b''"),
        ("0", GarbledReplyError, "expected a scale above 0, got 0"),
        ("-0.5", GarbledReplyError, "expected a scale above 0, got -0.5"),
        ("wide", GarbledReplyError, "expected a number"),
    ],
)
def test_a_missing_or_senseless_scale_is_no_value(sysfs, content, expected, said):
    folder = sysfs.iio(0, "ads1115", "1-0048", {"in_voltage0_raw": 8})
    if content is not None:
        (folder / "in_voltage0_scale").write_text(content)
    channel = Channel(ADC, "V", scale=1.0, root=sysfs.root)
    with pytest.raises(expected, match=said):
        channel.read()


TOLD = ina(settings=(Setting("shunt_resistor", 2500.0),))


def test_a_chip_that_comes_back_with_another_setting_is_refused(sysfs):
    folder = sysfs.hwmon(0, "ina226", "1-0040", curr1_input=400, shunt_resistor=2500)
    channel = Channel(TOLD, "A", scale=1.0, root=sysfs.root)
    assert channel.read() == 400.0
    sysfs.unplug(folder)
    with pytest.raises(NoReplyError):
        channel.read()
    folder = sysfs.hwmon(1, "ina226", "1-0040", curr1_input=100, shunt_resistor=10000)
    with pytest.raises(
        WrongDeviceError, match="shunt_resistor: is 10000, but this channel needs 25"
    ):
        channel.read()
    (folder / "shunt_resistor").write_text("2500\n")
    assert channel.read() == 100.0
    channel.close()


def test_a_shunt_as_an_old_kernel_rounds_it_is_taken(sysfs):
    # 5 120 000 / 7500 = 682.67 goes into the calibration register as 683, and reads back as 7496.
    sysfs.hwmon(0, "ina226", "1-0040", curr1_input=1, shunt_resistor=7496)
    source = ina(settings=(Setting("shunt_resistor", 7500.0),))
    channel = Channel(source, "A", scale=1.0, root=sysfs.root)
    assert channel.read() == 1.0
    channel.close()


CELLS = ina(settings=(Setting("device/of_node/shunt-resistor", 5000.0, cells=True),))


def test_a_setting_in_the_device_tree_is_read_as_four_bytes(sysfs):
    folder = sysfs.hwmon(0, "ina226", "1-0040", curr1_input=1)
    channel = Channel(CELLS, "A", scale=1.0, root=sysfs.root)
    with pytest.raises(PortUnavailableError, match="shunt-resistor: there is no such file"):
        channel.open()
    node = folder / "device/of_node"
    node.mkdir()
    (node / "shunt-resistor").write_bytes(b"\x00\x00\x27\x10")
    with pytest.raises(WrongDeviceError, match="is 10000, but this channel needs 5000"):
        channel.open()
    (node / "shunt-resistor").write_bytes(b"5000\n")
    with pytest.raises(GarbledReplyError, match="expected 4 bytes"):
        channel.open()
    (node / "shunt-resistor").write_bytes(b"\x00\x00\x13\x88")
    assert channel.read() == 1.0
    channel.close()
