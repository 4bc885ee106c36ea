"""How long it takes from the tank's current changing to "output off" on the wire.

The daemon as it ships (guard, loop, page; every reading recorded) plates on a simulated tank whose
supply then fails upwards, at a random moment of the period: at once three times the current flows
that was asked for. That is a current spike, which is acted on at the first reading that shows it.
The supply's process notes when the current changed and when the message was in that switched its
output off. Then the fault is mended, the run reset, and a new one started.

- floor: a bare loop (bare_watch.py) that reads, compares and writes "off", at the same period;
- daemon: nobody at the page, the disk as it is;
- loaded: clients ask the page flat out (page_load.py), and the disk stalls (slow_disk.c).

Nothing that reads once a period can promise less than one period and one exchange: the current may
change just after it was measured. The ratios are to that sum; the exchange is the floor's median.

"FIFO": the loop, and the bare one, under the real-time priority that the systemd unit allows. The
simulated supply has a higher one in all rows where that is permitted, since it stands for a device
that does not share our processor. The rows take turns, so that whatever else the machine does
meets all of them.
"""

import argparse
import http.client
import math
import os
import random
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from harness import (
    CURRENT_A,
    PATIENCE_S,
    BenchmarkError,
    Served,
    may_be_fifo,
    show,
    slow_disk,
    wait,
)
from off import make_fifo

from daemon.api.socket.client import Client
from daemon.api.socket.messages import ActRequest
from daemon.control.protection.detectors.thresholds import SPIKE_AFTER_S
from daemon.service import realtime
from drivers.simulator.process import SimulatorProcess

HERE = Path(__file__).parent
SUPPLY_PRIORITY = 20

ROUND = 20
"""Injections before another row has its turn."""

SURGE_A = 2.0 * CURRENT_A
LIMIT_A = 2.0 * CURRENT_A
"""A. What the bare loop takes for too much."""

TANK = "parts = [{ paint_ohm_per_sq = 0 }]\nsupply = { slew_a_per_s = 1e6 }\n"
"""A bare part, which takes the greater current at once, and a supply that fails at once."""

SETTLE_S = SPIKE_AFTER_S + 0.3
"""s of current before one is injected: a spike just after "output on" is let pass."""

LOAD_S = 15.0
"""s that one process of the page's load goes on; another follows it."""


LATE_AIM, MOST_AIM = 1.05, 1.2
"""Times a period and an exchange: what 99 % are to stay within, and what all are."""


@dataclass
class Row:
    """One way to run it, and what was measured: times to "off", s; the floor's exchanges, s."""

    name: str
    fifo: bool = False
    bare: bool = False
    loaded: bool = False
    found_s: list[float] = field(default_factory=list)
    exchanges_s: list[float] = field(default_factory=list)
    answers_per_s: list[float] = field(default_factory=list)


ROWS = {
    "floor": Row("floor", bare=True),
    "quiet": Row("daemon"),
    "loaded": Row("daemon, loaded", loaded=True),
    "floor-fifo": Row("floor, FIFO", fifo=True, bare=True),
    "quiet-fifo": Row("daemon, FIFO", fifo=True),
    "loaded-fifo": Row("daemon, FIFO, loaded", fifo=True, loaded=True),
}


def inject(tank: SimulatorProcess, period_s: float, phases: random.Random) -> float:
    """Let the current rise at a random moment, and mend it again; s until "output off" was in."""
    time.sleep(SETTLE_S + phases.uniform(0, period_s))
    if not 0.9 * CURRENT_A < tank.truth().current_a < 1.1 * CURRENT_A:
        raise BenchmarkError(f"{tank.truth().current_a:g} A flow before the injection")
    tank.inject("surge", current_a=SURGE_A)
    # Nobody asks meanwhile: the supply's process has nothing else to do.
    time.sleep(3 * period_s)

    def taken_s() -> float | None:
        injected_s, off_s = tank.moments()
        if injected_s is None or off_s is None or off_s < injected_s:
            return None
        return off_s - injected_s

    wait(lambda: taken_s() is not None, '"output off"')
    taken = taken_s()
    if taken is None:
        raise BenchmarkError("the output went off and was not off")
    tank.inject("mend")
    return taken


