import math

import pytest

from daemon.api.calibration.reference import read_class, read_shown
from daemon.api.errors import InputError


@pytest.mark.parametrize(
    ("text", "gain", "offset_a"),
    [
        ("0.5 %", 0.005, 0.0),
        ("0.5% of reading", 0.005, 0.0),
        ("± 0.5 %", 0.005, 0.0),
        ("0.2 % of 10 A", 0.0, 0.02),
        ("3 mA", 0.0, 0.003),
        ("± (0.5 % + 3 mA)", 0.005, 0.003),
        ("+/-(0.8 % of the reading + 0.1 % of 10 A + 2 mA)", 0.008, 0.012),
        ("50 ppm", 50e-6, 0.0),
        ("0 %", 0.0, 0.0),
    ],
)
def test_a_class_as_data_sheets_write_it(text: str, gain: float, offset_a: float) -> None:
    found = read_class(text)
    assert (found.gain, found.offset_a) == (pytest.approx(gain), pytest.approx(offset_a))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "not a class"),
        ("0.5", "without a unit"),
        ("class 0.5", "not a number with a unit"),
        ("(0.5 % + 3 mA", "not a class"),
        ("0.5 % + 3 digits", "3 digits of 1 mA are 3 mA$"),
        ("0.5 % of range", "not a number with a unit"),
        ("0.5 of 10 A", "is no share"),
        ("-0.5 %", "at least 0"),
        ("0,5 %", "decimal comma"),
        ("3 mV", "of another kind"),
    ],
)
def test_what_is_no_class_is_refused_with_what_would_do(text: str, said: str) -> None:
    with pytest.raises(InputError, match=said) as raised:
        read_class(text)
    assert str(raised.value).startswith("the reference's class: expected")


@pytest.mark.parametrize(
    ("text", "current_a", "digit_a"),
    [
        ("1.502", 1.502, 0.001),
        ("1.50 A", 1.5, 0.01),
        ("1502 mA", 1.502, 0.001),
        ("3", 3.0, 1.0),
        (" 0.0 ", 0.0, 0.1),
        ("-0.02 A", -0.02, 0.01),
        ("2.", 2.0, 1.0),
    ],
)
def test_what_it_shows_says_how_finely_it_can_be_read(
    text: str, current_a: float, digit_a: float
) -> None:
    shown = read_shown(text)
    assert shown[0] == pytest.approx(current_a)
    # Anywhere within half a digit to either side: JCGM 100, F.2.2.1 has 0.29 of the digit.
    assert shown[1] == pytest.approx(digit_a / math.sqrt(12))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "got ''"),
        ("1,5", "got '1,5': a decimal comma where a point belongs"),
        ("1.5 V", 'got "1.5 V": of another kind: "V"'),
        ("about 2 A", "got 'about 2 A'"),
        ("1.5e0", "got '1.5e0'"),
        ("1.2.3", "got '1.2.3'"),
        (".", "got '.'"),
        ("--1.5", "got '--1.5'"),
    ],
)
def test_what_is_no_current_is_refused(text: str, said: str) -> None:
    with pytest.raises(InputError, match="what the reference shows: expected") as refused:
        read_shown(text)
    assert str(refused.value).endswith(said)
