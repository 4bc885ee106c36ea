"""How late the loop's ticks are at 20 Hz while the page is saturated and the disk stalls.

Configurations, one after the other, in several rounds that are pooled:

- page inside: the page in a thread of the loop's process, as a simple program has it: the baseline;
- own processes: loop and page as the daemon has them;
- own processes, FIFO: the loop under SCHED_FIFO besides, as under its systemd unit;
- quiet: own processes, nobody at the page, the disk as it is: the floor.

In all but the last, four connections ask the page flat out (page_load.py), and every fsync takes
longer, some much longer (slow_disk.c). A run is under way and recorded in all of them. The guard is
left out: it does nothing but wait for beats, which this script reads in its stead.

How a tick's lateness is told: the loop reads on an absolute grid, and watched_loop.py notes when
it asked. After a reading the next one is due at the next point of the grid, so its lateness is its
moment less that point; a point that was passed over, as the supply's answer before it took longer
than a period, makes the next reading a whole period late. The daemon does not tell the grid's
phase; it is fitted as the earliest that a reading came in the seconds before the load begins. The
moment of decision is the end of the cycle that the reading went through: the exchange on the line
and the hand-over included.

The simulated supply runs under SCHED_FIFO in all configurations where that is allowed, since it
stands for a device that does not share our processor.
"""

import argparse
import csv
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from harness import (
    PATIENCE_S,
    BenchmarkError,
    Controls,
    accepts,
    free_address,
    may_be_fifo,
    show,
    slow_disk,
    wait,
    write_settings,
)

from daemon.service.supervision.beat import BeatReader, Ready
from drivers.simulator.process import SimulatorProcess

HERE = Path(__file__).parent
LOOP_PRIORITY, SUPPLY_PRIORITY = 10, 20
SETTLE_S = 3.0
"""s of quiet before the load begins, and of load before the first tick that counts."""

SLACK = 0.02
"""Share of a period by which a reading may be early against the fitted grid."""


@dataclass
class Configuration:
    """One way to run loop and page, and what was measured: lateness of ticks and decisions, s."""

    name: str
    page_inside: bool = False
    fifo: bool = False
    loaded: bool = True
    ticks_s: list[float] = field(default_factory=list)
    decisions_s: list[float] = field(default_factory=list)
    answers: int = 0


CONFIGURATIONS = {
    "inside": Configuration("page inside", page_inside=True),
    "own": Configuration("own processes"),
    "fifo": Configuration("own processes, FIFO", fifo=True),
    "quiet": Configuration("quiet", loaded=False),
}


def phase_s(asked_s: list[float], period_s: float) -> float:
    """The grid's phase: the earliest place in the period at which quiet readings were asked for."""
    # On a circle the earliest is the one after the widest gap.
    rests = sorted(moment_s % period_s for moment_s in asked_s)
    gaps = [b - a for a, b in zip([rests[-1] - period_s, *rests], rests, strict=False)]
    return rests[gaps.index(max(gaps))]


def lateness(
    moments: list[tuple[float, float]], phase_s: float, period_s: float
) -> tuple[list[float], list[float]]:
    """How late each reading but the first was asked for and decided on, s.

    `moments` are pairs of both moments, s, in order.
    """
    ticks_s, decisions_s = [], []
    for (before_s, _), (asked_s, decided_s) in pairwise(moments):
        # A reading may come a little before the earliest of the quiet ones.
        point = (before_s - phase_s + SLACK * period_s) // period_s
        due_s = phase_s + (point + 1) * period_s
        ticks_s.append(asked_s - due_s)
        decisions_s.append(decided_s - due_s)
    return ticks_s, decisions_s


def measure(what: Configuration, ticks: int, options: argparse.Namespace, shim: Path) -> None:
    """Run one configuration for so many ticks and add what was measured to it."""
    period_s = 1.0 / options.rate
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="tankhand-")))
        tank = stack.enter_context(SimulatorProcess(seed=1))
        if options.fifo_allowed:
            os.sched_setscheduler(tank.pid, os.SCHED_FIFO, os.sched_param(SUPPLY_PRIORITY))
        settings = write_settings(folder, tank.port, period_s, free_address())
        moments = folder / "moments.csv"
        loop, ready = start_loop(what, settings, moments, shim, options, stack)
        if not what.page_inside:
            start_page(ready, stack)
        controls = Controls(folder / "control.sock")
        wait(controls.answers, "the loop to have read", loop)
        wait(lambda: accepts(ready.listen or ""), "the page", loop)
        controls.plate()
        time.sleep(1.0)
        quiet_s = time.monotonic()
        time.sleep(SETTLE_S)
        seconds = ticks * period_s
        load_s = time.monotonic()
        load = _start_load(ready, SETTLE_S + seconds + 1.0) if what.loaded else None
        time.sleep(SETTLE_S)
        from_s = time.monotonic()
        time.sleep(seconds)
        to_s = time.monotonic()
        if load is not None:
            said, _ = load.communicate(timeout=PATIENCE_S)
            if load.returncode:
                raise BenchmarkError(f"the page's load ended with code {load.returncode}")
            what.answers += int(said)
        controls.well()
        loop.send_signal(signal.SIGTERM)
        loop.wait(PATIENCE_S)
        with moments.open(newline="") as file:
            rows = [(float(asked), float(decided)) for asked, decided in csv.reader(file)]
    phase = phase_s([asked for asked, _ in rows if quiet_s <= asked < load_s], period_s)
    found = lateness([row for row in rows if from_s <= row[0] < to_s], phase, period_s)
    what.ticks_s += found[0]
    what.decisions_s += found[1]