def of_bare_loop(
    row: Row, tank: SimulatorProcess, count: int, period_s: float, phases: random.Random
) -> None:
    """Add so many injections into the bare loop."""
    command = [sys.executable, str(HERE / "bare_watch.py"), tank.port, str(period_s), str(LIMIT_A)]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, text=True, stdin=pipe, stdout=pipe) as loop:
        if loop.stdin is None or loop.stdout is None:
            raise BenchmarkError("no pipes to the bare loop")
        if row.fifo:
            os.sched_setscheduler(loop.pid, os.SCHED_FIFO, os.sched_param(realtime.PRIORITY))
        for _ in range(count):
            loop.stdin.write("\n")
            loop.stdin.flush()
            wait(lambda: tank.truth().current_a > 0.9 * CURRENT_A, "the current to flow")
            row.found_s.append(inject(tank, period_s, phases))
            row.exchanges_s.append(float(loop.stdout.readline()))


def of_daemon(
    row: Row, tank: SimulatorProcess, count: int, period_s: float, phases: random.Random,
    environment: Mapping[str, str], clients: int,
) -> None:  # fmt: skip
    """Add so many injections into the daemon."""
    with ExitStack() as stack:
        served = Served(tank.port, period_s, page=True, environment=environment)
        stack.enter_context(served)
        client = Client(served.record.with_name("control.sock"), timeout_s=PATIENCE_S)
        if row.fifo:
            make_fifo(served.pids["loop"])
        served.controls.plate()
        if row.loaded:
            wait(lambda: _charted(served.listen), "the disk to have taken the run")
            stack.enter_context(_load(row, served.listen, clients))
        for number in range(count):
            if number:
                client.ask(ActRequest(ask="reset", who="benchmark"))
                wait(lambda: client.status().state == "idle", "the reset")
                served.controls.plate()
            wait(lambda: tank.truth().current_a > 0.9 * CURRENT_A, "the current to flow")
            row.found_s.append(inject(tank, period_s, phases))
            wait(lambda: client.status().state == "aborted", "the run to be aborted")
            causes = [alarm.cause for alarm in client.status().alarms if alarm.first_out]
            if causes != ["current spike"]:
                raise BenchmarkError(f"aborted by {causes}")


def _charted(listen: str) -> bool:
    """Whether the page has the first run, which its load asks for."""
    connection = http.client.HTTPConnection(listen, timeout=PATIENCE_S)
    try:
        connection.request("GET", "/chart.json?run=1")
        return connection.getresponse().status == http.HTTPStatus.OK
    finally:
        connection.close()


@contextmanager
def _load(row: Row, listen: str, clients: int) -> Iterator[None]:
    """Have so many clients ask the page until the end; raises then if one was not answered."""
    port = listen.rpartition(":")[2]
    command = [sys.executable, str(HERE / "page_load.py"), port, str(LOAD_S), str(clients)]
    ended = threading.Event()
    trouble: list[str] = []

    def go_on() -> None:
        while not ended.is_set() and not trouble:
            with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as load:
                while load.poll() is None and not ended.wait(0.1):
                    pass
                if load.poll() is None:
                    load.kill()
                elif load.returncode or load.stdout is None:
                    trouble.append(f"the page's load ended with code {load.returncode}")
                else:
                    row.answers_per_s.append(int(load.stdout.read()) / LOAD_S)

    thread = threading.Thread(target=go_on)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()
    if trouble:
        raise BenchmarkError(trouble[0])


def measure(rows: list[Row], options: argparse.Namespace, shim: Path, tank_file: Path) -> None:
    """Measure the rows in turns, until each has its injections."""
    period_s = 1.0 / options.rate
    phases = random.Random(1)
    stalls = {
        "LD_PRELOAD": str(shim),
        "SLOW_DISK_MS": str(options.sync_ms),
        "SLOW_DISK_STALL_MS": str(options.stall_ms),
        "SLOW_DISK_EVERY": str(options.stall_every),
    }
    while waiting := [row for row in rows if len(row.found_s) < options.injections]:
        for row in waiting:
            count = min(ROUND, options.injections - len(row.found_s))
            with SimulatorProcess(seed=1, scenario=tank_file) as tank:
                if options.fifo_allowed:
                    os.sched_setscheduler(tank.pid, os.SCHED_FIFO, os.sched_param(SUPPLY_PRIORITY))
                if row.bare:
                    of_bare_loop(row, tank, count, period_s, phases)
                else:
                    environment = stalls if row.loaded else {}
                    of_daemon(row, tank, count, period_s, phases, environment, options.clients)
            most_ms = 1e3 * max(row.found_s[-count:])
            done = f"{len(row.found_s)} of {options.injections}"
            sys.stderr.write(f"{row.name}: {done}, at most {most_ms:.1f} ms\n")


