"""How long it takes from a loop's death, or its standstill, to "output off" on the wire.

The daemon as it ships plates on a simulated tank; this script taps the line between the two and
notes when the bytes of "output off" pass. Each trial has a daemon of its own, for one whose loops
die again and again waits longer each time before it starts the next. The loop's process is killed
(SIGKILL) or stopped (SIGSTOP) at a random moment of its period, and the time runs from just before
that to the first "output off" that passes afterwards.

- killed: the guard sees the end of the beat pipe. The aim is 20 ms.
- hung: the guard misses the beats. The aim is the beat limit and one tick.
- floor: what a bare program needs on the same line: it waits for the end of a killed child's pipe
  and writes the same bytes. A large child has loaded what the loop has: the kernel gives a dead
  process's memory back first and closes its pipes afterwards, so that its size is time.

With "FIFO" the loop's threads have the real-time priority that the systemd unit allows them: the
kernel's work on a dead process is done at that process's priority.
"""

import argparse
import contextlib
import os
import random
import select
import signal
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path
from types import TracebackType
from typing import Self

import serial
from harness import PATIENCE_S, BenchmarkError, Served, may_be_fifo, show, wait

from daemon.service import realtime
from daemon.service.settings.file import GuardTable
from drivers.simulator.process import SimulatorProcess

OFF = b"OUTP OFF\n"
PERIOD_S = 0.1
KILLED_AIM_S = 0.020
HUNG_AIM_S = GuardTable().beat_limit + PERIOD_S

UNDER_WAY_S = 0.5
"""s of plating before the loop is killed: it is in its stride then."""


class Tap:
    """A line between a daemon, which opens `port`, and a supply; notes when "output off" passes."""

    def __init__(self, supply_port: str) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self._supply = serial.Serial(supply_port, timeout=0)
        self._end_out, self._end_in = os.pipe()
        self._passed = threading.Condition()
        self._off_s: list[float] = []
        self._thread = threading.Thread(target=self._pass_on)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        os.write(self._end_in, b"x")
        self._thread.join()
        self._supply.close()
        for fd in (self._master, self._slave, self._end_in, self._end_out):
            os.close(fd)

    def first_off_s(self, since_s: float) -> float:
        """When the first "output off" since this moment passed; both s, monotonic."""

        def found() -> float | None:
            return next((at_s for at_s in self._off_s if at_s >= since_s), None)

        with self._passed:
            at_s = self._passed.wait_for(found, PATIENCE_S)
        if at_s is None:
            raise BenchmarkError(f"no output off within {PATIENCE_S:g} s")
        return at_s

    def write(self, data: bytes) -> None:
        """Say something as the daemon would."""
        os.write(self._slave, data)

    def _pass_on(self) -> None:
        supply = self._supply.fileno()
        heard = b""
        while True:
            ready = select.select([self._master, supply, self._end_out], [], [])[0]
            if self._end_out in ready:
                return
            if self._master in ready:
                data, at_s = os.read(self._master, 4096), time.monotonic()
                heard += data
                if OFF in heard:
                    with self._passed:
                        self._off_s.append(at_s)
                        self._passed.notify()
                    heard = heard[heard.rindex(OFF) + len(OFF) :]
                os.write(supply, data)
            if supply in ready:
                os.write(self._master, os.read(supply, 4096))


def of_daemon(number: int, trials: int, *, fifo: bool = False) -> list[float]:
    """From this signal to a plating loop to "output off", s, in so many trials."""
    moments = random.Random(number)
    found = []
    for _ in range(trials):
        with (
            SimulatorProcess(seed=1) as supply,
            Tap(supply.port) as tap,
            Served(tap.port, PERIOD_S, page=False) as daemon,
        ):
            daemon.controls.plate()
            if fifo:
                make_fifo(daemon.pids["loop"])
            time.sleep(UNDER_WAY_S + moments.uniform(0, PERIOD_S))
            daemon.controls.well()
            from_s = time.monotonic()
            os.kill(daemon.pids["loop"], number)
            found.append(tap.first_off_s(from_s) - from_s)
            wait(lambda: supply.truth().current_a < 1e-3, "the current to be gone")
    return found


def make_fifo(pid: int) -> None:
    """Give all threads of a process what `daemon.service.realtime` asks for under the unit."""
    for thread in Path(f"/proc/{pid}/task").iterdir():
        # One of an asker's threads may have ended since it was listed.
        with contextlib.suppress(ProcessLookupError):
            os.sched_setscheduler(
                int(thread.name), os.SCHED_FIFO, os.sched_param(realtime.PRIORITY)
            )


def of_bare_program(trials: int, loaded: str = "os") -> list[float]:
    """The floor: from a child's death to the same bytes, written by whoever waits for its pipe.

    `loaded` is the module that the child has loaded.
    """
    code = f"import os, time, {loaded}; os.write({{}}, b'.'); time.sleep(60)"
    found = []
    with SimulatorProcess(seed=1) as supply, Tap(supply.port) as tap:
        for _ in range(trials):
            out, into = os.pipe()
            command = [sys.executable, "-c", code.format(into)]
            child = subprocess.Popen(command, pass_fds=(into,))
            os.close(into)
            os.read(out, 1)

            def act(out: int = out) -> None:
                os.read(out, 1)
                tap.write(b"\n" + OFF)

            waiting = threading.Thread(target=act)
            waiting.start()
            time.sleep(0.05)
            from_s = time.monotonic()
            child.kill()
            found.append(tap.first_off_s(from_s) - from_s)
            waiting.join()
            child.wait()
            os.close(out)
    return found


def row(name: str, found: list[float], aim_s: float | None) -> list[str]:
    """Figures of one kind of trial, in ms."""
    ordered, last = sorted(found), len(found) - 1
    places = (0, len(found) // 2, min(last, int(0.99 * len(found))), last)
    cells = [f"{1e3 * ordered[place]:.1f}" for place in places]
    aim = "-" if aim_s is None else f"≤ {1e3 * aim_s:.0f}"
    within = "-" if aim_s is None else f"{sum(value <= aim_s for value in found)} of {len(found)}"
    return [name, str(len(found)), *cells, aim, within]


def main() -> int:
    """Measure and print; 0, since figures are for people to judge."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--killed", type=int, default=60, help="trials with a killed loop")
    parser.add_argument("--hung", type=int, default=30, help="trials with a stopped loop")
    options = parser.parse_args()
    rows = [
        row("floor, small child", of_bare_program(options.killed), None),
        row("floor, large child", of_bare_program(options.killed, "daemon.service.main"), None),
        row("killed", of_daemon(signal.SIGKILL, options.killed), KILLED_AIM_S),
    ]
    if may_be_fifo():
        found = of_daemon(signal.SIGKILL, options.killed, fifo=True)
        rows.append(row("killed, FIFO", found, KILLED_AIM_S))
    rows.append(row("hung", of_daemon(signal.SIGSTOP, options.hung), HUNG_AIM_S))
    columns = ["loop", "trials", "least", "median", "99 %", "most", "aim", "within"]
    note = (
        f"beat limit {1e3 * GuardTable().beat_limit:.0f} ms, period {1e3 * PERIOD_S:.0f} ms; "
        "processes of ordinary priority, but the loop under FIFO where that is said"
    )
    show('To "output off" on the wire, ms', columns, rows, note)
    return 0


if __name__ == "__main__":
    sys.exit(main())
