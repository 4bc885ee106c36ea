"""The supply as the rest of tankhand sees it, against pymodbus's server.

The registers are those of the shipped description, of an imaginary supply; none is a real one's.
"""

import itertools
import math

import pytest
from pymodbus.client.mixin import ModbusClientMixin

from drivers.contracts import Mode, Reading
from drivers.errors import (
    CommandRefusedError,
    DriverError,
    GarbledReplyError,
    NoReplyError,
    PortUnavailableError,
    SetPointRefusedError,
    WrongDeviceError,
)
from drivers.modbus.supply import ModbusSupply

SHORT = {"reply_timeout_ms": 500}
"""For what has to fail: long enough for a busy machine to answer what it should."""


def silence(_):
    """A fault: nothing is sent."""
    return b""


# Opening and closing.


def test_opening_takes_control_and_switches_off_and_sets_nothing_else(opened, device):
    device.inputs[0x12] = 1
    supply = opened()
    assert device.writes == [(6, 0x23, [1]), (6, 0x22, [0])]
    assert supply.identity == "Example Modbus supply, unit 1"
    assert device.inputs[0x12] == 0


def test_several_registers_may_have_to_be_written_in_their_order(opened, described, device):
    keys = [(5, 2, 1), (16, 0x21, 7), (6, 0x23, 1)]
    items = [dict(zip(("function", "address", "value"), key, strict=True)) for key in keys]
    opened(described(at_open=items))
    assert device.writes[:3] == [(5, 2, [True]), (16, 0x21, [7]), (6, 0x23, [1])]


def test_another_model_is_refused_before_anything_is_written(opened, device):
    device.holding[0] = 3010
    with pytest.raises(WrongDeviceError, match=r"register 0 says 3010; expected Example .* 3005"):
        opened()
    assert device.writes == []


def test_a_supply_without_the_identity_register_is_another_one(opened, described, device):
    device.refusals[3, 0] = 2
    with pytest.raises(WrongDeviceError, match="illegal data address; expected Example"):
        opened(described(line=SHORT))
    assert device.writes == []


def test_identity_may_be_left_out(opened, described, device):
    device.holding[0] = 3010
    opened(described(identity=None))
    assert (3, 0, 1) not in device.reads


def test_a_unit_that_is_not_there_is_no_supply(opened, described, device):
    device.unit = 2
    # pymodbus answers for units that it does not have, with exception 4; a real bus is silent.
    with pytest.raises(GarbledReplyError, match=r"unit 1: .*failure"):
        opened(described(line=SHORT))


def test_a_silent_line_is_no_supply_and_is_given_back(opened, described, device, link):
    device.faults.append(silence)
    with pytest.raises(NoReplyError, match="nothing came"):
        opened(described(line=SHORT))
    supply = ModbusSupply(link.port, described())
    supply.open()
    supply.close()


def test_a_refusal_of_remote_control_is_told(opened, described, device):
    device.refusals[6, 0x23] = 3
    with pytest.raises(CommandRefusedError, match=r"write 1 to 35 .*illegal data value"):
        opened(described(line=SHORT))


def test_a_missing_port_cannot_be_opened(described):
    supply = ModbusSupply("/dev/ttyUSB-none", described())
    with pytest.raises(PortUnavailableError, match="there is no such port"):
        supply.open()
    supply.close()


def test_closing_leaves_the_output_and_gives_the_keys_back(opened, described, device):
    supply = opened(described(at_close=[{"function": 6, "address": 0x23, "value": 0}]))
    supply.output(True)
    device.writes.clear()
    supply.close()
    supply.close()
    assert device.writes == [(6, 0x23, [0])]
    assert device.inputs[0x12] & 1


def test_closing_does_not_raise_when_the_plug_is_out(opened, described, link):
    supply = opened(described(at_close=[{"function": 6, "address": 0x23, "value": 0}]))
    link.pull_out()
    supply.close()


# Reading.


def test_one_question_asks_for_current_and_voltage_side_by_side(opened, device):
    device.inputs |= {0x10: 2500, 0x11: 310}
    ticks = itertools.count(100.0)
    supply = opened(now=lambda: next(ticks))
    device.reads.clear()
    supply.read()
    supply.read()
    # The second reading: one question, between the third and the fourth look at the clock.
    assert device.reads[-1] == (4, 0x10, 2)
    assert supply.read() == Reading(104.5, 2.5, 3.1, None, None)


