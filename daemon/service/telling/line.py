"""The line to one address: a thread of its own that sends one message at a time, and its pauses.

An address that hangs holds up its own thread and nothing else.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty, SimpleQueue

from daemon.api.sentence import duration
from daemon.service.telling.recipients import Letter, Pace

Send = Callable[[Letter], str | None]
"""Sends a message; None when it was taken, else why not, without the address. Never raises."""

NO_ANSWER = "no answer yet"


@dataclass(frozen=True, slots=True)
class Trouble:
    """Since when nothing has got through, real s, and why not."""

    since_s: float
    reason: str


class Line:
    """The line to the address of `name`. `done` is called, in its thread, after each message.

    All but `failing`, which any thread may read, is for one thread. `threaded=False` leaves it to
    the caller to call `work`.
    """

    def __init__(
        self,
        name: str,
        send: Send,
        pace: Pace,
        *,
        done: Callable[[], None] = lambda: None,
        real_s: Callable[[], float] = time.monotonic,
        threaded: bool = True,
    ) -> None:
        self._name = name
        self._send = send
        self._pace = pace
        self._done = done
        self._real_s = real_s
        self._letters: SimpleQueue[Letter | None] = SimpleQueue()
        self._reasons: SimpleQueue[str | None] = SimpleQueue()
        self._busy = False
        self._failures = 0
        self._retry_at_s = 0.0
        self._trouble: Trouble | None = None
        self._closing = False
        # A daemon thread: nobody can end one that waits for a name server.
        self._thread = threading.Thread(target=self._run, name=f"telling {name}", daemon=True)
        if threaded:
            self._thread.start()

    @property
    def free(self) -> bool:
        """Whether a message may be handed over: none is under way, and no pause after a failure."""
        return not self._busy and self._real_s() >= self._retry_at_s

    @property
    def busy(self) -> bool:
        """Whether a message is under way."""
        return self._busy

    @property
    def unreachable(self) -> bool:
        """Whether the last message has not got through."""
        return self._failures > 0

    @property
    def failing(self) -> str | None:
        """Why nothing has got through for longer than the settings allow; None if it has."""
        trouble = self._trouble
        if self._thread.ident is not None and not self._thread.is_alive() and not self._closing:
            return f"{self._name}: the thread that sends has died"
        if trouble is None:
            return None
        lasted_s = self._real_s() - trouble.since_s
        if lasted_s <= self._pace.failed_after_s:
            return None
        return f"{self._name} has taken no message for {duration(lasted_s)}: {trouble.reason}"

    def send(self, letter: Letter) -> None:
        """Hand over a message, while the line is `free`. Never waits."""
        self._busy = True
        if self._trouble is None:
            self._trouble = Trouble(self._real_s(), NO_ANSWER)
        self._letters.put(letter)

    def outcome(self) -> bool | None:
        """Whether the message that was under way got through; None if there is no news of it."""
        try:
            reason = self._reasons.get_nowait()
        except Empty:
            return None
        self._busy = False
        if reason is None:
            self._failures, self._retry_at_s, self._trouble = 0, 0.0, None
            return True
        now_s = self._real_s()
        self._failures += 1
        self._retry_at_s = now_s + self._pace.pause_s(self._failures)
        since_s = now_s if self._trouble is None else self._trouble.since_s
        self._trouble = Trouble(since_s, reason)
        return False

    def work(self) -> bool:
        """Send the next message, waiting for one; False when the line was closed."""
        letter = self._letters.get()
        if letter is None:
            return False
        self._reasons.put(self._send(letter))
        self._done()
        return True

    def close(self, patience_s: float) -> bool:
        """End the thread after what is under way, for which it waits that long; real s.

        False when it has to be left behind.
        """
        self._closing = True
        self._letters.put(None)
        if self._thread.ident is not None:
            self._thread.join(patience_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while self.work():
            pass
