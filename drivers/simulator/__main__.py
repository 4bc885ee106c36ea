"""`python -m drivers.simulator`: the simulated tank as a process with a SCPI supply on a pty.

Prints one JSON line with the port, then serves until standard input ends or SIGTERM comes.
"""

import json
import os
import signal
import time
import tty
from pathlib import Path

import click

from drivers.errors import DescriptionError
from drivers.simulator.bench import Bench
from drivers.simulator.scenario import Scenario, load_scenario
from drivers.simulator.server import Server
from drivers.simulator.wire import Wire


@click.command()
@click.option("--scenario", type=click.Path(path_type=Path), help="TOML file; defaults without.")
@click.option("--seed", type=int, default=0, help="Seed of all noise.")
@click.option(
    "--rate",
    type=click.FloatRange(min=0, min_open=True),
    default=1.0,
    help="Simulated seconds per real second.",
)
@click.option(
    "--origin-s",
    type=float,
    default=None,
    help="Moment of the machine's monotonic clock at which simulated and real time agree; now "
    "when left out.",
)
@click.option(
    "--paced-baud",
    type=click.IntRange(min=50),
    default=None,
    help="Let every byte take as long as on a line of this rate, 10 bits each.",
)
@click.option(
    "--latency-ms",
    type=click.FloatRange(min=0),
    default=0.0,
    help="Real milliseconds between a question and its answer.",
)
def main(
    scenario: Path | None,
    seed: int,
    rate: float,
    origin_s: float | None,
    paced_baud: int | None,
    latency_ms: float,
) -> None:
    """Serve a simulated plating tank: SCPI on a pty, control on standard input and output."""
    try:
        described = load_scenario(scenario) if scenario else Scenario()
    except DescriptionError as error:
        raise click.ClickException(str(error)) from error
    start_s = time.monotonic() if origin_s is None else origin_s

    def now_s() -> float:
        return start_s + (time.monotonic() - start_s) * rate

    stop_fd = _stop_signal_fd()
    # The slave stays open here too, so that the master survives a client that closes the port.
    master_fd, slave_fd = os.openpty()
    tty.setraw(slave_fd)
    os.set_blocking(master_fd, False)
    server = Server(
        Bench(described, now_s(), seed),
        Wire(paced_baud, latency_ms / 1e3),
        now_s,
        master_fd=master_fd,
        control_in_fd=0,
        control_out_fd=1,
        stop_fd=stop_fd,
    )
    click.echo(json.dumps({"port": os.ttyname(slave_fd)}))
    server.run()


def _stop_signal_fd() -> int:
    """A file descriptor that becomes readable when SIGTERM or SIGINT came."""
    read_fd, write_fd = os.pipe()
    os.set_blocking(write_fd, False)
    signal.set_wakeup_fd(write_fd)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: None)
    return read_fd


if __name__ == "__main__":
    main()