def test_the_voltage_may_stand_before_the_current(opened, described, device):
    device.inputs |= {0x10: 310, 0x11: 2500}
    supply = opened(described(measured_current={"address": 0x11}, measured_voltage={"address": 16}))
    reading = supply.read()
    assert (reading.current_a, reading.voltage_v) == (2.5, 3.1)
    assert (4, 0x10, 2) in device.reads


@pytest.mark.parametrize(
    ("current", "voltage"),
    [({"address": 0x20, "function": 3}, {}), ({}, {"address": 0x12}), ({}, {"address": 0x10})],
    ids=["another function", "a gap between", "the same register"],
)
def test_registers_that_are_not_side_by_side_are_asked_for_one_by_one(
    opened, described, device, current, voltage
):
    device.inputs |= {0x10: 2500, 0x11: 310, 0x12: 310}
    device.holding[0x20] = 2500
    description = described(measured_current=current, measured_voltage=voltage)
    ticks = itertools.count(0.0)
    supply = opened(description, now=lambda: next(ticks))
    reading = supply.read()
    assert reading.monotonic_s == 0.5
    assert reading.current_a == 2.5
    assert reading.voltage_v == device.inputs[description.measured_voltage.address] / 100
    c, v = description.measured_current, description.measured_voltage
    assert {(c.function, c.address, 1), (v.function, v.address, 1)} <= set(device.reads)


KINDS = [
    ("u16", None, "UINT16", 40_000),
    ("s16", None, "INT16", -1250),
    ("u32", "high first", "UINT32", 3_000_000_000),
    ("u32", "low first", "UINT32", 70_001),
    ("s32", "high first", "INT32", -70_001),
    ("s32", "low first", "INT32", -5),
    ("float32", "high first", "FLOAT32", 0.1),
    ("float32", "low first", "FLOAT32", -1234.5678),
]


@pytest.mark.parametrize(("kind", "order", "theirs", "number"), KINDS)
def test_every_type_is_read_as_pymodbus_writes_it(
    opened, described, device, kind, order, theirs, number
):
    little = "little" if order == "low first" else "big"
    datatype = ModbusClientMixin.DATATYPE[theirs]
    words = ModbusClientMixin.convert_to_registers(number, datatype, word_order=little)
    voltage = 0x10 + len(words)
    device.inputs = {0x10 + i: word for i, word in enumerate(words)} | {voltage: 1200, 0x16: 0}
    status = {"address": 0x16}
    description = described(
        measured_current={"type": kind, "word_order": order, "scale_a": -0.5},
        measured_voltage={"address": voltage},
        read_back_output=status,
        mode_by_status=status,
    )
    device.on_write = device.ignore
    reading = opened(description).read()
    exact = ModbusClientMixin.convert_from_registers(words, datatype, word_order=little)
    assert reading.current_a == exact * -0.5
    assert reading.voltage_v == 12.0
    assert (4, 0x10, len(words) + 1) in device.reads


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_float_that_is_no_number_is_no_reading(opened, described, device, value):
    words = ModbusClientMixin.convert_to_registers(value, ModbusClientMixin.DATATYPE.FLOAT32)
    device.holding |= {0x30: words[0], 0x31: words[1]}
    number = {"function": 3, "address": 0x30, "type": "float32", "word_order": "high first"}
    supply = opened(described(measured_current=number))
    with pytest.raises(GarbledReplyError, match="register 48 holds no number"):
        supply.read()


def test_the_output_is_asked_for_only_as_often_as_described(opened, described, device):
    supply = opened(described(reading={"output_every_reads": 3}))
    supply.output(True)
    states = [supply.read().output_on for _ in range(7)]
    assert states == [True, None, None, True, None, None, True]


def test_the_output_is_never_asked_for_if_described_so(opened, described):
    supply = opened(described(reading={"output_every_reads": 0}, mode_by_status=None))
    assert [supply.read().output_on for _ in range(3)] == [None] * 3


def test_a_state_that_is_neither_on_nor_off_is_unknown(opened, described, device):
    supply = opened(described(read_back_output={"mask": 3}))
    device.inputs[0x12] = 2
    assert supply.read().output_on is None


