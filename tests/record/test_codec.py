import math
import zlib
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.record.codec import decode, decode_channels, encode
from daemon.record.entries import Sample
from daemon.record.errors import CorruptBlockError, UnencodableSampleError

RESOLUTIONS = (1e-5, 1e-5, 1e-5, 1e-5, 1e-7, 1e-2)  # s, A, V, A, A·h, °C, as the module promises

counts = st.integers(-(10**13), 10**13)
maybe_counts = st.none() | counts
readings = st.floats(-1e4, 1e4)


def on_grid(row: tuple[int | None, ...]) -> Sample:
    """A sample whose values are exactly what can be stored."""
    exponents = (5, 5, 5, 5, 7, 2)
    values = [None if v is None else v / 10**e for v, e in zip(row, exponents, strict=True)]
    return Sample(7, *values)  # type: ignore[arg-type]


@given(
    st.lists(
        st.tuples(counts, maybe_counts, maybe_counts, counts, counts, maybe_counts), max_size=80
    )
)
def test_values_on_the_grid_come_back_exactly(rows: list[tuple[int | None, ...]]) -> None:
    samples = [on_grid(row) for row in rows]

    assert decode(encode(samples), 7) == samples


@given(
    st.lists(
        st.tuples(
            readings, st.none() | readings, readings, readings, readings, st.none() | readings
        )
    )
)
def test_any_reading_comes_back_within_half_the_resolution(
    rows: list[tuple[float | None, ...]],
) -> None:
    samples = [Sample(1, *row) for row in rows]  # type: ignore[arg-type]
    back = decode(encode(samples), 1)

    assert len(back) == len(samples)
    for sample, again in zip(samples, back, strict=True):
        for value, stored, resolution in zip(sample[1:], again[1:], RESOLUTIONS, strict=True):
            if value is None:
                assert stored is None
            else:
                assert stored == pytest.approx(value, rel=1e-15, abs=resolution * 0.500001)


@given(st.lists(st.tuples(readings, readings, readings, readings, readings), min_size=1))
def test_storing_again_changes_nothing(rows: list[tuple[float, ...]]) -> None:
    blob = encode([Sample(1, *row) for row in rows])

    assert encode(decode(blob, 1)) == blob


def test_a_steady_minute_takes_less_than_a_byte_a_sample() -> None:
    samples = [Sample(1, k / 10, 5.0, 2.1, 5.0, k / 7200) for k in range(600)]

    assert len(encode(samples)) < 600


def test_a_thermometer_costs_nothing_where_there_is_none() -> None:
    without = encode([Sample(1, 0.0, 1.0, 2.0, 1.0, 0.0), Sample(1, 0.1, 1.0, 2.0, 1.0, 0.0)])

    assert set(decode_channels(without)) == {"t", "i", "v", "s", "q"}
    assert [s.temperature_c for s in decode(without, 1)] == [None, None]


def test_a_temperature_that_came_late_keeps_its_place() -> None:
    samples = [Sample(1, k / 10, 1.0, 2.0, 1.0, 0.0, 23.47 if k == 2 else None) for k in range(4)]

    assert decode(encode(samples), 1) == samples


def test_missing_and_present_readings_keep_their_places() -> None:
    samples = [
        Sample(1, 0.0, None, 1.5, 2.0, 0.0),
        Sample(1, 0.1, 2.0, None, 2.0, 0.0001),
        Sample(1, 0.2, None, None, 2.0, 0.0001),
    ]

    assert decode(encode(samples), 1) == samples


@pytest.mark.parametrize("field", ["elapsed_s", "current_a", "charge_ah"])
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 9.9e37])
def test_a_value_that_cannot_be_stored_is_refused_by_name(field: str, value: float) -> None:
    sample = Sample(1, 0.0, 1.0, 1.0, 1.0, 0.0)._replace(**{field: value})

    with pytest.raises(UnencodableSampleError, match=field):
        encode([sample])


def test_the_widest_swings_come_back() -> None:
    far = 4e13
    samples = [Sample(1, 0.0, c, 1.0, 1.0, 0.0) for c in (far, -far, far, -far)]

    assert [s.current_a for s in decode(encode(samples), 1)] == [far, -far, far, -far]


BLOB = encode([Sample(1, k / 10, 5 + k % 7 / 1000, None, 5.0, k / 7200) for k in range(200)])


@given(st.integers(0, len(BLOB) - 1), st.integers(1, 255))
def test_any_damaged_byte_is_noticed(place: int, flip: int) -> None:
    damaged = bytearray(BLOB)
    damaged[place] ^= flip

    with pytest.raises(CorruptBlockError):
        decode(bytes(damaged), 1)


