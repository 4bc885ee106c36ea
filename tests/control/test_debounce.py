"""Contacts that bounce: what is believed, and when."""

import pytest

from daemon.control.debounce import Debounced

CLOSED, OPEN = Debounced(closed=True), Debounced(closed=False)


def believed(contact, looks, debounce_s=0.05):
    """What is believed after each look; a look is a moment in s and whether it shows closed."""
    trail = []
    for moment_s, closed in looks:
        contact = contact.seen(closed, moment_s, debounce_s)
        trail.append(contact.closed)
    return trail


def test_a_change_is_believed_once_it_has_lasted():
    looks = [(0.00, False), (0.02, False), (0.04, False), (0.06, False), (0.08, False)]
    assert believed(CLOSED, looks) == [True, True, True, False, False]
    looks = [(moment_s, not closed) for moment_s, closed in looks]
    assert believed(OPEN, looks) == [False, False, False, True, True]


def test_a_bounce_begins_the_wait_anew():
    looks = [(0.00, False), (0.03, False), (0.04, True), (0.06, False), (0.10, False)]
    assert believed(CLOSED, looks) == [True] * 5
    assert believed(CLOSED, [*looks, (0.12, False)])[-1] is False


def test_a_look_that_comes_late_counts_for_the_whole_time():
    assert believed(CLOSED, [(0.0, False), (7.0, False)]) == [True, False]


def test_one_look_alone_is_not_believed_however_late():
    assert believed(CLOSED, [(0.0, True), (60.0, False)]) == [True, True]


@pytest.mark.parametrize("contact", [CLOSED, OPEN])
def test_without_a_debounce_each_look_is_believed(contact):
    looks = [(0.0, False), (0.0, True), (0.0, False)]
    assert believed(contact, looks, debounce_s=0.0) == [False, True, False]