@pytest.mark.parametrize(
    ("bits", "mode"),
    [
        (0b011, Mode.CONSTANT_CURRENT),
        (0b101, Mode.CONSTANT_VOLTAGE),
        (0b001, None),
        (0b111, None),
    ],
)
def test_the_mode_is_told_by_bits(opened, device, bits, mode):
    supply = opened()
    device.inputs[0x12] = bits
    assert supply.read().mode is mode


def test_the_mode_is_asked_for_only_as_often_as_described(opened, described, device):
    device.on_write = device.ignore
    supply = opened(described(mode_by_status={"every_reads": 2}))
    device.inputs[0x12] = 0b011
    modes = [supply.read().mode for _ in range(4)]
    assert modes == [Mode.CONSTANT_CURRENT, None, Mode.CONSTANT_CURRENT, None]


@pytest.mark.parametrize(
    ("milliamperes", "hundredths_volt", "mode"),
    [
        (2490, 310, Mode.CONSTANT_CURRENT),
        (1000, 1198, Mode.CONSTANT_VOLTAGE),
        (1000, 310, None),
        (2490, 1198, None),
    ],
)
def test_the_mode_is_told_by_nearness(
    opened, described, device, milliamperes, hundredths_volt, mode
):
    near = {"current_a": 0.02, "voltage_v": 0.05}
    supply = opened(described(mode_by_status=None, mode_by_nearness=near))
    supply.set_points(2.5, 12.0)
    device.inputs |= {0x10: milliamperes, 0x11: hundredths_volt}
    assert supply.read().mode is mode


def test_a_reply_that_is_lost_is_told_and_the_next_reading_is_right(opened, described, device):
    device.inputs[0x10] = 2500
    supply = opened(described(line=SHORT))
    device.faults.append(silence)
    with pytest.raises(NoReplyError, match="read 16 to 17 with function 4: nothing came"):
        supply.read()
    assert supply.read().current_a == 2.5


def test_a_plug_that_is_pulled_out_and_put_back(opened, link):
    supply = opened()
    link.pull_out()
    with pytest.raises(PortUnavailableError, match="the port was lost"):
        supply.read()


# Set-points.


def written(device, *addresses):
    return [(a, values[0]) for _, a, values in device.writes if a in addresses]


def test_set_points_are_written_in_counts_and_read_back(opened, device):
    supply = opened()
    supply.set_points(2.5, 12.0)
    assert (device.holding[0x20], device.holding[0x21]) == (2500, 1200)
    assert {(3, 0x20, 1), (3, 0x21, 1)} <= set(device.reads)


def test_set_points_are_rounded_to_the_nearest_count(opened, device):
    opened().set_points(1.0015, 3.3299999)
    assert device.holding[0x20] in (1001, 1002)
    assert device.holding[0x21] == 333


def test_what_is_held_is_not_sent_again(opened, device):
    supply = opened()
    supply.set_points(2.5, 12.0)
    device.writes.clear()
    supply.set_points(2.5, 12.0)
    supply.set_points(2.5001, 12.001)
    assert device.writes == []
    supply.set_points(2.5, 11.0)
    assert written(device, 0x20, 0x21) == [(0x21, 1100)]


def test_what_is_lowered_is_lowered_first(opened, device):
    device.holding |= {0x20: 1000, 0x21: 2000}
    supply = opened()
    device.writes.clear()
    supply.set_points(3.0, 5.0)
    supply.set_points(1.0, 10.0)
    changes = written(device, 0x20, 0x21)
    assert changes == [(0x21, 500), (0x20, 3000), (0x20, 1000), (0x21, 1000)]


@pytest.mark.parametrize(
    ("current_a", "voltage_v", "words"),
    [(5.1, 1.0, "5.1 A"), (-0.1, 1.0, "-0.1 A"), (1.0, 30.1, "30.1 V"), (math.nan, 1.0, "nan A")],
)
def test_nothing_is_sent_that_is_beyond_the_rating(opened, device, current_a, voltage_v, words):
    supply = opened()
    device.writes.clear()
    with pytest.raises(SetPointRefusedError, match=f"cannot be set to {words}"):
        supply.set_points(current_a, voltage_v)
    assert device.writes == []


