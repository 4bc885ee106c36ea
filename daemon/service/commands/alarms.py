"""What a person does about alarms: `tankhand acknowledge`, `shelve` and `unshelve`."""

from pathlib import Path

import click

from daemon.service.commands.asking import WHERE, ask
from daemon.service.commands.command import BadInputError, settings_option, who

number = click.argument("alarm", type=click.IntRange(min=1))


@click.command()
@click.argument("alarm", type=click.IntRange(min=1), required=False)
@settings_option
def acknowledge(alarm: int | None, settings: Path) -> None:
    """Say that you have seen all alarms, or the one with this number: the siren falls silent."""
    from daemon.api.socket.messages import AlarmRequest

    ask(settings, AlarmRequest(ask="acknowledge", who=who(), where=WHERE, alarm=alarm))


@click.command()
@number
@click.option("--for", "length", required=True, help="For how long, such as '2 h'; 12 h at most.")
@settings_option
def shelve(alarm: int, length: str, settings: Path) -> None:
    """Keep an alarm quiet for a while. What it does to a run it goes on doing."""
    from daemon.api.socket.messages import AlarmRequest
    from daemon.units import UnitError, parse

    try:
        for_s = parse(length, "s")
    except UnitError as error:
        raise BadInputError(f"--for: {error}") from error
    if for_s <= 0:
        raise BadInputError(f"--for: must be more than 0 s, got {length!r}")
    ask(settings, AlarmRequest(ask="shelve", who=who(), where=WHERE, alarm=alarm, for_s=for_s))


@click.command()
@number
@settings_option
def unshelve(alarm: int, settings: Path) -> None:
    """Take an alarm off the shelf before its time."""
    from daemon.api.socket.messages import AlarmRequest

    ask(settings, AlarmRequest(ask="unshelve", who=who(), where=WHERE, alarm=alarm))
