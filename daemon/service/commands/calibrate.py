"""`tankhand calibrate`, `calibrations` and `recount-run`: the commands and their options.

Heavy imports wait until a command runs, since the command line is loaded by `serve` too.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import BadInputError, RefusedError, settings_option, who

if TYPE_CHECKING:
    from daemon.api.socket.client import Client
    from daemon.api.socket.messages import CalibrateRequest
    from daemon.chemistry.calibration import Point
    from daemon.service.commands.guided import Reference


@click.command()
@click.argument("meter")
@click.option("--reference", help='The reference: "handheld, serial 4711". Asked for if left out.')
@click.option("--class", "reference_class", help='Its class: "0.5 % + 3 mA". Asked for likewise.')
@click.option(
    "--points",
    type=click.Path(path_type=Path),
    help="A CSV file of points: columns reading_a, u_reading_a, reference_a. Nothing is asked.",
)
@click.option("--seconds", default="5 s", show_default=True, help="How long each point is read.")
@click.option("--note", default="", help="What else is worth keeping.")
@settings_option
def calibrate(
    meter: str,
    reference: str | None,
    reference_class: str | None,
    points: Path | None,
    seconds: str,
    note: str,
    settings: Path,
) -> None:
    """Compare METER with a reference ammeter; keep what comes out.

    The daemon has to run; METER is a name of the settings, or supply. With the output off the zero
    is taken, during a run a current, one stage after another; it is kept when the run is over, and
    corrects the meter from the next run on.
    """
    from daemon.api.explain import read_tree
    from daemon.api.socket.client import Client
    from daemon.api.socket.messages import CalibrateRequest
    from daemon.service.settings.file import read_settings

    with _clear_errors():
        client = Client(read_settings(settings).daemon.socket, timeout_s=10.0)
        if points is None:
            found, used = _at_terminal(client, meter, seconds, reference, reference_class)
        else:
            found, used = _from_file(client, meter, points, reference, reference_class)
        if not found:
            raise RefusedError("no points were taken: nothing is kept")
        fields = {
            "meter": meter, "who": who(), "reference": used.name,
            "reference_class": used.written, "points": found, "note": note,
        }  # fmt: skip
        _keep(client, read_tree(fields, "calibration", CalibrateRequest), asked=points is None)


def _at_terminal(
    client: "Client", meter: str, seconds: str, name: str | None, written: str | None
) -> "tuple[tuple[Point, ...], Reference]":
    """Points that a person takes now, and the reference, asked for as far as it was not given."""
    from daemon.api.calibration.reference import read_class
    from daemon.service.commands import guided
    from daemon.units import parse

    seconds_s = parse(seconds, "s")
    if not seconds_s > 0:
        raise BadInputError(f"--seconds: expected more than 0 s, got {seconds!r}")
    if written:
        read_class(written)
    terminal = _Terminal()
    bench = guided.Bench(client.status, meter, seconds_s, terminal, time.sleep)
    return guided.take_points(bench, lambda: guided.ask_reference(terminal, name, written))


def _from_file(
    client: "Client", meter: str, path: Path, name: str | None, written: str | None
) -> "tuple[tuple[Point, ...], Reference]":
    """Points that were taken before, and their reference."""
    from daemon.chemistry.calibration import stepped
    from daemon.service.commands import guided
    from daemon.service.commands.calibration_report import preview

    if not (name and written):
        raise BadInputError("--points: --reference and --class have to be given with it")
    found, used = guided.read_points(path), guided.Reference(name, written)
    step_a = guided.step_of(client.status(), meter)
    click.echo(preview(stepped(found, step_a), used.known))
    return found, used


def _keep(client: "Client", request: "CalibrateRequest", *, asked: bool) -> None:
    """Hand it to the daemon; at a terminal, points that it refuses are not lost at once."""
    if asked and not click.confirm("Keep this calibration?"):
        raise RefusedError("nothing is kept")
    while not (answer := client.ask(request)).ok:
        if not asked:
            raise RefusedError(answer.error or "no reason given")
        click.echo(f"not kept: {answer.error}", err=True)
        if not click.confirm("Try again?"):
            raise RefusedError("nothing is kept")
    click.echo(f"kept: {request.meter} is corrected by this from the next run on")


@click.command()
@click.argument("meter", required=False)
@settings_option
def calibrations(meter: str | None, settings: Path) -> None:
    """List the calibrations of METER, or of all meters, newest first."""
    from daemon.record.calibrations import all_of
    from daemon.record.store import open_reader
    from daemon.service.commands.calibration_report import listing
    from daemon.service.settings.file import read_settings

    with _clear_errors():
        engine = open_reader(read_settings(settings).record.path)
        with engine.connect() as connection:
            found = all_of(connection, meter)
        engine.dispose()
    click.echo(listing(found) or "no calibration is in the record")


@click.command("recount-run")
@click.argument("run", type=click.IntRange(min=1))
@click.option("--calibration", type=click.IntRange(min=1), help="Its number; by default the newest")
@click.option("--post", is_flag=True, help="Enter the difference into the bath's account.")
@settings_option
def recount_run(run: int, calibration: int | None, post: bool, settings: Path) -> None:
    """Count RUN again with another calibration of the meter that counted it.

    The run itself stays as it was counted. To post, the daemon must not be running.
    """
    from daemon.record.store import open_reader
    from daemon.service.commands import recorrecting
    from daemon.service.settings.file import read_settings

    with _clear_errors():
        chosen = read_settings(settings)
        engine = open_reader(chosen.record.path)
        with engine.connect() as connection:
            found = recorrecting.recorrect(connection, run, calibration, chosen.loop.gap)
        engine.dispose()
        click.echo(recorrecting.text(found))
        if post:
            said = recorrecting.post(chosen.record.path, run, calibration, chosen.loop.gap, who())
            click.echo(said)


class _Terminal:
    """The terminal that the command was given at."""

    def ask(self, question: str) -> str:
        """Ask; an empty answer is one."""
        answer: str = click.prompt(question, default="", show_default=False)
        return answer

    def say(self, text: str) -> None:
        """Print it."""
        click.echo(text)


@contextmanager
def _clear_errors() -> Iterator[None]:
    """Every error that people meet, as one line and an exit code."""
    from sqlalchemy.exc import DatabaseError

    from daemon.api.errors import InputError
    from daemon.api.socket.client import DaemonUnreachableError
    from daemon.record.errors import RecordError
    from daemon.record.store import refusal
    from daemon.units import UnitError

    try:
        yield
    except (InputError, UnitError) as error:
        raise BadInputError(str(error)) from error
    except (DaemonUnreachableError, RecordError) as error:
        raise RefusedError(str(error)) from error
    except DatabaseError as error:
        raise RefusedError(refusal(error)) from error