def start_loop(
    what: Configuration,
    settings: Path,
    moments: Path,
    shim: Path,
    options: argparse.Namespace,
    stack: ExitStack,
) -> tuple[subprocess.Popen[bytes], Ready]:
    """A configuration's loop, up; its beats are read from now on, as the guard would."""
    beat_out, beat_in = os.pipe()
    command = [sys.executable, str(HERE / "watched_loop.py"), "--settings", str(settings)]
    command += ["--beat", str(beat_in), "--moments", str(moments)]
    command += ["--page-inside"] if what.page_inside else []
    command += ["--fifo", str(LOOP_PRIORITY)] if what.fifo else []
    environment = os.environ.copy()
    if what.loaded:
        environment |= {
            "LD_PRELOAD": str(shim),
            "SLOW_DISK_MS": str(options.sync_ms),
            "SLOW_DISK_STALL_MS": str(options.stall_ms),
            "SLOW_DISK_EVERY": str(options.stall_every),
        }
    loop = subprocess.Popen(command, pass_fds=(beat_in,), env=environment)
    os.close(beat_in)
    stack.callback(_kill, loop)
    beats = BeatReader(beat_out)

    def drain() -> None:
        while beats.take():
            pass
        os.close(beat_out)

    threading.Thread(target=drain, daemon=True).start()
    wait(lambda: beats.ready is not None, "the loop to be ready", loop)
    if beats.ready is None:
        raise BenchmarkError("the loop ended")
    return loop, beats.ready


def start_page(ready: Ready, stack: ExitStack) -> int:
    """The page's process, which ends with the stack; its number."""
    command = [sys.executable, "-m", "web", "--socket", ready.socket, "--record", ready.record]
    command += ["--listen", ready.listen or ""]
    # Under load its server tells of every request that has to wait.
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    page = subprocess.Popen(command, **quiet)
    stack.callback(_kill, page)
    return page.pid


def _start_load(ready: Ready, seconds: float) -> subprocess.Popen[str]:
    port = (ready.listen or "").rpartition(":")[2]
    command = [sys.executable, str(HERE / "page_load.py"), port, str(seconds)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def _kill(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()


def _percentile(values: list[float], percent: float) -> float:
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(len(ordered) * percent / 100))]


def _table(title: str, chosen: list[Configuration], kind: str, period_s: float, note: str) -> None:
    """Print the lateness of one kind, `ticks_s` or `decisions_s`, each against the baseline's."""
    rows = []
    for what in chosen:
        values = getattr(what, kind)
        base = getattr(CONFIGURATIONS["inside"], kind)
        figures = [_percentile(values, 50), _percentile(values, 99), max(values)]
        cells = [f"{1e3 * figure:.2f}" for figure in figures]
        if what.page_inside or not base:
            cells += ["-", "-"]
        else:
            cells.append(f"{_percentile(base, 99) / figures[1]:.1f}×")
            cells.append(f"{max(base) / figures[2]:.1f}×")
        cells.append(str(sum(late_s > period_s / 10 for late_s in values)))
        cells.append(f"{what.answers / (len(values) * period_s):.0f}")
        rows.append([what.name, str(len(values)), *cells])
    columns = ["", "ticks", "50 %", "99 %", "most", "99 % better", "most better", "> period/10"]
    show(title, [*columns, "answers/s"], rows, note)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--ticks", type=int, default=20_000, help="ticks of each configuration")
    parser.add_argument("--rounds", type=int, default=4, help="parts they are measured in")
    parser.add_argument("--rate", type=float, default=20.0, help="ticks per second")
    parser.add_argument("--sync-ms", type=int, default=30, help="what every fsync takes longer")
    parser.add_argument("--stall-ms", type=int, default=400, help="what a stalled fsync takes")
    parser.add_argument("--stall-every", type=int, default=5, help="which fsync stalls")
    parser.add_argument(
        "--only", nargs="+", choices=CONFIGURATIONS, default=list(CONFIGURATIONS), metavar="NAME"
    )
    options = parser.parse_args()
    options.fifo_allowed = may_be_fifo()
    chosen = [
        what
        for name, what in CONFIGURATIONS.items()
        if name in options.only and (options.fifo_allowed or not what.fifo)
    ]
    with tempfile.TemporaryDirectory(prefix="tankhand-") as folder:
        shim = slow_disk(Path(folder))
        for _ in range(options.rounds):
            for what in chosen:
                measure(what, options.ticks // options.rounds, options, shim)
    fifo = "" if options.fifo_allowed else "; no SCHED_FIFO, which is not allowed here"
    note = (
        f"fsync +{options.sync_ms} ms, each {options.stall_every}th {options.stall_ms} ms; "
        f"aims: 99 % ≤ 1 ms, most ≤ period/10, 50× better than the page inside{fifo}"
    )
    for kind, name in (("ticks_s", "ticks"), ("decisions_s", "decisions, the exchange included")):
        title = f"Lateness of {name} at {options.rate:g} Hz, ms"
        _table(title, chosen, kind, 1.0 / options.rate, note)


if __name__ == "__main__":
    main()
