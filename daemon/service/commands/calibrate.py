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
    from daemon.api.client import Client
    from daemon.api.messages import CalibrateRequest


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

    The daemon has to run; METER is a name of the settings, or supply. Points may be taken while a
    run plates, one stage after another. What is kept corrects the meter from the next run on.
    """
    from daemon.api.client import Client
    from daemon.api.explain import read_tree
    from daemon.api.messages import CalibrateRequest
    from daemon.api.reference import read_class
    from daemon.service.commands import guided
    from daemon.service.commands.calibration_report import preview
    from daemon.service.settings import read_settings
    from daemon.units import parse

    with _clear_errors():
        client = Client(read_settings(settings).daemon.socket, timeout_s=10.0)
        seconds_s = parse(seconds, "s")
        if points is not None and not (reference and reference_class):
            raise BadInputError("--points: --reference and --class have to be given with it")
        reference = reference or click.prompt("Which reference is it")
        reference_class = reference_class or click.prompt("Its class, such as 0.5 % + 3 mA")
        known = read_class(reference_class)
        if points is None:
            found = guided.take_points(
                client.status, meter, seconds_s, known, _Terminal(), time.sleep
            )
        else:
            found = guided.read_points(points)
        click.echo(preview(found, known))
        if not found:
            raise RefusedError("no points were taken: nothing is kept")
        fields = {
            "meter": meter, "who": who(), "reference": reference,
            "reference_class": reference_class, "points": found, "note": note,
        }  # fmt: skip
        _keep(client, read_tree(fields, "calibration", CalibrateRequest), asked=points is None)


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
    from daemon.service.settings import read_settings

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
    from daemon.service.settings import read_settings

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

    from daemon.api.client import DaemonUnreachableError
    from daemon.api.errors import InputError
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