def most_of(found_s: list[float]) -> float:
    """The time that 99 % are within, by nearest rank: the greatest of fewer than a hundred, s."""
    return sorted(found_s)[math.ceil(0.99 * len(found_s)) - 1]


def cells(row: Row, floor: Row | None, least_s: float) -> list[str]:
    """A row of the table; `floor` is the bare loop under the same priority, if it was measured."""
    late_s = most_of(row.found_s)
    figures_s = [statistics.median(row.found_s), late_s, max(row.found_s)]
    told = [f"{1e3 * figure_s:.1f}" for figure_s in figures_s]
    told += [f"{figure_s / least_s:.3f}" for figure_s in figures_s[1:]]
    if floor is None or floor is row:
        told.append("-")
    else:
        told.append(f"{late_s / most_of(floor.found_s):.3f}")
    told.append(str(sum(found_s > MOST_AIM * least_s for found_s in row.found_s)))
    asked = f"{statistics.mean(row.answers_per_s):.0f}" if row.answers_per_s else "-"
    return [row.name, str(len(row.found_s)), *told, asked]


def report(rows: list[Row], options: argparse.Namespace) -> None:
    """Print the table."""
    period_s = 1.0 / options.rate
    exchanges_s = [exchange_s for row in rows for exchange_s in row.exchanges_s]
    exchange_s = statistics.median(exchanges_s) if exchanges_s else 0.0
    floors = {row.fifo: row for row in rows if row.bare}
    table = [cells(row, floors.get(row.fifo), period_s + exchange_s) for row in rows]
    columns = ["loop", "times", "median", "99 %", "most", "99 % ratio", "most ratio"]
    note = (
        f"ratios to period and exchange, {1e3 * period_s:g} + {1e3 * exchange_s:.2f} ms; aims: "
        f"99 % ≤ {LATE_AIM:g}, most ≤ {MOST_AIM:g}, loaded or not\n"
        f"load: {options.clients} clients; fsync +{options.sync_ms} ms, each "
        f"{options.stall_every}th {options.stall_ms} ms"
    )
    if not options.fifo_allowed:
        note += "; no SCHED_FIFO, which is not allowed here"
    title = 'From the current changing to "output off" on the wire, ms'
    show(title, [*columns, "99 % to floor", "over aim", "answers/s"], table, note)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--injections", type=int, default=20, help="of each row; 200 tell 99 %%")
    parser.add_argument("--rate", type=float, default=20.0, help="readings per second")
    parser.add_argument("--clients", type=int, default=50, help="who ask the page under load")
    parser.add_argument("--sync-ms", type=int, default=30, help="what every fsync takes longer")
    parser.add_argument("--stall-ms", type=int, default=5000, help="what a stalled fsync takes")
    parser.add_argument("--stall-every", type=int, default=5, help="which fsync stalls")
    parser.add_argument(
        "--only", nargs="+", choices=ROWS, default=list(ROWS), metavar="NAME",
        help=f"rows: {', '.join(ROWS)}",
    )  # fmt: skip
    options = parser.parse_args()
    options.fifo_allowed = may_be_fifo()
    rows = [
        row
        for name, row in ROWS.items()
        if name in options.only and (options.fifo_allowed or not row.fifo)
    ]
    if not any(row.bare for row in rows):
        rows.insert(0, ROWS["floor"])
    with tempfile.TemporaryDirectory(prefix="tankhand-") as folder:
        shim, tank_file = slow_disk(Path(folder)), Path(folder) / "tank.toml"
        tank_file.write_text(TANK, encoding="utf-8")
        try:
            measure(rows, options, shim, tank_file)
        finally:
            # What was measured before something went wrong took its time too.
            report([row for row in rows if row.found_s], options)


if __name__ == "__main__":
    main()
