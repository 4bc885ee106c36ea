"""Time stamps of many loggers against seconds worked out by hand."""

import pytest

from daemon.api.calibration.stamps import recognised, written

SECOND_OF_2024 = 1704067200.0  # 2024-01-01T00:00:00Z, from `date -u -d 2024-01-01 +%s`
DAY = 86400.0
AT_3_04_05 = SECOND_OF_2024 + 12 * DAY + 3 * 3600 + 4 * 60 + 5  # on the 13th


@pytest.mark.parametrize(
    ("cell", "seconds"),
    [
        ("2024-01-13T03:04:05", AT_3_04_05),
        ("2024-01-13 03:04:05.250", AT_3_04_05 + 0.25),
        ("2024-01-13 03:04:05,250", AT_3_04_05 + 0.25),
        ("20240113T030405", AT_3_04_05),
        ("2024-01-13T03:04:05Z", AT_3_04_05),
        ("2024-01-13T03:04:05+02:00", AT_3_04_05 - 7200),
        ("2024-01-13 3:04:05", AT_3_04_05),
        ("2024/01/13 03:04:05", AT_3_04_05),
        ("13.01.2024 03:04:05", AT_3_04_05),
        ("13.1.24 03:04:05,5", AT_3_04_05 + 0.5),
        ("13.01.2024, 03:04:05", AT_3_04_05),
        ("13.01.2024 03:04", AT_3_04_05 - 5),
        ("13/01/2024 03:04:05", AT_3_04_05),
        ("01/13/2024 3:04:05 AM", AT_3_04_05),
        ("1/13/24 3:04:05 pm", AT_3_04_05 + DAY / 2),
        ("01-13-2024 12:04:05 AM", AT_3_04_05 - 3 * 3600),
        ("3:04:05", 11045.0),
        (" 103:04:05.5 ", 371045.5),
        ("03:04", 11040.0),
    ],
)
def test_common_forms(cell, seconds):
    (form,) = recognised([cell])
    assert form.read(cell) == pytest.approx(seconds, rel=0, abs=1e-6)


@pytest.mark.parametrize(
    "cell",
    ["soon", "", "32.01.2024 03:04:05", "13.01.2024 25:04:05", "3:61:05", "3:04:62", "1:2:3:4",
     "13:00 PM", "3:04:05e3", "-3:04:05", "13/13/2024 00:00:00"],
)  # fmt: skip
def test_what_is_no_stamp(cell):
    assert recognised([cell]) == ()


def test_day_and_month_are_told_apart_by_any_day_after_the_twelfth():
    both = recognised(["03/04/2024 01:00:00", "04/04/2024 01:00:00"])
    assert {form.day_first for form in both} == {True, False}
    assert len(both) == 2
    (form,) = recognised(["03/04/2024 01:00:00", "13/04/2024 01:00:00"])
    assert form.day_first is True
    (form,) = recognised(["03/04/2024 01:00:00", "03/24/2024 01:00:00"])
    assert form.day_first is False


def test_a_few_cells_in_another_form_do_not_decide():
    (form,) = recognised(["2024-01-13T03:04:05", "2024-01-13T03:04:06", "3:04:07"])
    with pytest.raises(ValueError, match="3:04:07"):
        form.read("3:04:07")


def test_a_stamp_with_a_zone_among_stamps_without_is_no_reading():
    (form,) = recognised(["2024-01-13T03:04:05", "2024-01-13T03:04:06"])
    with pytest.raises(TypeError):
        form.read("2024-01-13T03:04:05Z")


def test_a_form_that_is_told():
    assert written("%Y%m%d%H%M%S").read("20240113030405") == AT_3_04_05
    assert written("%d %b %Y %H:%M:%S %z").read("13 Jan 2024 03:04:05 +0100") == AT_3_04_05 - 3600
    with pytest.raises(ValueError, match="does not match"):
        written("%Y%m%d%H%M%S").read("2024-01-13")
