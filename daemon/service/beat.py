"""The two pipes between guard and loop.

On the beat pipe the loop says one line when it is ready, then one byte for each complete cycle; its
end tells the guard that the loop is dead. Nothing is ever said on the lifeline; its end tells the
loop that the guard is dead.
"""

import json
import os
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass


@dataclass(frozen=True, slots=True)
class Ready:
    """What the loop tells the guard once it samples, so that only one of them reads settings.

    beat_limit_s: how long the loop may give no beat before the guard acts, real s. socket, record
    and listen are for the page (`listen` None: there shall be none); supply is its identity.
    """

    beat_limit_s: float
    socket: str
    record: str
    listen: str | None
    supply: str


BEAT_INTERVAL_S = 0.01
"""Real s. Cycles that follow each other faster share a beat: it is far below any beat limit."""


class BeatSender:
    """The loop's end of the beat pipe. Without a guard (`fd` None) nothing is sent."""

    def __init__(self, fd: int | None) -> None:
        self._fd = fd
        self._next_s = 0.0
        if fd is not None:
            os.set_blocking(fd, False)

    def ready(self, ready: Ready) -> None:
        """Say the one line."""
        self._send(json.dumps(asdict(ready)).encode() + b"\n")

    def beat(self) -> None:
        """Say that a cycle was completed. A full pipe or a dead guard holds nobody up."""
        now_s = time.monotonic()
        if now_s >= self._next_s:
            self._next_s = now_s + BEAT_INTERVAL_S
            self._send(b".")

    def _send(self, data: bytes) -> None:
        if self._fd is None:
            return
        try:
            os.write(self._fd, data)
        except (BlockingIOError, BrokenPipeError):
            # Full: the guard is slow, and it has beats enough to read. Broken: the guard is dead,
            # which the lifeline tells.
            return


class BeatReader:
    """The guard's end of the beat pipe."""

    def __init__(self, fd: int) -> None:
        self.fd = fd
        self._line = b""
        self.ready: Ready | None = None

    def take(self) -> bool:
        """Read what is there, at least one byte; False at the pipe's end."""
        data = os.read(self.fd, 65536)
        if not data:
            return False
        if self.ready is None:
            line, newline, _ = (self._line + data).partition(b"\n")
            self._line = line
            if newline:
                self.ready = Ready(**json.loads(line))
        return True


def watch_lifeline(fd: int, at_end: Callable[[], None]) -> None:
    """Call `at_end`, from a thread of its own, when the process at the other end has died."""

    def wait() -> None:
        while os.read(fd, 1):
            pass
        at_end()

    threading.Thread(target=wait, name="lifeline", daemon=True).start()
