"""Samples per second and processor time per sample, against a bare loop at the same supply.

The daemon runs as it ships (guard, loop, page; a run under way, everything recorded) with a period
so short that it reads without a pause. The bare loop (bare_loop.py) asks the same two questions and
writes CSV. Each in turn gets a simulator of its own with the same seed, several times over; the
table gives medians, and the ratio is the median of the ratios of neighbours in time.

Samples are counted afterwards, the daemon's in its record and the bare loop's in its file: those
within one window of time, by their own stamps.
"""

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from harness import BenchmarkError, Served, cpu_s, recorded_s, show, wait

from drivers.simulator.process import SimulatorProcess

FLAT_OUT_S = 1e-6
"""s. A period that every reading outlasts."""

WARM_UP_S = 1.5
"""s. The first readings and commits are not counted."""


@dataclass(frozen=True)
class Measured:
    """One window: samples per s, processor µs per sample, and the guard's, if there is one."""

    rate: float
    cpu_us: float
    guard_us: float = 0.0


def daemon(baud: int | None, seconds: float, page: bool) -> Measured:
    """Measure the whole daemon."""
    with (
        SimulatorProcess(paced_baud=baud, seed=1) as tank,
        Served(tank.port, FLAT_OUT_S, page=page) as served,
    ):
        served.controls.plate()
        pids = [served.pids["loop"], served.pids["guard"]]

        def finish() -> Callable[[float, float], list[float]]:
            served.controls.well()
            served.controls.stop()
            served.end()
            return lambda from_s, to_s: recorded_s(served.record, from_s, to_s)

        return _window(pids, seconds, finish)


def bare(baud: int | None, seconds: float) -> Measured:
    """Measure the bare loop."""
    script = Path(__file__).with_name("bare_loop.py")
    with (
        SimulatorProcess(paced_baud=baud, seed=1) as tank,
        tempfile.NamedTemporaryFile(suffix=".csv") as file,
        subprocess.Popen([sys.executable, script, tank.port, file.name]) as process,
    ):
        path = Path(file.name)

        def finish() -> Callable[[float, float], list[float]]:
            if process.poll() is not None:
                raise BenchmarkError(f"the bare loop ended with code {process.returncode}")
            process.kill()
            # The kill may have cut the last row; it lies behind the window.
            rows = path.read_text().splitlines()[:-1]
            stamps = [float(row.partition(",")[0]) for row in rows]
            return lambda from_s, to_s: [s for s in stamps if from_s <= s < to_s]

        wait(lambda: path.stat().st_size > 0, "the bare loop's first row", process)
        return _window([process.pid], seconds, finish)


def _window(
    pids: list[int],
    seconds: float,
    finish: Callable[[], Callable[[float, float], list[float]]],
) -> Measured:
    """Let processes work for a while; `finish` ends them and gives what looks up the stamps."""
    time.sleep(WARM_UP_S)
    from_s, before = time.monotonic(), [cpu_s(pid) for pid in pids]
    time.sleep(seconds)
    to_s, after = time.monotonic(), [cpu_s(pid) for pid in pids]
    stamps = finish()(from_s, to_s)
    if len(stamps) < 2:
        raise BenchmarkError(f"{len(stamps)} samples in {seconds:g} s")
    # Between the first and the last stamp, so that a slow line is not counted in whole samples.
    rate = (len(stamps) - 1) / (stamps[-1] - stamps[0])
    used_us = [1e6 * (b - a) / len(stamps) for a, b in zip(before, after, strict=True)]
    return Measured(rate, *used_us)


def compare(name: str, baud: int | None, options: argparse.Namespace) -> list[list[str]]:
    """Measure both in turn; the rows of the table."""
    ours, theirs = [], []
    for _ in range(options.rounds):
        theirs.append(bare(baud, options.seconds))
        ours.append(daemon(baud, options.seconds, not options.no_page))
    guard_us = statistics.median(a.guard_us for a in ours)
    return [
        _row(
            f"{name}: samples/s",
            [a.rate for a in ours],
            [b.rate for b in theirs],
            "≥ 0.9" if baud is None else "≥ 0.98",
        ),
        _row(
            f"{name}: processor µs/sample",
            [a.cpu_us for a in ours],
            [b.cpu_us for b in theirs],
            "≤ 1.2" if baud is None else "-",
        ),
        [f"{name}: the guard's besides", f"{guard_us:.1f}", "-", "-", "-", "-"],
    ]


def _row(name: str, ours: list[float], theirs: list[float], aim: str) -> list[str]:
    ratios = [a / b for a, b in zip(ours, theirs, strict=True)]
    middles = [f"{statistics.median(values):.1f}" for values in (ours, theirs)]
    spread = f"{min(ratios):.3f} to {max(ratios):.3f}"
    return [name, *middles, f"{statistics.median(ratios):.3f}", spread, aim]


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--seconds", type=float, default=10.0, help="length of a window")
    parser.add_argument("--rounds", type=int, default=5, help="windows of each")
    parser.add_argument("--no-page", action="store_true", help="without the page's process")
    parser.add_argument("--baud", type=int, default=9600, help="speed of the paced line")
    options = parser.parse_args()
    rows = compare("no line limit", None, options)
    rows += compare(f"{options.baud} baud", options.baud, options)
    show(
        "The whole daemon against a bare loop",
        ["", "daemon", "bare loop", "ratio", "ratios from", "aim"],
        rows,
        f"medians of {options.rounds} windows of {options.seconds:g} s each",
    )


if __name__ == "__main__":
    main()
