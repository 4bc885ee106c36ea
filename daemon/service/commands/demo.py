"""The demo: a run on a simulated tank, with a clock that is fast.

Everything is real but the tank, which is a process of its own: serial port, record, guard, page.
"""

import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from importlib.resources import files
from pathlib import Path
from types import FrameType

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from daemon.api.listen import ListenError, parse_listen
from daemon.api.sentence import duration
from daemon.api.socket.client import Client, DaemonUnreachableError
from daemon.api.socket.messages import StartRequest, Status
from daemon.service.supervision.guard import START_LIMIT_S
from drivers.errors import DriverError
from drivers.simulator.process import SimulatorProcess

TICK_REAL_S = 0.05
"""Real s between two readings: at any rate the machine does the same work."""

SILENCE_LIMIT_S = 5.0
"""Real s that a reading or a beat may be overdue. No bath is in danger here, and a machine that is
busy with other things holds a program up that has no right to go first."""

READY_LIMIT_S = START_LIMIT_S + 30.0
"""Real s until the daemon has to answer: a little longer than its guard waits for the loop."""

MARK = "# Made by `tankhand demo`"

SETTINGS = (
    MARK
    + """: a simulated tank whose clock runs {rate:g} times as fast.
[supply]
port = "{port}"
greatest_current = "5 A"

[bath]
name = "Acid copper, 12 L"

[loop]
period = "{period:g} s"
gap = "{gap:g} s"
lost = "{lost:g} s"

[guard]
beat_limit = "{silence:g} s"

[page]
listen = "{listen}"

[simulation]
rate = {rate}
origin_s = {origin}
"""
)


def run(rate: float, listen: str, keep: Path | None, stay: bool) -> int:
    """Plate the example part to its target; the exit code is 0 when the target was reached.

    `rate` is how fast the clock runs, `listen` the page's address, `keep` a folder for settings
    and record instead of one that is removed; with `stay` the page is served until Ctrl-C.
    """
    console, ending = Console(), Ending()
    try:
        with ExitStack() as stack:
            for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
                before = signal.signal(number, ending.on_signal)
                stack.callback(signal.signal, number, before)
            return _show(console, stack, ending, rate, listen, keep, stay=stay)
    except EndedError as ended:
        return ended.exit_code
    except DaemonUnreachableError as error:
        click.echo(f"tankhand: {error}; is this machine very busy?", err=True)
        return 1
    except (DriverError, _CannotShowError) as error:
        click.echo(f"tankhand: {error}", err=True)
        return 1


class _CannotShowError(Exception):
    """Why there is no demo to be had like this."""


class EndedError(Exception):
    """A signal has asked for the end; `exit_code` is that of a process that it ends."""

    def __init__(self, number: int) -> None:
        super().__init__(signal.Signals(number).name)
        self.exit_code = 128 + number


class Ending:
    """Whether a signal has asked for the end: `number` is which, None without one.

    The handler only marks it. One that raised would be lost where Python can hand on no exception,
    as in the callbacks that clean up after an import, and would leave a process behind that is just
    being started.
    """

    def __init__(self) -> None:
        self.number: int | None = None

    def on_signal(self, number: int, frame: FrameType | None) -> None:  # noqa: ARG002
        """Handle a signal."""
        self.number = number

    def check(self) -> None:
        """Go on if nothing has asked for the end. Raises `EndedError`."""
        if self.number is not None:
            raise EndedError(self.number)

    def pause(self, real_s: float) -> None:
        """Wait, then `check`."""
        time.sleep(real_s)
        self.check()


def _show(
    console: Console,
    stack: ExitStack,
    ending: Ending,
    rate: float,
    listen: str,
    keep: Path | None,
    *,
    stay: bool,
) -> int:
    _check_free(listen)
    settings = _settings_file(stack, keep)
    origin_s = time.monotonic()
    tank = stack.enter_context(SimulatorProcess(rate=rate, origin_s=origin_s))
    settings.write_text(
        SETTINGS.format(
            rate=rate, port=tank.port, listen=listen, origin=origin_s,
            period=TICK_REAL_S * rate, gap=10 * TICK_REAL_S * rate,
            lost=SILENCE_LIMIT_S * rate, silence=SILENCE_LIMIT_S,
        ),
        encoding="utf-8",
    )  # fmt: skip
    ending.check()
    daemon = stack.enter_context(_daemon(settings))
    stack.callback(_end, daemon)
    client = Client(settings.with_name("control.sock"), timeout_s=10.0)
    if not _answers(client, daemon, ending):
        return 1
    console.print(f"A simulated tank, {rate:g} times as fast as a real one.")
    console.print(f"The page: [link]http://{listen}[/link]")
    status = _plate(client, console, ending)
    _compare(console, status, tank.truth().deposited_g)
    if stay:
        _stay(console, daemon, ending)
    return 0 if status.state == "complete" else 1


