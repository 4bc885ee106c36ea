"""The guard: the parent of loop and page, and the second way to "output off".

It is small on purpose, and loads nothing but the standard library and the off line of the supply.
It has the output off before anything else starts, sees a beat from the loop after each of its
cycles, and when the loop dies or hangs it switches the output off by its own handle on the port,
before it does anything else. A loop that had been well is started again, never plating; the page is
started again whenever it ends. Before each start of a run the loop asks the guard to try its way.

It never speaks on a port that another daemon drives by right: not at the start, and not when its
own loop ends before it was ready, as one does that finds the port taken.

A service manager's watchdog is fed when the loop's beats come in and never otherwise. A guard whose
loop does not beat puts that right within `RESTORE_LIMIT_S`, output off first, or is killed.
"""

import fcntl
import os
import selectors
import signal
import subprocess
import sys
import time
from contextlib import ExitStack, suppress
from pathlib import Path
from types import FrameType
from typing import BinaryIO

from daemon.service.supervision.beat import BeatReader, Ready
from daemon.service.supervision.first_look import supply_line
from daemon.service.supervision.notify import ServiceManager
from drivers.errors import DriverError
from drivers.off import off_line
from drivers.off_line import SecondHandle

START_LIMIT_S = 120.0
"""Real s from the loop's start to its first word: imports, migrations and a slow card take time."""

QUIT_LIMIT_S = 20.0
"""Real s that the loop may take to end when it is told to: longer than it allows itself."""

KILL_LIMIT_S = 5.0
"""Real s until a killed process is gone; one that waits for a broken device may stay for ever."""

RESTART_FIRST_S = 1.0
LOOP_RESTART_MOST_S = 30.0
PAGE_RESTART_MOST_S = 300.0
"""Real s between a child's death and its next start, doubled each time it does not live longer."""

RESTORE_LIMIT_S = 15.0 + QUIT_LIMIT_S + KILL_LIMIT_S + LOOP_RESTART_MOST_S + START_LIMIT_S
"""Real s from a loop's death to its successor's first word at most: output off, which may have to
connect a socket; its end, a killed one's included; the wait before the next; its start."""

STOP_LIMIT_S = 2 * (QUIT_LIMIT_S + KILL_LIMIT_S)
"""Real s that an end in good order takes at most: the loop's, then the page's."""

FAILED = 1
"""Exit code when there is no loop to give one."""


def serve(settings: Path) -> int:
    """Guard the daemon of a settings file until SIGTERM or SIGINT; returns the exit code.

    It is 0 after an orderly end; a loop that ends before it was ever ready gives its own.
    """
    with ExitStack() as stack:
        with suppress(OSError):  # the loop says what is wrong with the file
            file = stack.enter_context(settings.open("rb"))
            if not _is_first(file):
                _say(f"{settings}: another daemon runs with these settings")
                return FAILED
        guard = Guard(settings, SecondWay(settings), ServiceManager(os.environ))
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, guard.on_signal)
        return guard.run()


def _is_first(file: BinaryIO) -> bool:
    """Whether no other guard has this file; it is then ours as long as it is open."""
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


class SecondWay:
    """The second way to "output off": our own handle on the supply's port.

    Where the settings do not tell it, nothing is done: the loop reads the same settings in full,
    opens the same port, and says what is wrong.
    """

    def __init__(self, settings: Path) -> None:
        self._off: SecondHandle | None = None
        line = supply_line(settings)
        if line is None:
            return
        # A socket is opened only when it is needed: many supplies take one connection.
        self._keep_open = not line.port.startswith("socket://")
        with suppress(DriverError):
            self._off = off_line(line.port, line.description)
        self.off_if_alone()

    def off_if_alone(self) -> None:
        """Output off while no loop of ours drives the supply, unless another daemon does."""
        if self._off is not None and self._off.send_alone() is None and self._keep_open:
            with suppress(DriverError):
                self._off.open()

    def off(self) -> None:
        """Output off, whatever our loop is about."""
        failure = None if self._off is None else self._off.send()
        if failure is not None:
            _say(f"output off by the guard failed: {failure}")

    def prove(self) -> str | None:
        """Try the way while our loop leaves the line alone; None if it works, otherwise why not."""
        if self._off is None:
            return "the settings do not tell it the supply's port and words"
        failure = self._off.prove()
        self.give_back()
        return failure

    def give_back(self) -> None:
        """Leave a socket to the loop, which may get no second connection."""
        if self._off is not None and not self._keep_open:
            self._off.close()


