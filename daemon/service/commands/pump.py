"""`tankhand pump`: run a dosing pump by hand, and find what it delivers."""

from __future__ import annotations

import time
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.asking import WHERE
from daemon.service.commands.command import (
    BadInputError,
    RefusedError,
    errors,
    settings_option,
    who,
)

if TYPE_CHECKING:
    from daemon.api.socket.client import Client
    from daemon.api.socket.messages import Answer
    from daemon.api.socket.pumps import PumpRequest, PumpStatus

LOOK_S = 0.2
"""Real s from look to look while a pump runs."""

CAUTIONS = """\
The outlet has to hang in a measuring cylinder, not over the bath: what runs is not entered, and an
additive that is in the bath does not come out again but by carbon. Fill the tube first. Eye
protection, gloves, and what the additive's safety data sheet says; something under it that holds
what may drip. Ctrl-C stops the pump."""


@click.group()
def pump() -> None:
    """Run a dosing pump by hand, while no run is under way."""


@pump.command("run")
@click.argument("additive")
@click.option("--for", "lasting", default="30 s", show_default=True, help="How long the pump runs.")
@click.option("--yes", is_flag=True, help="Ask nothing.")
@settings_option
def run_pump(additive: str, lasting: str, yes: bool, settings: Path) -> None:
    """Run the pump of ADDITIVE into a measuring cylinder, and say what it delivers.

    What stands in the cylinder afterwards gives the flow to be written into the settings. Nothing
    is entered into the bath's account.
    """
    from daemon.api.socket.client import ACT_PATIENCE_S, Client
    from daemon.api.socket.pumps import PumpRequest
    from daemon.service.settings.file import read_settings
    from daemon.units import UnitError, parse

    with errors():
        told = read_settings(settings)
        known = [each.additive for each in told.pump]
        if additive not in known:
            pumps = ", ".join(known) or "there is none in the settings"
            raise BadInputError(f"{additive!r} has no pump; pumps: {pumps}")
        try:
            for_s = parse(lasting, "s")
        except UnitError as error:
            raise BadInputError(f"--for: {error}") from error
        click.echo(CAUTIONS)
        if not yes and not click.confirm(f"Run the pump of {additive} for {for_s:g} s?"):
            raise RefusedError("nothing was done")
        client = Client(told.daemon.socket, timeout_s=ACT_PATIENCE_S)
        asked = PumpRequest(ask="run pump", additive=additive, for_s=for_s, who=who(), where=WHERE)
        ran = _followed(client, asked)
    if ran.ran_s is None:
        raise RefusedError("the daemon was started anew meanwhile: how long it ran is not known")
    click.echo(f"ran        {ran.ran_s:.1f} s")
    if ran.ran_cut_short is not None:
        click.echo(f"cut short  {ran.ran_cut_short}")
    if yes:
        click.echo(f"flow       what is in the cylinder, divided by {ran.ran_s:.1f} s")
    else:
        _say_flow(ran.ran_s)


@pump.command("stop")
@click.argument("additive")
@settings_option
def stop_pump(additive: str, settings: Path) -> None:
    """Stop the pump of ADDITIVE that is run by hand."""
    from daemon.api.socket.client import ACT_PATIENCE_S, Client
    from daemon.service.settings.file import read_settings

    with errors():
        client = Client(read_settings(settings).daemon.socket, timeout_s=ACT_PATIENCE_S)
        _stop(client, additive)
    click.echo(f"the pump of {additive} is stopped")


def _followed(client: Client, asked: PumpRequest) -> PumpStatus:
    """Have the pump run, and wait until it is over; Ctrl-C stops it."""
    found = _pump_of(_answered(client, asked), asked.additive)
    while found.by_hand:
        try:
            time.sleep(LOOK_S)
            found = _pump_of(_answered(client), asked.additive)
        except KeyboardInterrupt:
            # It may be over by now, which the next look tells.
            with suppress(RefusedError):
                _stop(client, asked.additive)
    return found


def _stop(client: Client, additive: str) -> None:
    from daemon.api.socket.pumps import PumpRequest

    _answered(client, PumpRequest(ask="stop pump", additive=additive, who=who(), where=WHERE))


def _answered(client: Client, request: PumpRequest | None = None) -> Answer:
    from daemon.api.socket.client import DaemonUnreachableError
    from daemon.api.socket.messages import StatusRequest

    try:
        answer = client.ask(request or StatusRequest())
    except DaemonUnreachableError as error:
        raise RefusedError(f"{error}; without a daemon no pump runs") from error
    if not answer.ok:
        raise RefusedError(answer.error or "no reason given")
    return answer


def _pump_of(answer: Answer, additive: str) -> PumpStatus:
    pumps = () if answer.status is None else answer.status.pumps
    found = next((each for each in pumps if each.additive == additive), None)
    if found is None:
        raise RefusedError(f"the daemon runs with other settings: {additive!r} has no pump there")
    return found


def _say_flow(ran_s: float) -> None:
    """Ask what came, and say which flow that is."""
    from daemon.units import UnitError, parse

    def read(text: str) -> float:
        try:
            volume_ml = parse(text, "mL")
        except UnitError as error:
            raise click.BadParameter(str(error)) from error
        if volume_ml <= 0:
            raise click.BadParameter(f"must be above 0 mL, got {text}")
        return volume_ml

    volume_ml: float = click.prompt("What is in the cylinder, such as 36.5 mL", value_proc=read)
    click.echo(f'flow = "{volume_ml / ran_s:.4g} mL/s"')
    click.echo("Take the mean of three, write it into the [[pump]], and start tankhand anew.")
