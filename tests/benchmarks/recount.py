"""`tankhand recount` on a long log: rows per second and peak memory, against a bare csv loop.

The bare loop reads the same file with the csv module and adds up trapezoids, nothing else: no gap,
no direction, no doubt, no row that cannot be read. Both run as processes of their own, in turn;
time is the processor's (user and system), which other programs disturb less than the clock's.
Start-up is part of it, as for those who wait. Peak memory is the resident set's greatest size.

The log is a current that wanders about 2 A with noise, a row each 100 ms with a little jitter; in
seconds, and with ISO 8601 stamps. Both sums are compared, so that no loop is fast by not counting.
"""

import argparse
import os
import random
import re
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from harness import BenchmarkError, show

BARE = """
import csv, sys
from datetime import datetime
seconds = {read}
with open(sys.argv[1], newline="") as file:
    reader = csv.reader(file)
    next(reader)
    row = next(reader)
    last_s, last_a = seconds(row[0]), float(row[1])
    charge_as = 0.0
    for row in reader:
        now_s, now_a = seconds(row[0]), float(row[1])
        charge_as += (last_a + now_a) * (now_s - last_s) / 2
        last_s, last_a = now_s, now_a
print("net", charge_as / 3600)
"""
LOOK_EVERY_S = 0.02
READ = {"seconds": "float", "stamps": "lambda cell: datetime.fromisoformat(cell).timestamp()"}


@dataclass(frozen=True)
class Measured:
    """One process: processor time, s, peak memory, MB, and the charge it found, A·h."""

    cpu_s: float
    peak_mb: float
    charge_ah: float


def write_log(path: Path, rows: int, form: str) -> None:
    """Write a log of so many rows, times in `form`."""
    dice = random.Random(1)
    start = datetime(2026, 1, 1)  # noqa: DTZ001  as loggers write it
    with path.open("w") as file:
        file.write("time,current\n")
        current_a = 2.0
        for number in range(rows):
            now_s = round(number / 10 + dice.random() / 50, 3)
            current_a += 0.001 * (2.0 - current_a) + 0.01 * (dice.random() - 0.5)
            stamp = (start + timedelta(seconds=now_s)).isoformat(timespec="milliseconds")
            file.write(f"{now_s if form == 'seconds' else stamp},{current_a:.4f}\n")


def measured(command: list[str]) -> Measured:
    """Run a process to its end, looking at its peak memory every now and then."""
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        peak_kb, pid = 0, 0
        # `ru_maxrss` would do, but it begins with the memory of the process that starts this one.
        while not pid:
            peak_kb = max(peak_kb, _peak_kb(process.pid))
            time.sleep(LOOK_EVERY_S)
            pid, status, usage = os.wait4(process.pid, os.WNOHANG)
        process.returncode = os.waitstatus_to_exitcode(status)
        text = process.stdout.read() if process.stdout else ""
    if process.returncode:
        raise BenchmarkError(f"{command[:4]} ended with code {process.returncode}")
    (net,) = [line for line in text.splitlines() if line.startswith("net")]
    return Measured(usage.ru_utime + usage.ru_stime, peak_kb / 1024, float(net.split()[1]))


def _peak_kb(pid: int) -> int:
    status = Path(f"/proc/{pid}/status").read_text()
    found = re.search(r"VmHWM:\s+([0-9]+) kB", status)
    return int(found[1]) if found else 0  # a process that has just ended has none


def compare(path: Path, form: str, options: argparse.Namespace) -> list[list[str]]:
    """Measure both in turn; the rows of the table."""
    bare_command = [sys.executable, "-c", BARE.format(read=READ[form]), str(path)]
    our_command = [
        sys.executable, "-m", "daemon.service.commands.cli", "recount", str(path),
        "--time-column", "time",
        "--current-column", "current", "--current-unit", "A", "--current-is", "sample",
        *(["--time-unit", "s"] if form == "seconds" else []),
    ]  # fmt: skip
    ours, theirs = [], []
    for _ in range(options.rounds):
        theirs.append(measured(bare_command))
        ours.append(measured(our_command))
        if abs(ours[-1].charge_ah / theirs[-1].charge_ah - 1) > 1e-3:
            raise BenchmarkError(
                f"{ours[-1].charge_ah} Ah, {theirs[-1].charge_ah} Ah by the bare loop"
            )
    rates = [[options.rows / m.cpu_s / 1e3 for m in found] for found in (ours, theirs)]
    peaks = [[m.peak_mb for m in found] for found in (ours, theirs)]
    return [
        _row(f"{form}: thousand rows/s", *rates),
        _row(f"{form}: peak memory, MB", *peaks),
    ]


def _row(name: str, ours: list[float], theirs: list[float]) -> list[str]:
    ratios = [a / b for a, b in zip(ours, theirs, strict=True)]
    middles = [f"{statistics.median(values):.1f}" for values in (ours, theirs)]
    spread = f"{min(ratios):.3f} to {max(ratios):.3f}"
    return [name, *middles, f"{statistics.median(ratios):.3f}", spread]


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--rows", type=int, default=10_000_000, help="rows of the log")
    parser.add_argument("--rounds", type=int, default=3, help="runs of each")
    options = parser.parse_args()
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for form in READ:
            path = Path(folder) / f"{form}.csv"
            write_log(path, options.rows, form)
            rows += compare(path, form, options)
            path.unlink()
    show(
        "Recounting a log against a bare csv loop",
        ["", "recount", "bare loop", "ratio", "ratios from"],
        rows,
        f"medians of {options.rounds} runs of {options.rows} rows each",
    )


if __name__ == "__main__":
    main()
