"""How often signing in may be tried, on a clock that tests set."""

import pytest

from web.gate.attempts import Attempts


class Clock:
    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def attempts(clock: Clock) -> Attempts:
    return Attempts(clock)


def taken(attempts: Attempts, where: str, times: int, known: bool = False) -> list[bool]:
    return [attempts.begin(where, known=known) == 0 for _ in range(times)]


def test_what_has_failed_is_counted_apart_from_what_is_tried(
    attempts: Attempts, clock: Clock
) -> None:
    """As tokens are: only failures count, and only those of the same address."""
    for _ in range(40):
        assert attempts.wait_s("192.168.1.66") == 0
    for _ in range(5):
        assert attempts.wait_s("192.168.1.66") == 0
        attempts.failed("192.168.1.66")
        clock.now_s += 60
    assert attempts.wait_s("192.168.1.66") == 600
    assert attempts.wait_s("192.168.1.67") == 0
    clock.now_s += 600
    assert attempts.wait_s("192.168.1.66") == 0


def test_five_from_one_address_in_a_quarter_of_an_hour(attempts: Attempts, clock: Clock) -> None:
    for _ in range(5):
        assert attempts.begin("192.168.1.66", known=False) == 0
        clock.now_s += 60
    # The first was five minutes ago: it counts for ten more.
    assert attempts.begin("192.168.1.66", known=False) == 600
    clock.now_s += 599
    assert attempts.begin("192.168.1.66", known=False) == 1
    clock.now_s += 1
    assert attempts.begin("192.168.1.66", known=False) == 0
    assert attempts.begin("192.168.1.66", known=False) == 60


def test_who_waits_does_not_have_to_wait_longer_for_asking(
    attempts: Attempts, clock: Clock
) -> None:
    taken(attempts, "192.168.1.66", 5)
    for _ in range(50):
        attempts.begin("192.168.1.66", known=False)
    clock.now_s += 900
    assert attempts.begin("192.168.1.66", known=False) == 0


def test_one_address_keeps_no_other_out(attempts: Attempts) -> None:
    assert taken(attempts, "192.168.1.66", 100).count(True) == 5
    assert taken(attempts, "192.168.1.20", 1) == [True]


def test_many_addresses_guess_no_faster_than_six(attempts: Attempts) -> None:
    done = [ok for last in range(100) for ok in taken(attempts, f"192.168.1.{last}", 5)]
    assert done.count(True) == 30
    # Nobody unknown any more, but whoever is where an operator has signed in.
    assert taken(attempts, "192.168.2.1", 1) == [False]
    assert taken(attempts, "192.168.1.200", 6, known=True) == [True] * 5 + [False]


def test_a_good_one_makes_the_others_of_that_address_forgotten(attempts: Attempts) -> None:
    taken(attempts, "192.168.1.20", 4)
    taken(attempts, "192.168.1.66", 5)
    attempts.good("192.168.1.20")
    assert taken(attempts, "192.168.1.20", 6) == [True] * 5 + [False]
    assert taken(attempts, "192.168.1.66", 1) == [False]


def test_a_machine_has_one_place_in_ipv6(attempts: Attempts) -> None:
    done = [taken(attempts, f"2001:db8:1:2::{last:x}", 1)[0] for last in range(8)]
    assert done == [True] * 5 + [False] * 3
    assert taken(attempts, "2001:db8:1:3::1", 1) == [True]
    assert taken(attempts, "fe80::1%eth0", 1) == [True]
    assert taken(attempts, "no address", 1) == [True]
