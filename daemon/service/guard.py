"""The guard: the parent of loop and page, and the second way to "output off".

It is small on purpose, and loads nothing but the standard library and the off line of the supply.
It has the output off before anything else starts, sees a beat from the loop after each of its
cycles, and when the loop dies or hangs it switches the output off by its own handle on the port,
before it does anything else. A loop that had been well is started again, never plating; the page is
started again whenever it ends.
"""

import os
import selectors
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from types import FrameType

from daemon.service.beat import BeatReader, Ready
from daemon.service.first_look import supply_line
from drivers.errors import DriverError
from drivers.scpi.off import OffLine

START_LIMIT_S = 120.0
"""Real s from the loop's start to its first word: imports, migrations and a slow card take time."""

QUIT_LIMIT_S = 20.0
"""Real s that the loop may take to end when it is told to: longer than it allows itself."""

RESTART_FIRST_S = 1.0
RESTART_MOST_S = 30.0
"""Real s between a child's death and its next start, doubled each time it does not live longer."""


def serve(settings: Path) -> int:
    """Guard the daemon of a settings file until SIGTERM or SIGINT; returns the exit code.

    It is 0 after an orderly end; a loop that ends before it was ever ready gives its own.
    """
    off = _off_line(settings)
    guard = Guard(settings, off)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, guard.on_signal)
    return guard.run()


def _off_line(settings: Path) -> OffLine | None:
    """The second handle on the supply's port, its output switched off; None if that cannot be told.

    The loop reads the same settings in full and opens the same port, and says what is wrong.
    """
    line = supply_line(settings)
    if line is None:
        return None
    try:
        off = OffLine(line.port, line.description)
    except DriverError:
        return None
    off.send_alone()
    # A socket is opened only when it is needed: many supplies take one connection.
    if not line.port.startswith("socket://"):
        with suppress(DriverError):
            off.open()
    return off


class Child:
    """A process of ours that is started again after its death, later each time."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._started_s = 0.0
        self._wait_s = RESTART_FIRST_S
        self.start_at_s = 0.0

    def start(self, arguments: list[str], fds: tuple[int, ...]) -> None:
        """Start it, in a session of its own: a terminal's Ctrl-C is for the guard to hand on."""
        command = [sys.executable, *arguments]
        self._process = subprocess.Popen(  # noqa: S603 - our own interpreter and modules
            command, pass_fds=fds, start_new_session=True
        )
        self._started_s = time.monotonic()

    @property
    def alive(self) -> bool:
        """Whether it runs."""
        return self._process is not None and self._process.poll() is None

    def signal(self, number: int) -> None:
        """Send it a signal if it runs."""
        if self._process is not None and self.alive:
            self._process.send_signal(number)

    def reap(self, limit_s: float) -> int:
        """Wait for its end, killing it at the limit; its exit code, and when to start it again."""
        if self._process is None:
            return 0
        try:
            code = self._process.wait(limit_s)
        except subprocess.TimeoutExpired:
            self._process.kill()
            code = self._process.wait()
        self._process = None
        now_s = time.monotonic()
        lived_s = now_s - self._started_s
        self._wait_s = (
            RESTART_FIRST_S if lived_s > RESTART_MOST_S else min(2 * self._wait_s, RESTART_MOST_S)
        )
        self.start_at_s = now_s + self._wait_s
        return code


