"""`tankhand thresholds`: what the detectors of this tank have to see. Needs no daemon."""

from pathlib import Path

import click

from daemon.service.commands.command import BadInputError, settings_option


@click.command()
@click.option("--changed", is_flag=True, help="Only those that the settings change.")
@settings_option
def thresholds(changed: bool, settings: Path) -> None:
    """List what the detectors have to see, as the settings' [thresholds] may change it.

    Why each is what it is stands beside it in the source, daemon/control/protection/detectors.
    """
    from daemon.api.errors import InputError
    from daemon.service.settings.file import read_settings

    try:
        listed = read_settings(settings).chosen_thresholds().listed()
    except InputError as error:
        raise BadInputError(str(error)) from error
    for each in listed:
        is_changed = each.value != each.default
        if is_changed or not changed:
            was = f"   # default {each.default:g} {each.unit}".rstrip() if is_changed else ""
            value = f'"{each.value:g} {each.unit}"' if each.unit else f"{each.value:g}"
            click.echo(f"{each.key} = {value}{was}")