def _check_free(listen: str) -> None:
    """Whether the page can have its address; the daemon would run without one."""
    try:
        where = parse_listen(listen)
        if where.only_this_machine:
            socket.create_server((where.host, where.port)).close()
            return
    except ListenError as error:
        raise _CannotShowError(str(error)) from error
    except OSError as error:
        raise _CannotShowError(
            f"listen: {listen}: {error.strerror or error}; give another one with --listen"
        ) from error
    raise _CannotShowError(
        f"listen: {listen}: the demo's page asks for no password, so only addresses of this "
        "machine are taken, such as 127.0.0.1:8080"
    )


def _settings_file(stack: ExitStack, keep: Path | None) -> Path:
    """Where the settings go: into a folder that is kept, or into one that is removed."""
    folder = keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="tankhand-")))
    settings = folder / "settings.toml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if settings.exists() and not settings.read_bytes().startswith(MARK.encode()):
            raise _CannotShowError(f"{settings}: is not a demo's; give another folder with --keep")
    except OSError as error:
        raise _CannotShowError(f"{folder}: {error.strerror or error}") from error
    return settings


def _daemon(settings: Path) -> subprocess.Popen[bytes]:
    command = [
        sys.executable,
        "-m",
        "daemon.service.commands.cli",
        "serve",
        "--settings",
        str(settings),
    ]
    return subprocess.Popen(command, start_new_session=True)  # noqa: S603 - our own interpreter


def _end(daemon: subprocess.Popen[bytes]) -> None:
    """Let the daemon come to its end before its tank and its folder are taken away."""
    daemon.send_signal(signal.SIGTERM)
    daemon.wait()


def _answers(client: Client, daemon: subprocess.Popen[bytes], ending: Ending) -> bool:
    """Wait until the daemon answers; False when it has ended instead, having said why.

    Raises _CannotShowError when neither comes.
    """
    give_up_s = time.monotonic() + READY_LIMIT_S
    while daemon.poll() is None:
        if time.monotonic() >= give_up_s:
            raise _CannotShowError(
                f"the daemon has not begun within {READY_LIMIT_S:g} s; is this machine very busy?"
            )
        try:
            if client.status().current_a is not None:
                return True
        except DaemonUnreachableError:
            pass
        ending.pause(0.1)
    return False


def _plate(client: Client, console: Console, ending: Ending) -> Status:
    """Start the example plan and show how it goes until it is over."""
    plan = files("daemon.service").joinpath("examples/lamp_foot.toml").read_text("utf-8")
    answer = client.ask(StartRequest(plan=plan, who=os.environ.get("USER", "demo")))
    if not answer.ok or answer.status is None:
        raise _CannotShowError(answer.error)
    columns = [
        TextColumn("{task.description:<18}"),
        BarColumn(40),
        TextColumn("{task.fields[now]}"),
    ]
    with Progress(*columns, console=console) as progress:
        task = progress.add_task("", total=1.0, now="")
        status = answer.status
        while status.state in ("running", "restarting", "holding", "held", "stopping", "aborting"):
            ending.pause(0.2)
            status = client.status()
            if status.run is not None:
                progress.update(
                    task,
                    description=status.run.stages[status.run.stage].name,
                    completed=status.run.thickness_um / status.run.target_um,
                    now=_now(status),
                )
    return status


def _now(status: Status) -> str:
    run = status.run
    if run is None:
        return ""
    togo = "" if run.remaining_s is None else f"  {duration(run.remaining_s)} to go"
    return (
        f"{run.thickness_um:5.2f} of {run.target_um:g} µm  {status.current_a or 0:.2f} A  "
        f"{status.voltage_v or 0:.2f} V  {run.charge_ah:.3f} Ah{togo}"
    )


def _compare(console: Console, status: Status, deposited_g: float) -> None:
    run = status.run
    if run is None:
        return
    console.print(f"{status.state.capitalize()}: {run.reason}")
    console.print(
        f"Counted {run.charge_ah:.4f} Ah, {run.mass_g:.4f} g of copper; the simulated tank itself "
        f"deposited {deposited_g:.4f} g: {100 * (run.mass_g / deposited_g - 1):+.3f} %",
        soft_wrap=True,
    )
    if run.gap_charge_ah:
        console.print(
            f"{run.gap_charge_ah:.4f} Ah of it are in doubt: this machine was too busy to read it.",
            soft_wrap=True,
        )


def _stay(console: Console, daemon: subprocess.Popen[bytes], ending: Ending) -> None:
    console.print("The page stays until Ctrl-C.")
    while daemon.poll() is None and ending.number is None:
        time.sleep(0.2)
    if ending.number == signal.SIGINT:
        console.print()
        return
    ending.check()
