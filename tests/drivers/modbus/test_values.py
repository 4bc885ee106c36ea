"""Numbers in registers, bit for bit as pymodbus and published examples have them."""

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.client.mixin import ModbusClientMixin

from drivers.modbus.values import decode, encode, register_count

PYMODBUS = ModbusClientMixin.DATATYPE
KINDS = {
    "u16": (PYMODBUS.UINT16, st.integers(0, 2**16 - 1)),
    "s16": (PYMODBUS.INT16, st.integers(-(2**15), 2**15 - 1)),
    "u32": (PYMODBUS.UINT32, st.integers(0, 2**32 - 1)),
    "s32": (PYMODBUS.INT32, st.integers(-(2**31), 2**31 - 1)),
    "float32": (PYMODBUS.FLOAT32, st.floats(width=32, allow_nan=False, allow_infinity=False)),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("low_first", "order"), [(False, "big"), (True, "little")])
@given(data=st.data())
def test_both_ways_as_pymodbus_does(kind, low_first, order, data):
    theirs, numbers = KINDS[kind]
    number = data.draw(numbers)
    words = ModbusClientMixin.convert_to_registers(number, theirs, word_order=order)
    assert encode(number, kind, low_first=low_first) == words
    assert decode(words, kind, low_first=low_first) == number
    assert len(words) == register_count(kind)


@given(st.integers(0, 2**32 - 1))
def test_floats_keep_every_bit(bits):
    read = decode([bits >> 16, bits & 0xFFFF], "float32", low_first=False)
    (expected,) = struct.unpack("=f", struct.pack("=I", bits))
    assert read == expected or (math.isnan(read) and math.isnan(expected))


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (0.15625, [0x3E20, 0x0000]),  # the example in many texts on IEEE 754 single precision
        (-118.625, [0xC2ED, 0x4000]),  # another
        (1.0, [0x3F80, 0x0000]),
        (-0.0, [0x8000, 0x0000]),
    ],
)
def test_floats_as_in_texts_on_ieee_754(number, words):
    assert encode(number, "float32", low_first=False) == words
    assert encode(number, "float32", low_first=True) == words[::-1]
    assert math.copysign(1, decode(words, "float32", low_first=False)) == math.copysign(1, number)
    assert decode(words, "float32", low_first=False) == number


@pytest.mark.parametrize(("number", "kept"), [(1999.6, 2000), (0.4, 0), (-0.6, -1)])
def test_integers_are_rounded_to_the_nearest(number, kept):
    assert decode(encode(number, "s16", low_first=False), "s16", low_first=False) == kept


@pytest.mark.parametrize(
    ("number", "kind"),
    [
        (65536, "u16"),
        (-1, "u16"),
        (32768, "s16"),
        (2**32, "u32"),
        (-(2**31) - 1, "s32"),
        (1e39, "float32"),
        (math.inf, "u16"),
        (math.nan, "u32"),
    ],
)
def test_what_does_not_fit_is_refused(number, kind):
    with pytest.raises(ValueError, match=f"does not fit into {kind}"):
        encode(number, kind, low_first=False)
