"""How often signing in may be tried: from one address, and in all.

By a clock that nobody can set, which is why this is not the counter of the other presses. It is
held in memory: whoever can restart the page needs no password.
"""

import ipaddress
import threading
from collections.abc import Callable

WINDOW_S = 900.0
"""s for which an attempt that failed counts."""

FROM_ONE = 5
"""Failures from one address within that; NIST SP 800-63B-4, 3.2.2, allows 100 in a row at most."""

IN_ALL = 30
"""Failures from all addresses within that: many machines guess no faster than six."""


class Attempts:
    """The failures of late. `now_s` is a clock's, in s. Safe to share between threads."""

    def __init__(self, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._lock = threading.Lock()
        self._failed: list[tuple[float, str]] = []

    def begin(self, where: str, *, known: bool) -> float:
        """Count an attempt from an address as failed until it is `good`; else s to wait first.

        `known`: from there an operator has signed in; the others' failures keep nobody out there.
        """
        place = _place(where)
        with self._lock:
            now_s = self._now_s()
            wait_s = self._from_one_s(place, now_s)
            if not known:
                everybody = [at_s for at_s, _ in self._failed]
                wait_s = max(wait_s, _wait_s(everybody, IN_ALL, now_s))
            if wait_s == 0:
                self._failed.append((now_s, place))
            return wait_s

    def wait_s(self, where: str) -> float:
        """S until one more from an address may be tried; 0 if it may be now."""
        with self._lock:
            return self._from_one_s(_place(where), self._now_s())

    def failed(self, where: str) -> None:
        """Count an attempt from an address that has failed."""
        with self._lock:
            self._failed.append((self._now_s(), _place(where)))

    def good(self, where: str) -> None:
        """Forget the failures from an address: who was there is an operator."""
        place = _place(where)
        with self._lock:
            self._failed = [each for each in self._failed if each[1] != place]

    def _from_one_s(self, place: str, now_s: float) -> float:
        """S until one more from a place may be tried; what is too old is forgotten."""
        self._failed = [each for each in self._failed if now_s - each[0] < WINDOW_S]
        from_there = [at_s for at_s, other in self._failed if other == place]
        return _wait_s(from_there, FROM_ONE, now_s)


def _wait_s(failed: list[float], most: int, now_s: float) -> float:
    """How long until less than `most` of these moments, in order, are within the window."""
    return 0.0 if len(failed) < most else failed[-most] + WINDOW_S - now_s


def _place(where: str) -> str:
    """An address; of IPv6 the network, since one machine has all of its 2^64 addresses."""
    try:
        address = ipaddress.ip_address(where)
    except ValueError:
        return where
    if address.version == 4:
        return where
    return str(ipaddress.ip_network(f"{where.split('%')[0]}/64", strict=False))