class Child:
    """A process of ours that is started again after its death, later each time.

    `started` until it is reaped; then `start_at_s` is the moment for the next start.
    """

    def __init__(self, longest_wait_s: float) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._started_s = 0.0
        self._longest_wait_s = longest_wait_s
        self._wait_s = RESTART_FIRST_S
        self.started = False
        self.start_at_s = 0.0

    def start(self, arguments: list[str], fds: tuple[int, ...]) -> None:
        """Start it, in a session of its own: a terminal's Ctrl-C is for the guard to hand on.

        A machine that has no process left to give is told of; `reap` then sets the next try.
        """
        command = [sys.executable, *arguments]
        self.started = True
        self._started_s = time.monotonic()
        try:
            self._process = subprocess.Popen(  # noqa: S603 - our own interpreter and modules
                command, pass_fds=fds, start_new_session=True
            )
        except OSError as error:
            _say(f"{arguments[1]} cannot be started: {error}")

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
        process, self._process = self._process, None
        self.started = False
        code = FAILED if process is None else _code(process, limit_s)
        now_s = time.monotonic()
        lived_s = now_s - self._started_s
        if lived_s > self._longest_wait_s:
            self._wait_s = RESTART_FIRST_S
        self.start_at_s = now_s + self._wait_s
        self._wait_s = min(2 * self._wait_s, self._longest_wait_s)
        return code


def _code(process: subprocess.Popen[bytes], limit_s: float) -> int:
    try:
        return process.wait(limit_s)
    except subprocess.TimeoutExpired:
        process.kill()
    with suppress(subprocess.TimeoutExpired):
        process.wait(KILL_LIMIT_S)
    return -signal.SIGKILL


