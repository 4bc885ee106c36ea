"""Kept analyses in words, and what the bath's account adds to a question."""

from datetime import UTC, datetime

import pytest

from daemon.api.analyses.kept_analyses import completed, leading, listing
from daemon.api.analyses.restoring import Other, read_restoring
from daemon.bath.analyses import Against
from daemon.bath.book import Book
from daemon.bath.description import Description, Window
from daemon.record.bath_entries import BathEntry
from daemon.record.entries import BathEntered

FIRST = datetime(2026, 11, 1, 12, tzinfo=UTC)
FIRST_MS = round(FIRST.timestamp() * 1000)
DAY_MS = 86_400_000
WINDOWS = {
    "copper": Window(50.0, 55.0, 60.0),
    "sulfuric acid": Window(55.0, None, 70.0),
    "chloride": Window(60.0, None, 100.0),
}


def book(*made, windows=WINDOWS, volume_l=15.0):
    """A bath with entries (day, kind, amounts, results), and 10 A·h a day."""
    entries = tuple(
        BathEntry(
            number,
            BathEntered(
                "b", kind, "anna", FIRST_MS, FIRST_MS + day * DAY_MS, amounts,
                {"results": results, "method": "EDTA"} if results else {},
            ),
        )
        for number, (day, kind, amounts, results) in enumerate(made, start=1)
    )  # fmt: skip
    moments = {entry.made.at_utc_ms for entry in entries}
    charges = {moment: 10 * (moment - FIRST_MS) / DAY_MS for moment in moments}
    described = Description("b", volume_l=volume_l, window=windows)
    return Book(FIRST_MS + 1000 * DAY_MS, described, entries, 0.0, charges)


def analysed(day, value, u=0.2, component="copper"):
    return (day, "analysis", {}, {component: {"value": value, "u": u}})


FALLING = (analysed(0, 56.0), analysed(10, 54.0), analysed(20, 52.0))


def texts(report):
    return [f"{row.name}: {row.text}" for row in report.rows]


def test_the_list_is_newest_first():
    said = texts(listing(book(*FALLING), None, Against.TIME, UTC))
    assert said[0] == "3: 2026-11-21 12:00  copper 52.0 ± 0.4 g/L, at 200.0 Ah, EDTA, by anna"
    assert said[2].startswith("1: 2026-11-01 12:00  copper 56.0 ± 0.4 g/L, at 0.0 Ah")


def test_where_it_leads():
    """1 g/L in 5 days by hand: 50 g/L ten days after the last, on 1 December.

    The slope is unsure by 0.2/√200 g/L a day, 0.028 with 95 %. Around day 10 with its 54 g/L, the
    bounds solve (4 - 0.2·d)² = 1.96²·(0.04/3 + 0.0002·d²): d = 17.35 and 23.44 by hand.
    """
    assert texts(leading(book(*FALLING), "copper", UTC)) == [
        "trend: copper falls by 0.200 ± 0.028 g/L each day (95 %) "
        "(3 analyses since it was last changed by hand)",
        ": reaches its least, 50 g/L, about 2026-12-01 (between 2026-11-28 and 2026-12-04, 95 %)",
    ]


def test_where_it_leads_by_charge():
    said = texts(listing(book(*FALLING), "copper", Against.CHARGE, UTC))
    assert "copper falls by 0.0200 ± 0.0028 g/L each Ah (95 %)" in said[3]
    assert "about 300 Ah (between 2" in said[4]


def test_a_component_that_rises_reaches_its_greatest():
    acid = [analysed(day, 60 + day / 5, component="sulfuric acid") for day in (0, 10, 20)]
    said = texts(leading(book(*acid), "sulfuric acid", UTC))
    assert "sulfuric acid rises by 0.200" in said[0]
    assert "reaches its greatest, 70 g/L, about 2026-12-21" in said[1]


@pytest.mark.parametrize(
    ("values", "windows", "rows"),
    [
        ((56.0,), WINDOWS, []),
        ((56.0, 55.9, 56.0), WINDOWS, ["trend: copper neither surely rises nor surely falls "
                                       "(3 analyses since it was last changed by hand)"]),
    ],
)  # fmt: skip
def test_what_nobody_can_tell(values, windows, rows):
    made = [analysed(10 * number, value) for number, value in enumerate(values)]
    assert texts(leading(book(*made, windows=windows), "copper", UTC)) == rows


@pytest.mark.parametrize("windows", [{}, {"copper": Window(None, None, 60.0)},
                                     {"copper": Window(53.0, None, 60.0)}])  # fmt: skip
def test_a_limit_that_is_not_there_or_was_passed(windows):
    assert len(texts(leading(book(*FALLING, windows=windows), "copper", UTC))) == 1


def test_a_limit_far_away_has_no_date():
    made = [analysed(10 * number, 56.0 - number / 1000, 1e-4) for number in range(3)]
    (_, said) = texts(leading(book(*made), "copper", UTC))
    assert "about ten years on" in said


def test_an_addition_begins_a_new_trend():
    made = (*FALLING, (21, "addition", {"copper": 60.0}, None), analysed(22, 56.0))
    assert texts(leading(book(*made), "copper", UTC)) == []


def test_an_empty_account():
    assert listing(book(), None, Against.TIME).rows == ()


def asked(component="copper", **tree):
    return read_restoring(tree, component)


def test_the_account_tells_what_was_not_asked():
    made = (
        (0, "make-up", {"volume": 15.0}, None),
        analysed(0, 60.0, component="sulfuric acid"),
        (1, "water", {"volume": 0.5}, None),
    )
    found = completed(asked(), book(*made))
    assert found.window.least_g_l == 50.0
    assert found.volume_l == pytest.approx(15.5)
    assert found.others == (Other("sulfuric acid", 60.0, "g/L", 55.0, 70.0),)


def test_what_was_asked_holds():
    found = completed(asked(least="10 g/L", volume="5 L", also={"x": "1 g/L"}), book(*FALLING))
    assert (found.window.least_g_l, found.window.greatest_g_l) == (10.0, None)
    assert found.volume_l == 5.0
    assert [other.name for other in found.others] == ["x"]


def test_the_window_of_chloride_is_in_milligrams():
    assert completed(asked("chloride"), book()).window.least_g_l == pytest.approx(0.06)


def test_a_bath_of_which_nothing_is_known():
    found = completed(asked(), book(windows={}, volume_l=None))
    assert (found.window, found.volume_l, found.others) == (None, None, ())
