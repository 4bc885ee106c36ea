"""What each cause brings about at this tank: `tankhand effects`. Needs no daemon."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import BadInputError, settings_option

if TYPE_CHECKING:  # loaded when it is needed, as in all commands
    from rich.table import Table

    from daemon.api.socket.effects import EffectsRow

YES, NO = "yes", "-"

CHECK_WIDTH = 110
"""Columns of a terminal from which on there is room for what to check first."""

FILE_WIDTH = 200
"""Columns where no terminal asks for less: each cause then stands in one line."""


@click.command()
@settings_option
def effects(settings: Path) -> None:
    """Show what each cause brings about: a stop of the run, beacon, siren, a message.

    A terminal of 110 columns or more also shows what to check first.
    """
    from rich.console import Console

    from daemon.api.effects import rows
    from daemon.api.errors import InputError
    from daemon.service.settings.file import read_settings

    try:
        read = read_settings(settings)
    except InputError as error:
        raise BadInputError(str(error)) from error
    table = read.cause_and_effect()
    console = Console(width=None if sys.stdout.isatty() else FILE_WIDTH)
    console.print(drawn(rows(table), check=console.width >= CHECK_WIDTH))


def drawn(rows: Sequence[EffectsRow], *, check: bool) -> Table:
    """The rows as a table, with what to check first if there is room for it."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD)
    table.add_column("cause", no_wrap=True)
    for head in ("priority", "stop", "after", "beacon", "siren", "tell"):
        table.add_column(head)
    if check:
        table.add_column("check first")
    for row in rows:
        signals = [YES if each else NO for each in (row.beacon, row.siren, row.tell)]
        cells = [row.cause, row.priority, row.stop, row.after or NO, *signals]
        table.add_row(*cells, *([row.check] if check else []))
    return table
