"""`tankhand backup` and `tankhand restore`: the record as one file more, and back."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import RefusedError, errors, settings_option

if TYPE_CHECKING:
    from daemon.record.backup import Copied

MINUTE = "%Y-%m-%d %H:%M UTC"


@click.command()
@click.argument("to", type=click.Path(path_type=Path))
@settings_option
def backup(to: Path, settings: Path) -> None:
    """Copy the record to the file TO, or into the folder TO; during a run too.

    The copy is looked through before it gets its name. It is not written over anything. Settings
    and descriptions of devices are files of yours, and not in it.
    """
    from daemon.clock import SystemClock
    from daemon.record.backup import back_up
    from daemon.service.settings.file import read_settings

    with errors():
        record = read_settings(settings).record.path
        if to.is_dir():
            to /= f"{record.stem}-{SystemClock().utc():%Y-%m-%dT%H%M%SZ}{record.suffix}"
        copied = back_up(record, to)
    click.echo(f"backed up  {_told(copied)}")


@click.command()
@click.argument("backup", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--replace", is_flag=True, help="Also where there is a record: it is put aside.")
@settings_option
def restore(backup: Path, replace: bool, settings: Path) -> None:
    """Make BACKUP, a file of `tankhand backup`, the record. Not while the daemon runs.

    What was recorded after it was made is not in it: charge of later runs, doses, analyses. Enter
    what you know of them before the bath is trusted again.
    """
    from daemon.record.backup import restore as put_back
    from daemon.record.errors import RecordThereError
    from daemon.service.settings.file import read_settings

    with errors():
        record = read_settings(settings).record.path
        try:
            copied = put_back(backup, record, replace=replace)
        except RecordThereError as error:
            raise RefusedError(f"{error}; --replace puts it aside") from error
    click.echo(f"restored   {_told(copied)}")
    if copied.aside is not None:
        click.echo(f"put aside  the record that was there: {copied.aside}")


def _told(copied: Copied) -> str:
    runs = "1 run" if copied.runs == 1 else f"{copied.runs} runs"
    newest = ""
    if copied.newest_ms is not None:
        newest = f", the newest of {datetime.fromtimestamp(copied.newest_ms / 1000, UTC):{MINUTE}}"
    return f"{copied.to}: {runs}{newest}; {copied.size_bytes / 1e6:.1f} MB, looked through"
