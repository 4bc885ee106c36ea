"""Telling the service manager how we are: the protocol of sd_notify(3), systemd's own manual.

Without a manager that waits for news nothing is said. A manager that takes none at the moment holds
nobody up: what was not taken is not sent, and whoever has to be heard says it again.
"""

import os
import socket
import time
from collections.abc import Mapping

FEEDS_PER_LIMIT = 4
"""How often the watchdog is fed within its limit: sd_watchdog_enabled(3) asks for twice; one that
is lost must not count."""


class ServiceManager:
    """The manager that `environment` (of this process) tells of, if there is one.

    Its watchdog is fed by `well` and by nothing else: there is no thread and no timer here, so that
    it runs out when nobody calls.
    """

    def __init__(self, environment: Mapping[str, str]) -> None:
        self._address = environment.get("NOTIFY_SOCKET", "")
        if self._address.startswith("@"):  # an abstract socket
            self._address = "\0" + self._address[1:]
        self._watchdog_us = _watchdog_us(environment)
        self._feed_at_s = 0.0
        self._is_ready = False
        self._extended = False

    @property
    def knows_ready(self) -> bool:
        """Whether there is nobody to tell that we are ready, or it was told."""
        return self._is_ready or not self._address

    def ready(self, status: str) -> None:
        """Say that the service is up, or up again; the watchdog's limit is the usual one then."""
        self._is_ready = self._say("READY=1", f"STATUS={status}", *self._limit(self._watchdog_us))
        self._extended = False

    def well(self) -> None:
        """Feed the watchdog; to be called as often as there is proof, the rest is left out here."""
        now_s = time.monotonic()
        if self._watchdog_us and now_s >= self._feed_at_s and self._say("WATCHDOG=1"):
            self._feed_at_s = now_s + self._watchdog_us / 1e6 / FEEDS_PER_LIMIT

    def restoring(self, status: str, limit_s: float) -> None:
        """Say that the service is being put right, and that nothing can be proven for `limit_s`.

        The watchdog's limit is extended once until `ready` is said: who cannot be put right within
        it, be it that each attempt fails in its own time, is not given more.
        """
        extended = () if self._extended else self._limit(limit_s * 1e6)
        self._is_ready = False
        self._extended = self._say(f"STATUS={status}", *extended) or self._extended

    def stopping(self, limit_s: float) -> None:
        """Say that the service ends, and that this takes `limit_s` at most."""
        self._say("STOPPING=1", *self._limit(limit_s * 1e6))

    def _limit(self, limit_us: float) -> tuple[str, ...]:
        """The watchdog's limit from now on, in µs, where there is a watchdog."""
        return (f"WATCHDOG_USEC={limit_us:.0f}",) if self._watchdog_us else ()

    def _say(self, *lines: str) -> bool:
        """Say this in one message; whether it was taken."""
        if not self._address:
            return False
        message = "\n".join(line.replace("\n", " ") for line in lines).encode()
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as outbox:
            try:
                outbox.sendto(message, self._address)
            except OSError:
                return False
        return True


def _watchdog_us(environment: Mapping[str, str]) -> int:
    """The watchdog's limit in µs; 0 without one for this process."""
    if environment.get("WATCHDOG_PID", str(os.getpid())) != str(os.getpid()):
        return 0
    try:
        return max(0, int(environment.get("WATCHDOG_USEC", "0")))
    except ValueError:
        return 0
