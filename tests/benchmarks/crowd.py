"""How soon 50 open pages are answered, and whether the loop notices them.

Loop and page are those of the daemon, in processes of their own, and plate on a simulated tank at
20 readings a second; all threads of the page's process are bound to one core. Windows with nobody
at the page and windows with all clients take turns within the one run. Before the first there is
some time of plating, so that a chart has something to draw (`--before`).

- Answers: from asking until the whole answer is read, over loopback, as page_crowd.py asks.
- Lateness of ticks, when the supply was asked, and of decisions, as lateness.py tells them; the
  grid's phase is that of a window's own earliest ticks.

`--fifo` puts the loop under SCHED_FIFO, as its systemd unit does, and the supply above it; page and
clients get a nice of -15, so that what else this machine does is nearly out of the figures. It
takes root, or CAP_SYS_NICE. Never all of them under SCHED_FIFO: the kernel's own worker, which
hands the bytes of a serial line on, would wait behind the page.
"""

import argparse
import csv
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

from harness import (
    PATIENCE_S,
    BenchmarkError,
    Controls,
    accepts,
    cpu_s,
    free_address,
    show,
    wait,
    write_settings,
)
from lateness import (
    SUPPLY_PRIORITY,
    Configuration,
    lateness,
    phase_s,
    start_loop,
    start_page,
)

from drivers.simulator.process import SimulatorProcess

PERIOD_S = 0.05
NICE = -15
Window = tuple[float, float]


def percentile(values: list[float], percent: float) -> float:
    """The nearest rank."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(len(ordered) * percent / 100))]


def bind(pid: int, core: int) -> None:
    """Bind all threads of a process to one core; those that it starts later follow."""
    for thread in Path(f"/proc/{pid}/task").iterdir():
        os.sched_setaffinity(int(thread.name), {core})


def hurry(pid: int) -> None:
    """Have a process come before others of ordinary priority; threads it starts later follow."""
    for thread in Path(f"/proc/{pid}/task").iterdir():
        os.setpriority(os.PRIO_PROCESS, int(thread.name), NICE)


def asked(port: str, options: argparse.Namespace) -> dict[str, list[float]]:
    """Let so many clients follow the page."""
    script = Path(__file__).with_name("page_crowd.py")
    command = [sys.executable, str(script), port, str(options.seconds), str(options.clients)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as crowd:
        if options.fifo:
            hurry(crowd.pid)
        said, _ = crowd.communicate(timeout=options.seconds + PATIENCE_S)
    if crowd.returncode:
        raise BenchmarkError(f"the clients ended with code {crowd.returncode}")
    return dict(json.loads(said))


def late_s(moments: list[tuple[float, float]], windows: list[Window]) -> tuple[list[float], ...]:
    """How late the ticks and the decisions of these windows were, s."""
    ticks_s: list[float] = []
    decisions_s: list[float] = []
    for from_s, to_s in windows:
        rows = [row for row in moments if from_s <= row[0] < to_s]
        phase = phase_s([asked_s for asked_s, _ in rows], PERIOD_S)
        found = lateness(rows, phase, PERIOD_S)
        ticks_s += found[0]
        decisions_s += found[1]
    return ticks_s, decisions_s


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=60.0, help="of each window (60)")
    parser.add_argument("--rounds", type=int, default=5, help="windows of each kind (5)")
    parser.add_argument("--before", type=float, default=60.0, help="s of plating before (60)")
    parser.add_argument("--fifo", action="store_true", help="leave other programs out of it")
    options = parser.parse_args()
    times: dict[str, list[float]] = {"polls": [], "charts": []}
    quiet: list[Window] = []
    crowded: list[Window] = []
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="tankhand-")))
        tank = stack.enter_context(SimulatorProcess(seed=1))
        settings = write_settings(folder, tank.port, PERIOD_S, free_address())
        noted = folder / "moments.csv"
        what = Configuration("", fifo=options.fifo, loaded=False)
        loop, ready = start_loop(what, settings, noted, folder, options, stack)
        page = start_page(ready, stack)
        controls = Controls(folder / "control.sock")
        wait(controls.answers, "the loop to have read", loop)
        wait(lambda: accepts(ready.listen or ""), "the page", loop)
        bind(page, max(os.sched_getaffinity(0)))
        if options.fifo:
            os.sched_setscheduler(tank.pid, os.SCHED_FIFO, os.sched_param(SUPPLY_PRIORITY))
            hurry(page)
        controls.plate()
        time.sleep(options.before)
        port = (ready.listen or "").rpartition(":")[2]
        used_s = 0.0
        for _ in range(options.rounds):
            began_s = time.monotonic()
            time.sleep(options.seconds)
            quiet.append((began_s, time.monotonic()))
            before_s, began_s = cpu_s(page), time.monotonic()
            for kind, some in asked(port, options).items():
                times[kind] += some
            crowded.append((began_s, time.monotonic()))
            used_s += cpu_s(page) - before_s
        controls.well()
        loop.send_signal(signal.SIGTERM)
        loop.wait(PATIENCE_S)
        with noted.open(newline="") as file:
            moments = [(float(at_s), float(decided_s)) for at_s, decided_s in csv.reader(file)]
    late = {
        f"{kind}, {who}": some
        for who, windows in (("nobody", quiet), ("all clients", crowded))
        for kind, some in zip(("ticks", "decisions"), late_s(moments, windows), strict=True)
    }
    busy = used_s / sum(to_s - from_s for from_s, to_s in crowded)
    rows = [
        [kind, str(len(some)), *(f"{1e3 * percentile(some, p):.1f}" for p in (50, 99, 100))]
        for kind, some in times.items()
    ]
    show(
        f"Answers to {options.clients} clients, ms",
        ["", "answers", "50 %", "99 %", "most"],
        rows,
        f"aim: 99 % ≤ 100 ms. The page used {busy:.0%} of its core",
    )
    rows = [
        [kind, str(len(some)), *(f"{1e3 * percentile(some, p):.2f}" for p in (50, 99, 99.9, 100))]
        for kind, some in late.items()
    ]
    show(
        "Lateness of the loop, ms",
        ["", "times", "50 %", "99 %", "99.9 %", "most"],
        rows,
        "aim: no later with all clients than with nobody",
    )


if __name__ == "__main__":
    main()
