"""What the commands about the bath share: the look at its account, and the entry."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daemon.service.commands.asking import WHERE
from daemon.service.commands.command import RefusedError, who

if TYPE_CHECKING:
    from daemon.api.bath.bath_texts import Written
    from daemon.api.socket.messages import BathEntryRequest
    from daemon.api.socket.parts import PartRequest
    from daemon.bath.book import Book


def send(settings: Path, *, written: Written | None = None, **fields: Any) -> None:
    """Send the entry to the daemon; say its number, and what there is to know."""
    from daemon.api.socket.messages import BathEntryRequest

    if written is not None:
        fields |= {"amounts": written.amounts, "facts": written.facts}
    keep_by(settings, BathEntryRequest(who=who(), where=WHERE, **fields), "entry")


def keep_by(settings: Path, request: BathEntryRequest | PartRequest, what: str) -> None:
    """Have the daemon keep it; say its number, as that of `what`, and what there is to know."""
    from daemon.api.socket.client import ACT_PATIENCE_S, Client, DaemonUnreachableError
    from daemon.service.settings.file import read_settings

    try:
        answer = Client(read_settings(settings).daemon.socket, ACT_PATIENCE_S).ask(request)
    except DaemonUnreachableError as error:
        raise RefusedError(f"{error}; only the daemon writes: nothing was entered") from error
    if not answer.ok or answer.entry is None:
        raise RefusedError(answer.error or "no reason given")
    click.echo(f"{what} {answer.entry}")
    for note in answer.notes:
        click.echo(f"note       {note}")


def read(settings: Path, on: str | None = None) -> Book:
    """The bath now, or at the end of the day `on`."""
    from daemon.api.bath.bath_texts import day_end
    from daemon.clock import to_ms
    from daemon.service.commands import bath_reading
    from daemon.service.settings.file import read_settings

    on_utc_ms = None if on is None else to_ms(day_end("--on", on))
    return bath_reading.read(read_settings(settings), on_utc_ms)
