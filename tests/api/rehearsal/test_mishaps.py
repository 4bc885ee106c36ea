"""Mishaps as people write them."""

import pytest

from daemon.api.errors import InputError
from daemon.api.rehearsal.mishaps import Mishap, read_mishap, read_mishaps


@pytest.mark.parametrize(
    ("text", "mishap"),
    [
        ("short at 4:12", Mishap("short", 15120.0)),
        ("Part lost at 3 h", Mishap("part lost", 10800.0)),
        ("power cut at 0:30 for 20 min", Mishap("power cut", 1800.0, 1200.0)),
        ("bad contact at 1 h 30 min", Mishap("bad contact", 5400.0)),
    ],
)
def test_what_is_read(text, mishap):
    assert read_mishap(text) == mishap


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("flood at 4:12", "expected one of part lost, short"),
        ("short", "and when"),
        ("short at noon", "noon"),
        ("short at 4:70", "4:70"),
        ("short at 0:00", "after the start"),
        ("short at -1 h", "after the start"),
        ("short at 3 A", "3 A"),
        ("short at 4:12 for 1 h", "power cut alone"),
    ],
)
def test_what_is_refused(text, said):
    with pytest.raises(InputError, match=said):
        read_mishap(text)


def test_not_too_many_at_once():
    with pytest.raises(InputError, match="at most 8"):
        read_mishaps(("short at 1:00",) * 9)