@pytest.mark.parametrize("function", [6, 16])
def test_a_set_point_that_the_supply_clips_is_refused(opened, described, device, function):
    """With function 6 pymodbus confirms the clipped value, with 16 only that there was one."""
    device.clips[0x20] = 2000
    supply = opened(described(set_current={"function": function}))
    with pytest.raises(SetPointRefusedError, match=r"set to 2\.5 A, but the supply holds 2 A"):
        supply.set_points(2.5, 12.0)
    # What is held is not known any more, so that everything is sent again.
    device.clips.clear()
    device.writes.clear()
    supply.set_points(2.5, 12.0)
    assert dict(written(device, 0x20, 0x21)) == {0x20: 2500, 0x21: 1200}


def test_a_difference_of_one_step_is_the_supplys_rounding(opened, device):
    supply = opened()
    device.clips[0x20] = 2499
    supply.set_points(2.5, 12.0)
    device.clips[0x20] = 2998
    with pytest.raises(SetPointRefusedError, match=r"its step is 0\.001 A"):
        supply.set_points(3.0, 12.0)


def test_a_set_point_that_is_answered_with_an_exception_is_refused(opened, described, device):
    supply = opened(described(line=SHORT))
    device.refusals[6, 0x21] = 3
    with pytest.raises(CommandRefusedError, match=r"write 1200 to 33 .*illegal data value"):
        supply.set_points(2.5, 12.0)


def test_a_confirmation_that_is_garbled_leaves_it_to_reading_back(opened, described, device):
    supply = opened(described(line=SHORT))
    # Both limits are read before the first is written.
    device.faults.extend([lambda reply: reply] * 2 + [lambda reply: reply[:-1] + b"x"])
    supply.set_points(2.5, 12.0)
    assert (device.holding[0x20], device.holding[0x21]) == (2500, 1200)
    device.writes.clear()
    supply.set_points(2.5, 12.0)
    assert device.writes == []


def test_after_a_failure_everything_is_sent_again(opened, described, device):
    supply = opened(described(line=SHORT))
    supply.set_points(2.5, 12.0)
    device.faults.append(silence)
    with pytest.raises(NoReplyError):
        supply.read()
    device.writes.clear()
    supply.set_points(2.5, 12.0)
    assert dict(written(device, 0x20, 0x21)) == {0x20: 2500, 0x21: 1200}


@pytest.mark.parametrize(("kind", "order", "theirs", "number"), KINDS)
def test_set_points_of_every_type_are_as_pymodbus_writes_them(
    opened, described, device, kind, order, theirs, number
):
    if kind == "float32":
        number = 2.7  # no float of 32 bits: it is rounded to the nearest
    keys = {"type": kind, "word_order": order, "address": 0x40, "scale_a": 1.0}
    if number < 0:
        # A supply that counts downwards.
        keys["scale_a"], number = -1.0, -number
    sign = keys["scale_a"]
    device.holding |= {0x40: 0, 0x41: 0}
    greatest = {"current_a": 1e5 if kind in ("u32", "s32") else 3e4, "current_step_a": 1.0}
    description = described(
        set_current={"function": 16, **keys}, read_back_current=keys, rating=greatest
    )
    supply = opened(description)
    value = min(number, greatest["current_a"])
    supply.set_points(value, 1.0)
    little = "little" if order == "low first" else "big"
    datatype = ModbusClientMixin.DATATYPE[theirs]
    raw = sign * value if kind == "float32" else round(sign * value)
    words = ModbusClientMixin.convert_to_registers(raw, datatype, word_order=little)
    assert (16, 0x40, words) in device.writes


# The output.


def test_the_output_is_switched_and_its_state_read_back(opened, device):
    supply = opened()
    device.writes.clear()
    supply.output(True)
    assert supply.read().output_on is True
    supply.output(False)
    assert device.writes == [(6, 0x22, [1]), (6, 0x22, [0])]
    assert device.reads[-1] == (4, 0x12, 1)


@pytest.mark.parametrize("function", [5, 15])
@pytest.mark.parametrize("state_function", [1, 2])
def test_the_output_may_be_a_coil(opened, described, device, function, state_function):
    if state_function == 2:
        # pymodbus keeps coils and inputs apart; this input always says on.
        device.coils[4] = True
    description = described(
        output={"function": function, "address": 4},
        read_back_output={"function": state_function, "address": 4},
    )
    if state_function == 2:
        with pytest.raises(CommandRefusedError, match="switched off, but reads back as 1"):
            opened(description)
        return
    supply = opened(description)
    supply.output(True)
    assert supply.read().output_on is True
    supply.output(False)
    assert device.writes[1:] == [(function, 4, [on]) for on in (False, True, False)]


