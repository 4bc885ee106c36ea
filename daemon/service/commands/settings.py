"""`tankhand settings`: what the settings file says, and what holds besides. Needs no daemon."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import BadInputError, settings_option

if TYPE_CHECKING:  # loaded when it is needed, as in all commands
    from daemon.api.socket.settings import SettingsTable


@click.command("settings")
@click.option("--given", is_flag=True, help="Only what stands in the file.")
@settings_option
def show_settings(given: bool, settings: Path) -> None:
    """Show each setting with its value: what the file says, and the defaults of all else.

    A daemon that runs has read the file at its start; what it runs by is on its page, /settings.
    """
    from daemon.api.errors import InputError
    from daemon.service.settings.file import read_settings
    from daemon.service.settings.listed import listed

    try:
        tables, absent = listed(read_settings(settings))
    except InputError as error:
        raise BadInputError(str(error)) from error
    for table in tables:
        lines = list(_lines(table, given=given))
        if lines:
            click.echo("\n".join([f"{table.head} {table.name}".rstrip(), *lines, ""]))
    if absent and not given:
        click.echo(f"not there: {', '.join(absent)}")


def _lines(table: "SettingsTable", *, given: bool) -> Iterator[str]:
    for each in table.rows:
        if each.given or not given:
            yield f"  {each.key}: {each.value}{'' if each.given else ' (default)'}"
    if table.unset and not given:
        yield f"  not given: {', '.join(table.unset)}"
