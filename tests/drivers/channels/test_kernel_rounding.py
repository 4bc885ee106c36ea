"""What the kernel's drivers make of a converter's count, and what we get back of it.

The models are the arithmetic of Linux's drivers/hwmon/ina2xx.c (raspberrypi/linux 05beedad) and
ina238.c (two ages of it), in whole numbers as there, and know nothing of our code.
"""

import math

import pytest

from drivers.channels.description import ShuntTable, adapted, load_channel
from drivers.channels.devices import ChannelMeter
from drivers.errors import GarbledReplyError


def div_round_closest(dividend: int, divisor: int) -> int:
    """C's DIV_ROUND_CLOSEST: halves go away from 0."""
    sign = -1 if dividend < 0 else 1
    return sign * ((abs(dividend) + divisor // 2) // divisor)


def ina2xx_ma(count: int, shunt_uohm: int, shunt_div: int) -> int:
    lsb_ua = div_round_closest(div_round_closest(1_000_000_000, shunt_div), shunt_uohm)
    return div_round_closest(count * lsb_ua, 1000)


def ina226_ma(count: int, shunt_uohm: int) -> int:
    return ina2xx_ma(count, shunt_uohm, 400)


def ina219_ma(count: int, shunt_uohm: int) -> int:
    return ina2xx_ma(count, shunt_uohm, 100)


def ina238_ma(count: int, shunt_uohm: int) -> int:
    """With the calibration 4096: the current register is the shunt voltage's, 5 µV a count."""
    lsb_ua = div_round_closest(250 * 5000 * 4, shunt_uohm)
    return div_round_closest(count * lsb_ua, 1000)


def old_ina238_ma(count: int, shunt_uohm: int) -> int:
    """With the calibration 16384: a count of the current register is 20 µV; C cuts towards 0."""
    register = math.trunc(count / 4)
    return math.trunc(register * 20000 * 4 / (shunt_uohm * 4))


def ina228_ma(count: int, shunt_uohm: int) -> int:
    """20 bits, 0.3125 µV a count; a 16th of the current of an INA238's count, cut to whole µA."""
    lsb_ua = div_round_closest(250 * 5000 * 4, shunt_uohm) // 16
    return div_round_closest(count * lsb_ua, 1000)


def relative_error(reported_ma: int, count: int, count_uv: float, shunt_uohm: int) -> float:
    true_ma = count * count_uv / shunt_uohm * 1000
    return reported_ma / true_ma - 1


@pytest.mark.parametrize(
    ("shunt_uohm", "error"),
    [(75_000, -0.010), (7_500, -0.001), (750, -0.0001), (100, 0.0), (2_500, 0.0), (10_000, 0.0)],
)
def test_what_an_ina226_loses_when_told_of_the_true_shunt(shunt_uohm, error):
    # 75.00 mV: what a shunt of 75 mV gives at its rated current.
    found = relative_error(ina226_ma(30_000, shunt_uohm), 30_000, 2.5, shunt_uohm)
    assert found == pytest.approx(error, abs=5e-5)


def test_told_of_nothing_an_ina226_keeps_a_quarter_of_its_counts():
    assert len({ina226_ma(count, 10_000) for count in range(4000)}) == pytest.approx(1000, abs=1)
    assert len({ina226_ma(count, 2_500) for count in range(4000)}) == 4000


def test_an_ina228_told_of_5000_is_low_and_told_of_100_is_right():
    count = 192_000  # 60 mV
    assert relative_error(ina228_ma(count, 5_000), count, 0.3125, 5_000) == pytest.approx(-0.008)
    assert relative_error(ina228_ma(count, 100), count, 0.3125, 100) == 0.0


CHIPS = {
    "ina226": (ina226_ma, 2_500, 2.5),
    "ina219": (ina219_ma, 10_000, 10.0),
    "ina238": (ina238_ma, 5_000, 5.0),
    "ina228": (ina228_ma, 100, 0.3125),
}


@pytest.fixture
def meter_at(sysfs):
    """A meter of a shipped description, with a shunt of 2.003 mΩ, on a chip that can be written."""
    meters = []

    def make(name: str, told_uohm: int):
        folder = sysfs.hwmon(0, name, "1-0040", curr1_input=0, in1_input=0, power1_input=0)
        if name in ("ina226", "ina219"):
            (folder / "shunt_resistor").write_text(f"{told_uohm}\n")
        else:
            (folder / "device/of_node").mkdir()
            (folder / "device/of_node/shunt-resistor").write_bytes(told_uohm.to_bytes(4, "big"))
        shunt = ShuntTable(resistance_mohm=2.003)
        meter = ChannelMeter(adapted(load_channel(name), shunt=shunt), root=sysfs.root)
        meter.open()
        meters.append(meter)
        return meter, folder / "curr1_input"

    yield make
    for meter in meters:
        meter.close()


@pytest.mark.parametrize("name", CHIPS)
def test_every_count_comes_back_whole(meter_at, name):
    kernel_ma, told_uohm, count_uv = CHIPS[name]
    meter, file = meter_at(name, told_uohm)
    for count in (0, 1, 2, 3, 7, 999, 12_345, 24_001, 31_000, -1, -2, -12_345, -31_000):
        file.write_text(f"{kernel_ma(count, told_uohm)}\n")
        true_a = count * count_uv * 1e-6 / 2.003e-3
        # Half a count, at most: that of the INA228 is a third of the others' step or less.
        assert meter.read().current_a == pytest.approx(true_a, abs=0.17 * count_uv * 1e-6 / 2e-3)
        if name != "ina228":
            assert meter.read().current_a == pytest.approx(true_a, rel=1e-12)


@pytest.mark.parametrize("count", [3, 12_345, -12_345])
def test_an_older_kernel_s_ina238_gives_steps_of_four_counts_of_the_same_size(meter_at, count):
    meter, file = meter_at("ina238", 5_000)
    file.write_text(f"{old_ina238_ma(count, 5_000)}\n")
    step_a = 4 * 5e-6 / 2.003e-3
    assert abs(meter.read().current_a - count * 5e-6 / 2.003e-3) < step_a


@pytest.mark.parametrize(
    ("name", "stop_uv", "kernel_ma", "count"),
    [
        ("ina226", 81_917.5, ina226_ma, 32_767),
        ("ina219", 320_000, ina219_ma, 32_000),
        ("ina238", 163_835, ina238_ma, 32_767),
        ("ina238", 163_835, old_ina238_ma, 32_767),
        ("ina228", 163_839.7, ina228_ma, 524_287),
    ],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_chip_at_its_stop_is_refused_and_close_to_it_is_read(
    meter_at, name, stop_uv, kernel_ma, count, sign
):
    told_uohm = CHIPS[name][1]
    meter, file = meter_at(name, told_uohm)
    file.write_text(f"{kernel_ma(sign * count, told_uohm)}\n")
    with pytest.raises(GarbledReplyError, match="converter is at its stop"):
        meter.read()
    near = int(count * 0.999)
    file.write_text(f"{kernel_ma(sign * near, told_uohm)}\n")
    near_a = sign * 0.999 * stop_uv * 1e-6 / 2.003e-3
    assert meter.read().current_a == pytest.approx(near_a, rel=2e-4)
