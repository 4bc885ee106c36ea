"""What the benchmarks of the whole daemon share: a daemon to measure, and what the kernel counts.

The daemon is `tankhand serve` as it ships, on a simulated tank that is a process of its own behind
a pty; nothing in it is changed or replaced.
"""

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Self

from rich.console import Console
from rich.table import Table

from daemon.api.socket.client import Client, DaemonUnreachableError
from daemon.api.socket.messages import ActRequest, StartRequest, Status
from daemon.record.queries import one_run
from daemon.record.series import samples
from daemon.record.store import open_reader

PATIENCE_S = 60.0
"""Real s until a daemon has to be up, or down."""

CURRENT_A, CEILING_V = 1.0, 4.0
"""What the plan asks of the supply; a bare loop sets the same, to make the peer the same work."""

PLAN = f"""\
title = "Benchmark"
metal = "Cu(II)"
area = "1.8 dm²"
target = "25 µm"
caps = {{ charge = "5 Ah", duration = "9 h" }}

[[stage]]
name = "all of it"
current = "{CURRENT_A:g} A"
voltage_ceiling = "{CEILING_V:g} V"
"""

SETTINGS = """\
[supply]
port = "{port}"

[bath]
name = "Benchmark"

[loop]
period = "{period_us:g} µs"
gap = "1 s"
lost = "3 s"

[page]
on = {page}
listen = "{listen}"
"""

PLATING = "running"


class BenchmarkError(Exception):
    """What was to be measured did not happen; no figure is worth anything then."""


def free_address() -> str:
    """An address for the page: loopback, with a port that nobody uses."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return f"127.0.0.1:{probe.getsockname()[1]}"


def accepts(address: str) -> bool:
    """Whether somebody takes connections at HOST:PORT."""
    host, _, port = address.rpartition(":")
    with socket.socket() as probe:
        return probe.connect_ex((host, int(port))) == 0


def write_settings(
    folder: Path, port: str, period_s: float, listen: str, *, page: bool = True
) -> Path:
    """A settings file in `folder` for the supply at `port` and the page at `listen`."""
    path = folder / "settings.toml"
    text = SETTINGS.format(
        port=port, period_us=period_s * 1e6, page=str(page).lower(), listen=listen
    )
    path.write_text(text, encoding="utf-8")
    return path


class Controls:
    """A daemon's control socket, and waiting for what it says."""

    def __init__(self, path: Path) -> None:
        self._client = Client(path, timeout_s=10.0)

    def answers(self) -> bool:
        """Whether somebody is there and has read the supply."""
        try:
            return self._client.status().current_a is not None
        except DaemonUnreachableError:
            return False

    def plate(self) -> None:
        """Start the run, and come back when it plates."""
        answer = self._client.ask(StartRequest(plan=PLAN, who="benchmark"))
        if not answer.ok:
            raise BenchmarkError(f"the run was refused: {answer.error}")
        wait(lambda: self._client.status().state == PLATING, "the run to plate")

    def well(self) -> Status:
        """The daemon's word; raises unless it plates and everything has been recorded."""
        status = self._client.status()
        if status.state != PLATING or status.unrecorded or status.notice:
            raise BenchmarkError(
                f"{status.state}, {status.unrecorded} samples not recorded, {status.notice}"
            )
        return status

    def stop(self) -> None:
        """End the run."""
        self._client.ask(ActRequest(ask="stop", who="benchmark"))