class Guard:
    """Watches one loop and one page."""

    def __init__(self, settings: Path, second_way: SecondWay, manager: ServiceManager) -> None:
        self._settings = settings
        self._second_way = second_way
        self._manager = manager
        self._loop = Child(LOOP_RESTART_MOST_S)
        self._page = Child(PAGE_RESTART_MOST_S)
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
        code = self._one_loop()
        while not self._quitting and self._ready is not None:
            _say(f"the loop ended with code {code}; output off; it is started again")
            self._sleep_until(self._loop.start_at_s)
            if self._quitting:
                break
            code = self._one_loop()
        if self._page.started:
            self._page.signal(signal.SIGTERM)
            self._page.reap(QUIT_LIMIT_S)
        if code >= 0:
            return code
        # A loop that dies of our SIGTERM was not so far yet as to take it in good order.
        return 0 if self._quitting and code == -signal.SIGTERM else FAILED

    def _one_loop(self) -> int:
        """Start a loop and watch it until it is dead and its output off; its exit code."""
        self._second_way.give_back()
        beat_out, beat_in = os.pipe()
        answers_out, answers_in = os.pipe()
        os.set_blocking(answers_in, False)
        arguments = ["-m", "daemon.service.main", "--settings", str(self._settings)]
        arguments += ["--beat", str(beat_in), "--answers", str(answers_out)]
        arguments += ["--lifeline", str(self._lifeline_out)]
        self._loop.start(arguments, (beat_in, answers_out, self._lifeline_out))
        os.close(beat_in)
        os.close(answers_out)
        try:
            return self._watch(BeatReader(beat_out), answers_in)
        finally:
            os.close(beat_out)
            os.close(answers_in)

    def _watch(self, beats: BeatReader, answers: int) -> int:
        """Wait for the loop's end or silence. One that is told to end may be silent: it unwinds."""
        told_s: float | None = None
        limit_s = START_LIMIT_S
        with selectors.DefaultSelector() as selector:
            selector.register(beats.fd, selectors.EVENT_READ)
            selector.register(self._signal_out, selectors.EVENT_READ)
            while True:
                # Once more without waiting: a guard that was held up itself has beats to read.
                ready = selector.select(limit_s) or selector.select(0)
                found = [key.fd for key, _ in ready]
                if beats.fd in found:
                    if not beats.take():
                        return self._bury(beats.ready)
                    if beats.ready is not None:
                        limit_s = beats.ready.beat_limit_s
                        self._see_to_page(beats.ready)
                        self._report(beats)
                    if beats.question:
                        self._answer(beats.question, answers)
                if self._signal_out in found:
                    os.read(self._signal_out, 64)
                    self._manager.stopping(STOP_LIMIT_S)
                    self._loop.signal(signal.SIGTERM)
                    told_s = told_s or time.monotonic()
                    limit_s = min(limit_s, QUIT_LIMIT_S)
                if found:
                    continue
                left_s = 0.0 if told_s is None else told_s + QUIT_LIMIT_S - time.monotonic()
                if left_s <= 0:
                    return self._bury(beats.ready, hangs=True)
                if beats.ready is not None:
                    self._second_way.off()
                limit_s = left_s

    def _bury(self, ready: Ready | None, *, hangs: bool = False) -> int:
        """The loop is dead or hangs: output off first, everything else afterwards; its exit code.

        One that was never ready has switched nothing on, and may have found the port taken.
        """
        if hangs:
            self._loop.signal(signal.SIGKILL)
        if ready is not None:
            self._second_way.off()
        if hangs:
            _say("the loop gave no beat; it was killed, and its output switched off")
        if not self._quitting:
            self._manager.restoring(
                "the loop died; output off; it is started again", RESTORE_LIMIT_S
            )
        code = self._loop.reap(QUIT_LIMIT_S)
        if ready is None:
            self._second_way.off_if_alone()
        elif hangs:
            # What it was still writing when it was killed has gone out before this.
            self._second_way.off()
        return code

    def _report(self, beats: BeatReader) -> None:
        """Tell the service manager what this loop's word and beats prove."""
        if beats.ready is not None and not self._manager.knows_ready and not self._quitting:
            self._manager.ready(f"supply: {beats.ready.supply}")
        if beats.beaten:
            self._manager.well()

    def _answer(self, question: bytes, answers: int) -> None:
        """Try the second way, as the loop asks, and tell it what came of that."""
        failure = self._second_way.prove() or ""
        if failure:
            _say(f"the guard's own way to output off does not work: {failure}")
        # A loop that is dead by now asks nothing any more.
        with suppress(BrokenPipeError, BlockingIOError):
            os.write(answers, question + failure.replace("\n", " ").encode() + b"\n")

    def _see_to_page(self, ready: Ready) -> None:
        """Start the page once the loop is ready, and again after its death."""
        if self._ready != ready:
            self._ready = ready
            where = "no page" if ready.listen is None else f"page: http://{ready.listen}"
            _say(f"ready; supply: {ready.supply}; record: {ready.record}; {where}")
        if ready.listen is None or self._page.alive or self._quitting:
            return
        if self._page.started and self._page.reap(0.0) != 0:
            _say("the page ended; it is started again")
        if time.monotonic() >= self._page.start_at_s:
            arguments = ["-m", "web", "--socket", ready.socket, "--record", ready.record]
            arguments += ["--listen", ready.listen, *ready.page]
            arguments += ["--lifeline", str(self._lifeline_out)]
            self._page.start(arguments, (self._lifeline_out,))

    def _sleep_until(self, moment_s: float) -> None:
        with selectors.DefaultSelector() as selector:
            selector.register(self._signal_out, selectors.EVENT_READ)
            selector.select(max(0.0, moment_s - time.monotonic()))


def _say(text: str) -> None:
    with suppress(OSError):  # nobody may listen any more
        sys.stderr.write(f"tankhand: {text}\n")
        sys.stderr.flush()