def test_the_output_may_need_function_16_and_values_of_its_own(opened, described, device):
    described_so = described(
        output={"function": 16, "on": 0x00FF, "off": 0x0100},
        read_back_output={"function": 3, "address": 0x22, "mask": 0xFFFF, "on": 255, "off": 256},
    )
    device.on_write = device.ignore
    supply = opened(described_so)
    supply.output(True)
    assert device.holding[0x22] == 0x00FF
    supply.output(False)
    assert device.writes[-1] == (16, 0x22, [0x0100])


@pytest.mark.parametrize("on", [True, False])
def test_an_output_that_does_not_switch_is_told(opened, device, on):
    supply = opened()
    supply.output(not on)
    device.on_write = device.ignore
    with pytest.raises(CommandRefusedError, match=f"switched {'on' if on else 'off'}, but reads"):
        supply.output(on)


@pytest.mark.parametrize("on", [True, False])
def test_an_output_that_is_neither_on_nor_off_did_not_switch(opened, described, device, on):
    supply = opened(described(read_back_output={"mask": 3}))
    device.on_write = device.ignore
    device.inputs[0x12] = 2
    with pytest.raises(CommandRefusedError, match="but reads back as 2"):
        supply.output(on)


def test_on_is_not_said_again_when_its_confirmation_is_lost(opened, described, device):
    supply = opened(described(line=SHORT))
    device.writes.clear()
    device.faults.append(silence)
    with pytest.raises(NoReplyError, match="write 1 to 34"):
        supply.output(True)
    assert device.writes == [(6, 0x22, [1])]


@pytest.mark.parametrize("on", [True, False])
def test_a_garbled_confirmation_of_the_output_leaves_it_to_reading_back(
    opened, described, device, on
):
    supply = opened(described(line=SHORT))
    supply.output(not on)
    device.faults.append(lambda reply: reply[:-1] + b"x")
    supply.output(on)
    assert device.inputs[0x12] == on


def test_off_is_said_again_when_its_confirmation_is_lost(opened, described, device):
    supply = opened(described(line=SHORT))
    supply.output(True)
    device.writes.clear()
    device.faults.append(silence)
    supply.output(False)
    assert device.writes == [(6, 0x22, [0])] * 2
    assert device.inputs[0x12] == 0


def test_off_is_said_at_once_on_a_line_out_of_step(opened, described, device):
    supply = opened(described(line=SHORT))
    supply.output(True)
    device.faults.append(silence)
    with pytest.raises(NoReplyError):
        supply.read()
    device.frames.clear()
    supply.output(False)
    # Unit 1, function 6, register 0x22, value 0: the first frame after the failure.
    assert device.frames[0][:6] == bytes.fromhex("010600220000")


def test_on_is_said_only_in_step(opened, described, device):
    supply = opened(described(line=SHORT))
    device.faults.append(silence)
    with pytest.raises(NoReplyError):
        supply.read()
    device.frames.clear()
    supply.output(True)
    assert [heard[1] for heard in device.frames[:2]] == [3, 6]


def test_an_exception_to_on_is_a_refusal(opened, described, device):
    supply = opened(described(line=SHORT))
    device.refusals[6, 0x22] = 4
    with pytest.raises(CommandRefusedError, match=r"write 1 to 34 .*failure"):
        supply.output(True)


def test_an_output_that_is_off_is_off_whatever_the_supply_complains_about(
    opened, described, device
):
    supply = opened(described(line=SHORT))
    device.refusals[6, 0x22] = 4
    supply.output(False)
    device.inputs[0x12] = 1
    with pytest.raises(CommandRefusedError, match=r"reads back as 1; .*failure"):
        supply.output(False)


@pytest.mark.parametrize("act", ["read", "set_points", "output"])
def test_a_closed_supply_raises_what_a_driver_may_raise(described, act):
    supply = ModbusSupply("/dev/ttyUSB-none", described())
    arguments = {"read": (), "set_points": (1.0, 1.0), "output": (False,)}[act]
    with pytest.raises(DriverError, match="is not open"):
        getattr(supply, act)(*arguments)
