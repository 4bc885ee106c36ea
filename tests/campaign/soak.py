"""A week of plating at a fast clock: do guard, loop or page grow?

    .venv/bin/python tests/campaign/soak.py --days 7

The three processes as they ship and a simulated tank, all on one clock that runs `--rate` times as
fast as a real one. Run follows run; somebody looks at the page's chapters every two real seconds;
the record grows as it does at a reading each `--period`. Beside that, PSS (of the kernel, which
shares out what processes have in common), file handles and threads of each process are looked at.
A straight line through what was seen after `--skip` days, in which everything is loaded and caches
fill, says how much each grows in a day, with its standard error; then the size of the record, how
many readings there are, and how many there would have been if none had come late. A loop that does
not keep up is told by that share: take a slower rate. Ctrl-C gives the figures so far.
"""

import argparse
import statistics
import tempfile
import time
import urllib.request
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from itertools import cycle
from math import sqrt
from pathlib import Path

from kill_rig import SHARED
from rich.console import Console
from rich.table import Table

from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import StartRequest
from daemon.record import queries
from drivers.simulator.process import SimulatorProcess

LOOK_S, ASK_S = 5.0, 2.0
"""Real s between two looks at the processes, and between two at the page."""

DAY_S = 86_400.0
MIB = 1024.0
PAGES = ("/", "/status.json", "/details", "/bath", "/alarms", "/audit")

PLAN = """\
title = "Soak"
area = "1.8 dm²"
target = "240 µm"
voltage_ceiling = "6 V"
caps = { charge = "60 Ah", duration = "40 h" }
[[stage]]
name = "build"
current = "2 A"
ramp = "1 min"
"""


@dataclass(frozen=True)
class Look:
    """One process at a moment, days of its clock: PSS in MiB, open files, threads."""

    at_days: float
    pss_mib: float
    handles: int
    threads: int


def look(pid: int, at_days: float) -> Look:
    """Ask the kernel. Raises OSError if the process is not there."""
    process = Path(f"/proc/{pid}")
    lines = dict(
        line.split(":", 1) for line in (process / "smaps_rollup").read_text().splitlines()[1:]
    )
    pss_mib = int(lines["Pss"].split()[0]) / MIB
    handles, threads = (len(list((process / name).iterdir())) for name in ("fd", "task"))
    return Look(at_days, pss_mib, handles, threads)


def growth(at_days: list[float], values: list[float]) -> tuple[float, float] | None:
    """How much it grows in a day and the standard error of that; None of fewer than three."""
    if len(values) < 3:
        return None
    slope, zero = statistics.linear_regression(at_days, values)
    off = sum((v - zero - slope * d) ** 2 for d, v in zip(at_days, values, strict=True))
    spread = sum((d - statistics.mean(at_days)) ** 2 for d in at_days)
    return slope, sqrt(off / (len(values) - 2) / spread)


class Soak:
    """The daemon, its tank and who looks at them."""

    def __init__(self, folder: Path, stack: ExitStack, rate: float, period_s: float) -> None:
        self.rate, self.period_s = rate, period_s
        self._origin_s = time.monotonic()
        tank = stack.enter_context(SimulatorProcess(rate=rate, origin_s=self._origin_s))
        self._port = SHARED.free_port()
        self.daemon = SHARED.Daemon(
            folder / "daemon", tank.port, rate, self._origin_s, page=self._port,
            tick_s=period_s / rate, beat_limit_s=10.0,
        )  # fmt: skip
        stack.callback(self.daemon.kill_all)
        self.daemon.start().ready()
        self.pids = {
            "guard": self.daemon.process.pid,
            "loop": self.daemon.loop_pid,
            "page": self.daemon.page_pid,
        }
        self.looks: dict[str, list[Look]] = {name: [] for name in self.pids}
        self.asked = self.runs = 0
        self._pages = cycle(PAGES)

    @property
    def days(self) -> float:
        """How long it has run by its own clock."""
        return (time.monotonic() - self._origin_s) * self.rate / DAY_S

    def turn(self) -> None:
        """A run if there is none, and a look at the page."""
        status = self.daemon.status()
        with suppress(DaemonUnreachableError):
            if status is not None and status.state == "aborted":
                self.daemon.act("reset")
            elif status is not None and status.state in ("idle", "stopped", "complete"):
                self.runs += self.daemon.client.ask(StartRequest(plan=PLAN, who="Ann")).ok
        with suppress(OSError):
            address = f"http://127.0.0.1:{self._port}{next(self._pages)}"
            with urllib.request.urlopen(address, timeout=10) as answer:
                answer.read()
                self.asked += 1

    def look(self) -> None:
        """At each process. One that is there no more ends the soak."""
        for name, pid in self.pids.items():
            self.looks[name].append(look(pid, self.days))

    def told(self, skip_days: float) -> Table:
        """What each has come to, and how it grows."""
        table = Table("process", "PSS first", "last", "grows a day", "handles", "threads")
        for name, looks in self.looks.items():
            late = [each for each in looks if each.at_days >= skip_days]
            grown = growth([e.at_days for e in late], [e.pss_mib for e in late])
            words = "-" if grown is None else f"{grown[0]:+.3f} ± {grown[1]:.3f} MiB"
            most = max(looks, key=lambda each: each.handles)
            table.add_row(
                name, f"{(late or looks)[0].pss_mib:.1f} MiB", f"{looks[-1].pss_mib:.1f} MiB",
                words, f"{(late or looks)[0].handles} to {looks[-1].handles}, most {most.handles}",
                f"{looks[-1].threads}",
            )  # fmt: skip
        return table


def main() -> int:
    """The command; 1 when a process has died or the run has not gone on."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--days", type=float, default=7.0, help="of the daemon's clock")
    parser.add_argument("--rate", type=float, default=300.0, help="(default: 300)")
    parser.add_argument("--period", type=float, default=5.0, help="s of that clock (default: 5)")
    parser.add_argument("--skip", type=float, default=0.5, help="days before the line begins")
    asked = parser.parse_args()
    console = Console(highlight=False, width=110)
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        soak = Soak(Path(folder), stack, asked.rate, asked.period)
        next_look_s = 0.0
        with suppress(KeyboardInterrupt):
            while soak.days < asked.days and all(map(SHARED.runs_still, soak.pids.values())):
                soak.turn()
                if time.monotonic() >= next_look_s:
                    next_look_s = time.monotonic() + LOOK_S
                    soak.look()
                time.sleep(ASK_S)
        console.print(soak.told(asked.skip))
        files = soak.daemon.folder.glob("record.sqlite*")
        size_mib = sum(path.stat().st_size for path in files) / MIB**2
        kept = sum(len(soak.daemon.samples(number + 1)) for number in range(soak.runs))
        ran_s = sum(run.elapsed_s or 0.0 for run in soak.daemon.record(queries.runs))
        console.print(
            f"{soak.days:.2f} days at a rate of {asked.rate:g}: {soak.runs} runs, {kept} readings, "
            f"{100 * kept * asked.period / max(ran_s, asked.period):.1f} % of what a reading each "
            f"{asked.period:g} s makes; record {size_mib:.1f} MiB; the page answered {soak.asked}"
        )
        well = soak.daemon.said().count("ready;") == 1 and soak.runs > 0
    return 0 if well else 1


if __name__ == "__main__":
    raise SystemExit(main())
