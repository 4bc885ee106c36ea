"""How long something has to be seen to be believed, and not to be seen to be gone."""

import pytest

from daemon.control.protection.detectors.lasting import Lasting


def heard(lasting, *looks):
    """What is believed after each look, a moment in s and whether it was seen."""
    return [lasting.seen(there, at_s) for at_s, there in looks]


def test_what_is_seen_for_its_time_without_a_break_is_believed():
    looks = (100.0, True), (102.9, True), (103.0, True), (103.1, True)
    assert heard(Lasting(3.0, 5.0), *looks) == [False, False, True, True]


def test_a_break_begins_it_anew():
    looks = (0.0, True), (2.0, True), (2.5, False), (3.0, True), (5.9, True), (6.0, True)
    assert heard(Lasting(3.0, 5.0), *looks) == [False] * 5 + [True]


def test_what_was_believed_is_gone_after_its_time_without_a_look_at_it():
    lasting = Lasting(0.0, 5.0)
    looks = (0.0, True), (1.0, False), (5.9, False), (6.0, False), (6.1, False)
    assert heard(lasting, *looks) == [True, True, True, False, False]


def test_a_look_at_it_begins_its_end_anew():
    looks = (0.0, True), (1.0, False), (5.0, True), (5.5, False), (10.4, False), (10.5, False)
    assert heard(Lasting(0.0, 5.0), *looks) == [True] * 5 + [False]


def test_without_delays_it_is_believed_as_seen():
    looks = (0.0, False), (1.0, True), (2.0, False), (3.0, True)
    assert heard(Lasting(), *looks) == [False, True, False, True]


@pytest.mark.parametrize("before", [((0.0, True), (2.0, True)), ((0.0, True), (4.0, True))])
def test_what_was_forgotten_takes_its_whole_time_again(before):
    lasting = Lasting(3.0, 5.0)
    heard(lasting, *before)
    lasting.forget()
    assert not lasting.believed
    assert heard(lasting, (10.0, True), (12.9, True), (13.0, True)) == [False, False, True]


def test_its_end_is_no_part_of_its_next_beginning():
    lasting = Lasting(3.0, 5.0)
    heard(lasting, (0.0, True), (3.0, True), (4.0, False), (9.0, False))
    assert not lasting.believed
    assert heard(lasting, (9.5, True), (12.4, True), (12.5, True)) == [False, False, True]
