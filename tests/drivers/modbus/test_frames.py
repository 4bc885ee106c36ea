"""Frames for "output off", against pymodbus's framer and published values."""

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.bit_message import (
    WriteMultipleCoilsRequest,
    WriteMultipleCoilsResponse,
    WriteSingleCoilRequest,
    WriteSingleCoilResponse,
)
from pymodbus.pdu.register_message import (
    WriteMultipleRegistersRequest,
    WriteMultipleRegistersResponse,
    WriteSingleRegisterRequest,
    WriteSingleRegisterResponse,
)

from drivers.modbus.frames import confirmation, crc16, silence_s, write_frame

UNITS = st.integers(1, 247)
WORDS = st.integers(0, 0xFFFF)


def by_pymodbus(request):
    return FramerRTU(DecodePDU(is_server=True)).buildFrame(request)


def test_the_check_is_the_catalogued_one():
    # The check value of CRC-16/MODBUS in public catalogues of CRC algorithms.
    assert crc16(b"123456789") == 0x4B37


@given(UNITS, WORDS, WORDS)
def test_a_register_is_written_as_pymodbus_writes_it(unit, address, value):
    single = WriteSingleRegisterRequest(dev_id=unit, address=address, registers=[value])
    assert write_frame(unit, 6, address, value) == by_pymodbus(single)
    several = WriteMultipleRegistersRequest(dev_id=unit, address=address, registers=[value])
    assert write_frame(unit, 16, address, value) == by_pymodbus(several)


@given(UNITS, WORDS, st.booleans())
def test_a_coil_is_written_as_pymodbus_writes_it(unit, address, value):
    single = WriteSingleCoilRequest(dev_id=unit, address=address, bits=[value])
    assert write_frame(unit, 5, address, int(value)) == by_pymodbus(single)
    several = WriteMultipleCoilsRequest(dev_id=unit, address=address, bits=[value])
    assert write_frame(unit, 15, address, int(value)) == by_pymodbus(several)


@given(UNITS, WORDS, WORDS, st.booleans())
def test_a_unit_confirms_as_pymodbus_confirms(unit, address, value, coil):
    where = {"dev_id": unit, "address": address}
    confirmed = {
        5: WriteSingleCoilResponse(**where, bits=[coil]),
        6: WriteSingleRegisterResponse(**where, registers=[value]),
        15: WriteMultipleCoilsResponse(**where, count=1),
        16: WriteMultipleRegistersResponse(**where, count=1),
    }
    for function, response in confirmed.items():
        word = int(coil) if function in (5, 15) else value
        asked = write_frame(unit, function, address, word)
        assert confirmation(asked) == by_pymodbus(response)


@pytest.mark.parametrize("function", [0, 3, 17])
def test_a_function_that_does_not_write_is_refused(function):
    with pytest.raises(ValueError, match=f"function {function} does not write"):
        write_frame(1, function, 0, 0)


@pytest.mark.parametrize(("unit", "address", "value"), [(256, 0, 0), (1, 65536, 0), (1, 0, -1)])
def test_a_number_that_does_not_fit_is_refused(unit, address, value):
    with pytest.raises(struct.error):
        write_frame(unit, 6, address, value)


@pytest.mark.parametrize(
    ("baud", "milliseconds"), [(1200, 32.08), (9600, 4.01), (19200, 2.005), (115200, 1.75)]
)
def test_the_silent_interval_is_three_and_a_half_characters(baud, milliseconds):
    # Characters of 11 bits; 1.75 ms above 19200 baud ("Modbus over Serial Line", V1.02, 2.5.1.1).
    assert silence_s(baud) * 1000 == pytest.approx(milliseconds, abs=0.005)
