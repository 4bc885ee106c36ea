"""The pipes between guard and loop.

On the beat pipe the loop says one line when it is ready, then one byte for each complete cycle; its
end tells the guard that the loop is dead. A letter among the beats is a question: does your own way
to "output off" work? The answer is a line on a pipe back: the letter, and why not, if it does not.
Nothing is ever said on the lifeline; its end tells the loop that the guard is dead.
"""

import json
import os
import select
import string
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field


@dataclass(frozen=True, slots=True)
class Ready:
    """What the loop tells the guard once it samples, so that only one of them reads settings.

    beat_limit_s: how long the loop may give no beat before the guard acts, real s. socket, record
    and listen are for the page (`listen` None: there shall be none), and `page` more of its command
    line; supply is its identity.
    """

    beat_limit_s: float
    socket: str
    record: str
    listen: str | None
    supply: str
    page: list[str] = field(default_factory=list)


BEAT_INTERVAL_S = 0.01
"""Real s. Cycles that follow each other faster share a beat: it is far below any beat limit."""

PROOF_LIMIT_S = 4.0
"""Real s that the guard may take to try its own way to "output off": longer than the limits on a
usual line together, and shorter than an asker's patience."""

_BEAT = b"."


class BeatSender:
    """The loop's end of the beat pipe, and of the pipe on which the guard answers.

    Without a guard (`fd` None) nothing is sent; without `answers` nothing is asked.
    """

    def __init__(self, fd: int | None, answers: int | None = None) -> None:
        self._fd = fd
        self._answers = answers
        self._next_s = 0.0
        self._asked = 0
        self._line = b""
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
            self._send(_BEAT)

    def prove(self) -> str | None:
        """Have the guard try its own way to "output off"; None if it works, otherwise why not.

        Waits for at most `PROOF_LIMIT_S`; for one thread, which need not be that of the beats.
        """
        if self._answers is None:
            return None
        # An answer that comes too late carries another letter than the next question.
        letter = string.ascii_uppercase[self._asked % len(string.ascii_uppercase)].encode()
        self._asked += 1
        self._send(letter)
        end_s = time.monotonic() + PROOF_LIMIT_S
        while (left_s := end_s - time.monotonic()) > 0:
            if not select.select([self._answers], [], [], left_s)[0]:
                break
            data = os.read(self._answers, 4096)
            if not data:
                return "the guard is dead"
            *lines, self._line = (self._line + data).split(b"\n")
            for line in lines:
                if line.startswith(letter):
                    return line[1:].decode() or None
        return f"the guard did not answer within {PROOF_LIMIT_S:g} s"

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
    """The guard's end of the beat pipe.

    `ready` is the loop's one line, None before. `beaten`: whether the newest `take` has read a
    beat. `question` is the letter of a question that waits for its answer, empty without one.
    """

    def __init__(self, fd: int) -> None:
        self.fd = fd
        self._line = b""
        self.ready: Ready | None = None
        self.beaten = False
        self.question = b""

    def take(self) -> bool:
        """Read what is there, at least one byte; False at the pipe's end."""
        data = os.read(self.fd, 65536)
        if not data:
            return False
        if self.ready is None:
            self._line, newline, data = (self._line + data).partition(b"\n")
            if newline:
                self.ready = Ready(**json.loads(self._line))
        self.beaten = _BEAT in data
        self.question = data.replace(_BEAT, b"")[-1:]
        return True


def watch_lifeline(fd: int, at_end: Callable[[], None]) -> None:
    """Call `at_end`, from a thread of its own, when the process at the other end has died."""

    def wait() -> None:
        while os.read(fd, 1):
            pass
        at_end()

    threading.Thread(target=wait, name="lifeline", daemon=True).start()
