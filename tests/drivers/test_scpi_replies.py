"""What replies mean: numbers with and without units, switches, registers, error queues."""

import math
import re
from contextlib import suppress

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drivers.errors import GarbledReplyError
from drivers.scpi.replies import (
    number_parser,
    pair_parser,
    parse_error,
    parse_status,
    parse_switch,
)


@pytest.mark.parametrize(
    ("reply", "value"),
    [
        (b"2", 2.0),
        (b"+2", 2.0),
        (b"-0.003", -0.003),
        (b"2.", 2.0),
        (b".5", 0.5),
        (b"1.250E-01", 0.125),
        (b"+1.25e+1", 12.5),
        (b" 2.5 ", 2.5),
        (b"2.5\r", 2.5),
        (b"007.50", 7.5),
    ],
)
def test_the_three_number_forms_are_read(reply, value):
    assert number_parser("A", "never")(reply) == value


@pytest.mark.parametrize(
    "reply",
    [
        b"",
        b"   ",
        b"+",
        b".",
        b"1.2.3",
        b"1,2",
        b"1 2",
        b"1e",
        b"0x10",
        b"nan",
        b"inf",
        b"1_000",
        b"2.5A",
        b"2.5 V",
        b"CURR 2.5",
        b"OK",
        b"\x002.5",
        b"2.5\xff",
        "२.५".encode(),
    ],
)
def test_what_is_no_plain_number_is_refused(reply):
    with pytest.raises(GarbledReplyError, match="expected a number"):
        number_parser("A", "never")(reply)


@pytest.mark.parametrize("reply", [b"9.91E37", b"9.9E37", b"-9.9E37", b"+9.91E+37", b"1e400"])
def test_values_that_stand_for_nan_and_infinity_are_refused(reply):
    with pytest.raises(GarbledReplyError, match="measured no value"):
        number_parser("V", "never")(reply)


@pytest.mark.parametrize(
    ("unit", "units", "reply", "value"),
    [
        ("A", "always", b"12.3A", 12.3),
        ("A", "always", b"12.3 a", 12.3),
        ("A", "always", b"850mA", 0.85),
        ("A", "always", b"850 MA", 0.85),
        ("V", "always", b"1.5E1 V", 15.0),
        ("V", "maybe", b"15", 15.0),
        ("V", "maybe", b"15V", 15.0),
        ("V", "maybe", b"15 mV", 0.015),
    ],
)
def test_units_in_replies_are_understood(unit, units, reply, value):
    assert number_parser(unit, units)(reply) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "units", "reply"),
    [
        ("A", "always", b"12.3"),
        ("A", "always", b"12.3V"),
        ("A", "maybe", b"12.3V"),
        ("A", "always", b"12.3kA"),
        ("V", "always", b"12.3A"),
        ("V", "maybe", b"12.3 W"),
        ("V", "always", b"V"),
    ],
)
def test_a_missing_or_wrong_unit_is_refused(unit, units, reply):
    with pytest.raises(GarbledReplyError, match=re.escape(repr(reply))):
        number_parser(unit, units)(reply)


@given(reply=st.binary(max_size=40) | st.from_regex(rb"[-+0-9.eE mMaAvV]{0,20}", fullmatch=True))
@example(reply=b"9" * 5000)
@example(reply=b"1e" + b"9" * 400)
@pytest.mark.parametrize("units", ["never", "always", "maybe"])
def test_any_bytes_give_a_finite_number_or_one_error(units, reply):
    with suppress(GarbledReplyError):
        value = number_parser("A", units)(reply)
        assert isinstance(value, float)
        assert math.isfinite(value)
        assert abs(value) < 9.9e37


@given(value=st.floats(-1e6, 1e6), decimals=st.integers(0, 9))
def test_a_written_number_is_read_as_what_was_written(value, decimals):
    text = f"{value:.{decimals}f}"
    assert number_parser("A", "maybe")(f"{text} A".encode()) == float(text)


@given(reply=st.binary(max_size=40))
def test_the_other_parsers_also_know_but_one_error(reply):
    pair = pair_parser(
        number_parser("A", "never"), number_parser("V", "never"), ",", voltage_first=False
    )
    for parse in (parse_switch, parse_status, parse_error, pair):
        with suppress(GarbledReplyError):
            parse(reply)


@pytest.mark.parametrize(
    ("separator", "voltage_first", "reply"),
    [
        (",", False, b"2.5,12.0"),
        (";", False, b"2.5;12.0"),
        (" ", False, b"2.5 12.0"),
        (",", True, b"12.0, 2.5"),
    ],
)
def test_one_reply_for_both_gives_current_then_voltage(separator, voltage_first, reply):
    parse = pair_parser(
        number_parser("A", "never"),
        number_parser("V", "never"),
        separator,
        voltage_first=voltage_first,
    )
    assert parse(reply) == (2.5, 12.0)


@pytest.mark.parametrize("reply", [b"2.5", b"2.5,", b"2.5,12,1", b"2.5;12"])
def test_half_a_pair_is_refused(reply):
    parse = pair_parser(
        number_parser("A", "never"), number_parser("V", "never"), ",", voltage_first=False
    )
    with pytest.raises(GarbledReplyError):
        parse(reply)


@pytest.mark.parametrize(
    ("reply", "on"),
    [(b"1", True), (b"+1", True), (b" on\r", True), (b"0", False), (b"+0", False), (b"OFF", False)],
)
def test_an_outputs_state_is_read(reply, on):
    assert parse_switch(reply) is on


@pytest.mark.parametrize("reply", [b"", b"2", b"ONE", b"1.0", b"O"])
def test_an_unclear_output_state_is_refused(reply):
    with pytest.raises(GarbledReplyError, match="expected 1, 0, ON or OFF"):
        parse_switch(reply)


def test_a_register_is_a_whole_number():
    assert parse_status(b"+1024\r") == 1024
    for reply in (b"-1", b"1.5", b"", b"#H10"):
        with pytest.raises(GarbledReplyError, match="whole number"):
            parse_status(reply)


@pytest.mark.parametrize(
    ("reply", "number"),
    [
        (b'+0,"No error"', 0),
        (b"0 No error", 0),
        (b"0", 0),
        (b'-222,"Data out of range"', -222),
        (b'-113, "Undefined header"', -113),
    ],
)
def test_an_error_queues_entry_begins_with_its_number(reply, number):
    assert parse_error(reply) == (number, reply.decode())


@pytest.mark.parametrize("reply", [b"", b"No error", b"1.5", b"ACME,1,2,3"])
def test_what_is_no_error_entry_is_refused(reply):
    with pytest.raises(GarbledReplyError, match="error's number"):
        parse_error(reply)


def test_a_long_reply_is_shortened_in_the_message():
    with pytest.raises(GarbledReplyError) as caught:
        number_parser("A", "never")(b"x" * 3000)
    assert "(3000 bytes)" in str(caught.value)
    assert len(str(caught.value)) < 200