class Served:
    """A daemon on the supply at `port`, up within the `with` block.

    `pids` are those of guard, loop and page (if there is one) by name, `listen` is the page's
    address. `environment` is added to what its processes find in theirs.
    """

    def __init__(
        self,
        port: str,
        period_s: float,
        *,
        page: bool,
        environment: Mapping[str, str] | None = None,
    ) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="tankhand-"))
        self.listen = free_address()
        self._settings = write_settings(self._folder, port, period_s, self.listen, page=page)
        self._page = page
        self._environment = {**os.environ, **(environment or {})}
        self.record = self._folder / "record.sqlite"
        self.controls = Controls(self._folder / "control.sock")
        self.pids: dict[str, int] = {}

    def __enter__(self) -> Self:
        command = [sys.executable, "-m", "daemon.service.commands.cli", "serve"]
        self._guard = subprocess.Popen(
            [*command, "--settings", str(self._settings)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env=self._environment,
        )
        try:
            wait(self._up, "the daemon to be up", self._guard)
        except BenchmarkError:
            self.end()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.end()
        shutil.rmtree(self._folder)

    def end(self) -> None:
        """End it in good order; the record can be read until the block is left."""
        self._guard.send_signal(signal.SIGTERM)
        self._guard.wait(PATIENCE_S)

    def _up(self) -> bool:
        self.pids = {"guard": self._guard.pid, **_children(self._guard.pid)}
        served = not self._page or ("page" in self.pids and accepts(self.listen))
        return served and self.controls.answers()


def _children(pid: int) -> dict[str, int]:
    """The guard's children by their role."""
    roles = {"daemon.service.main": "loop", "web": "page"}
    found = {}
    for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
        words = Path(f"/proc/{child}/cmdline").read_bytes().split(b"\0")
        if len(words) > 2 and (role := roles.get(words[2].decode())):
            found[role] = int(child)
    return found


def wait(
    is_so: Callable[[], bool], for_what: str, process: subprocess.Popen[bytes] | None = None
) -> None:
    """Wait until something is so; raises when it takes too long or `process` has ended."""
    give_up_s = time.monotonic() + PATIENCE_S
    while not is_so():
        if process is not None and process.poll() is not None:
            raise BenchmarkError(f"waited for {for_what}: it ended with code {process.returncode}")
        if time.monotonic() > give_up_s:
            raise BenchmarkError(f"waited {PATIENCE_S:g} s for {for_what}")
        time.sleep(0.1)


def recorded_s(record: Path, from_s: float, to_s: float) -> list[float]:
    """The moments of the first run's samples between two moments of the monotonic clock, s."""
    engine = open_reader(record)
    try:
        with engine.connect() as connection:
            start_s = one_run(connection, 1).started_monotonic_s
            found = samples(connection, 1, from_s - start_s, to_s - start_s)
            return [start_s + sample.elapsed_s for sample in found]
    finally:
        engine.dispose()


def slow_disk(folder: Path) -> Path:
    """slow_disk.c as a library to be preloaded, made in `folder`. Raises BenchmarkError."""
    compiler, made = shutil.which("gcc"), folder / "slow_disk.so"
    if compiler is None:
        raise BenchmarkError("slow_disk.c needs gcc")
    source = Path(__file__).with_name("slow_disk.c")
    subprocess.run([compiler, "-shared", "-fPIC", "-o", made, source, "-ldl"], check=True)
    return made


def may_be_fifo() -> bool:
    """Whether this process may give others real-time scheduling."""
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(1))
    except PermissionError:
        return False
    os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
    return True


def cpu_s(pid: int) -> float:
    """Processor time of a process with all its threads, user and system, s (from /proc)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def memory_mb(pid: int) -> tuple[float, float]:
    """What a process holds, and its share of it where pages are shared (RSS and PSS), MiB."""
    told = {}
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()[1:]:
        name, value, *_ = line.split()
        told[name.rstrip(":")] = int(value) / 1024
    return told["Rss"], told["Pss"]


def show(title: str, columns: list[str], rows: list[list[str]], notes: str = "") -> None:
    """Print one table, the first column of words and the others of figures."""
    table = Table(title=title, title_justify="left", caption=notes, caption_justify="left")
    for column in columns:
        table.add_column(column, justify="left" if column == columns[0] else "right")
    for row in rows:
        table.add_row(*row)
    # Wide enough for every table: into a file or a narrow terminal it shall not lose figures.
    Console(width=120).print(table)