@given(st.integers(0, len(BLOB) - 1))
def test_a_cut_blob_is_noticed(length: int) -> None:
    with pytest.raises(CorruptBlockError):
        decode(BLOB[:length], 1)


@given(st.binary(max_size=60))
def test_nonsense_with_a_right_check_sum_is_no_other_error(body: bytes) -> None:
    with suppress(CorruptBlockError):
        decode(checked(b"\x01" + body), 1)


def checked(body: bytes) -> bytes:
    return body + zlib.crc32(body).to_bytes(4, "little")


def channel(name: bytes, exponent: int, values: bytes) -> bytes:
    """A channel by the documented layout: one byte a sample, not differenced, not deflated."""
    return (
        bytes([len(name)]) + name
        + bytes([exponent, 0, 1])  # exponent, flags, width
        + bytes([0, 1])  # least 0, step 1
        + bytes([len(values)]) + values
    )  # fmt: skip


def by_hand(*more: bytes, version: int = 1) -> bytes:
    channels = [
        channel(b"t", 1, bytes([0, 1, 2])),
        channel(b"i", 2, bytes([100, 101, 99])),
        channel(b"v", 1, bytes([21, 22, 23])),
        channel(b"s", 0, bytes([1, 1, 1])),
        channel(b"q", 3, bytes([0, 5, 10])),
        *more,
    ]
    return checked(bytes([version, 3, len(channels)]) + b"".join(channels))


def test_the_layout_is_as_documented() -> None:
    assert decode(by_hand(), 4) == [
        Sample(4, 0.0, 1.00, 2.1, 1.0, 0.000),
        Sample(4, 0.1, 1.01, 2.2, 1.0, 0.005),
        Sample(4, 0.2, 0.99, 2.3, 1.0, 0.010),
    ]


def test_a_channel_of_a_later_program_is_passed_over_and_still_there() -> None:
    blob = by_hand(channel(b"temperature", 1, bytes([230, 231, 232])))

    assert decode(blob, 4) == decode(by_hand(), 4)
    assert decode_channels(blob)["temperature"] == [23.0, 23.1, 23.2]


EQUAL = b"\x01t\x00\x00\x00\x00\x01\x00"
"""A channel whose values are all 0: no byte for each."""


def test_a_channel_of_equal_values_takes_no_byte_for_each() -> None:
    assert decode_channels(checked(b"\x01\xe0\xd4\x03\x01" + EQUAL)) == {"t": [0.0] * 60_000}


@pytest.mark.parametrize(
    ("blob", "said"),
    [
        (by_hand(version=2), "layout 2, known is 1"),
        (checked(bytes([1, 1, 1]) + channel(b"t", 1, b"\x00")), r"no channel i, v, s, q$"),
        (checked(bytes([1, 2, 1]) + channel(b"t", 1, b"\x00")), "channel t has 1 bytes"),
        (checked(b"\x01\xff\xff\xff\xff\x0f\x00"), "claims 4294967295 × 0 values"),
        (checked(b"\x01\x80\xc2\xd7\x2f\x01" + EQUAL), "claims 100000000 × 1 values"),
        (checked(b"\x01\xa0\x8d\x06\xc8" + 200 * EQUAL), "claims 100000 × 200 values"),
        (checked(b"\x01\x01\x01\x01t\x00\x00\x00" + 10 * b"\xff" + b"\x01\x01\x00"), "70 bits"),
        (checked(b"\x01\x01\x01\x01t\x00\x00\x05\x00\x01\x05abcde"), "numbers of 5 bytes"),
        (b"", "check sum"),
    ],
)
def test_a_blob_that_is_not_one_says_why(blob: bytes, said: str) -> None:
    with pytest.raises(CorruptBlockError, match=said):
        decode(blob, 1)


def test_blobs_of_the_first_layout_stay_readable() -> None:
    """Written once, by the first program; it must never stop reading this."""
    blob = bytes.fromhex(GOLDEN)

    assert decode(blob, 1) == [
        Sample(1, 0.00012, 4.999, 2.101, 5.0, 0.0),
        Sample(1, 0.09998, 5.001, None, 5.0, 0.0001387),
        Sample(1, 0.20001, 5.0, 2.099, 5.0, 0.0002776),
        Sample(1, 0.30003, None, 2.1, 4.5, 0.0004165),
    ]


GOLDEN = (
    "010405017405010118849c0101030011100169050600f8823d9003d7040101070176050600e8d219"
    "8f03d80401010d0173050001a0f736d086030401010100017107010100d61502030001015af90583"
)