class Guard:
    """Watches one loop and one page."""

    def __init__(self, settings: Path, off: OffLine | None) -> None:
        self._settings = settings
        self._off = off
        self._loop = Child()
        self._page = Child()
        self._ready: Ready | None = None
        self._quitting = False
        self._signal_out, self._signal_in = os.pipe()
        os.set_blocking(self._signal_in, False)
        # Held open as long as this process lives; its end tells the children of our death.
        self._lifeline_out, self._lifeline_in = os.pipe()

    def on_signal(self, number: int, frame: FrameType | None) -> None:  # noqa: ARG002
        """Handle SIGTERM and SIGINT: begin to end. Only marks it; `run` does the work."""
        self._quitting = True
        os.write(self._signal_in, b"!")

    def run(self) -> int:
        """Run until told to end, or until a loop cannot start; the exit code."""
        while True:
            code = self._one_loop()
            if self._quitting or self._ready is None:
                self._page.signal(signal.SIGTERM)
                self._page.reap(QUIT_LIMIT_S)
                return code
            _say(f"the loop ended with code {code}; output off; it is started again")
            self._sleep_until(self._loop.start_at_s)
            if self._quitting:
                self._page.signal(signal.SIGTERM)
                self._page.reap(QUIT_LIMIT_S)
                return 1

    def _one_loop(self) -> int:
        """Start a loop and watch it until it is dead and its output off; its exit code."""
        beat_out, beat_in = os.pipe()
        arguments = ["-m", "daemon.service.main", "--settings", str(self._settings)]
        arguments += ["--beat", str(beat_in), "--lifeline", str(self._lifeline_out)]
        self._loop.start(arguments, (beat_in, self._lifeline_out))
        os.close(beat_in)
        try:
            return self._watch(BeatReader(beat_out))
        finally:
            os.close(beat_out)

    def _watch(self, beats: BeatReader) -> int:
        told_s: float | None = None
        last_s = time.monotonic()
        with selectors.DefaultSelector() as selector:
            selector.register(beats.fd, selectors.EVENT_READ)
            selector.register(self._signal_out, selectors.EVENT_READ)
            while True:
                limit_s = START_LIMIT_S if beats.ready is None else beats.ready.beat_limit_s
                if told_s is not None:
                    limit_s, last_s = QUIT_LIMIT_S, told_s
                left_s = last_s + limit_s - time.monotonic()
                found = [key.fd for key, _ in selector.select(max(0.0, left_s))]
                if beats.fd in found:
                    if not beats.take():
                        return self._output_off_and_reap(kill=False)
                    last_s = time.monotonic()
                    self._see_to_page(beats.ready)
                if self._signal_out in found:
                    os.read(self._signal_out, 64)
                    self._loop.signal(signal.SIGTERM)
                    told_s = time.monotonic()
                if not found:
                    return self._output_off_and_reap(kill=True)

    def _output_off_and_reap(self, *, kill: bool) -> int:
        """The loop is dead or hangs: output off first, everything else afterwards."""
        failure = None if self._off is None else self._off.send()
        if kill:
            _say("the loop gave no beat; its output was switched off and it is killed")
            self._loop.signal(signal.SIGKILL)
        if failure is not None:
            _say(f"output off by the guard failed: {failure}")
        return self._loop.reap(QUIT_LIMIT_S)

    def _see_to_page(self, ready: Ready | None) -> None:
        """Start the page once the loop is ready, and again after its death."""
        if ready is None:
            return
        if self._ready != ready:
            self._ready = ready
            where = "no page" if ready.listen is None else f"page: http://{ready.listen}"
            _say(f"ready; supply: {ready.supply}; record: {ready.record}; {where}")
        if ready.listen is None or self._page.alive or self._quitting:
            return
        if self._page.reap(0.0) != 0:
            _say("the page ended; it is started again")
        if time.monotonic() >= self._page.start_at_s:
            arguments = ["-m", "web", "--socket", ready.socket, "--record", ready.record]
            arguments += ["--listen", ready.listen, "--lifeline", str(self._lifeline_out)]
            self._page.start(arguments, (self._lifeline_out,))

    def _sleep_until(self, moment_s: float) -> None:
        with selectors.DefaultSelector() as selector:
            selector.register(self._signal_out, selectors.EVENT_READ)
            selector.select(max(0.0, moment_s - time.monotonic()))


def _say(text: str) -> None:
    sys.stderr.write(f"tankhand: {text}\n")
    sys.stderr.flush()
