"""`tankhand settle`: what passed while a run was interrupted, by a person's word."""

from pathlib import Path

import click

from daemon.service.commands.asking import WHERE, ask
from daemon.service.commands.command import BadInputError, settings_option, who


@click.command()
@click.argument("run", type=click.IntRange(min=1))
@click.argument("charge")
@click.option("--note", default="", help="How that is known, such as 'the supply was off too'.")
@settings_option
def settle(run: int, charge: str, note: str, settings: Path) -> None:
    """Say that CHARGE, such as '0 Ah', passed while run RUN was interrupted.

    The daemon knows bounds only. The bath's account gets what you say, and a run that goes on with
    the part counts from it. A later word takes the place of an earlier one.
    """
    from daemon.api.socket.messages import SettleRequest
    from daemon.units import UnitError, parse

    try:
        charge_ah = parse(charge, "A·h")
    except UnitError as error:
        raise BadInputError(f"CHARGE: {error}") from error
    if charge_ah < 0:
        raise BadInputError(f"CHARGE: must not be less than 0 Ah, got {charge!r}")
    request = SettleRequest(run=run, charge_ah=charge_ah, note=note, who=who(), where=WHERE)
    ask(settings, request)
