"""One request to the daemon, and its answer printed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import BadInputError, RefusedError

WHERE = "command line"
"""From where the acts of these commands come, for the record."""


if TYPE_CHECKING:  # loading it takes its time, and `serve` has to have the output off first
    from daemon.api.socket.messages import Request


def ask(settings: Path, request: Request) -> None:
    """Send one request to the daemon of the settings file and print what it says."""
    from daemon.api.errors import InputError
    from daemon.api.socket.client import ACT_PATIENCE_S, Client, DaemonUnreachableError
    from daemon.service.commands import report
    from daemon.service.settings.file import read_settings

    try:
        socket = read_settings(settings).daemon.socket
        answer = Client(socket, timeout_s=ACT_PATIENCE_S).ask(request)
    except InputError as error:
        raise BadInputError(str(error)) from error
    except DaemonUnreachableError as error:
        raise RefusedError(str(error)) from error
    if not answer.ok or answer.status is None:
        raise RefusedError(answer.error or "no reason given")
    click.echo(report.text(answer.status))
    for note in answer.notes:
        click.echo(f"note       {note}")
    if answer.warning is not None:
        click.echo(f"tankhand: {answer.warning}", err=True)
