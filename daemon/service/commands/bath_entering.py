"""What the commands about the bath share: the look at its account, the entry, the errors."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daemon.service.commands.asking import WHERE
from daemon.service.commands.command import BadInputError, RefusedError, who

if TYPE_CHECKING:
    from daemon.api.bath_texts import Written
    from daemon.api.messages import BathEntryRequest
    from daemon.api.part_messages import PartRequest
    from daemon.bath.book import Book


def send(settings: Path, *, written: Written | None = None, **fields: Any) -> None:
    """Send the entry to the daemon; say its number, and what there is to know."""
    from daemon.api.messages import BathEntryRequest

    if written is not None:
        fields |= {"amounts": written.amounts, "facts": written.facts}
    keep_by(settings, BathEntryRequest(who=who(), where=WHERE, **fields), "entry")


def keep_by(settings: Path, request: BathEntryRequest | PartRequest, what: str) -> None:
    """Have the daemon keep it; say its number, as that of `what`, and what there is to know."""
    from daemon.api.client import ACT_PATIENCE_S, Client, DaemonUnreachableError
    from daemon.service.settings import read_settings

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
    from daemon.api.bath_texts import day_end
    from daemon.clock import to_ms
    from daemon.service.commands import bath_reading
    from daemon.service.settings import read_settings

    on_utc_ms = None if on is None else to_ms(day_end("--on", on))
    return bath_reading.read(read_settings(settings), on_utc_ms)


@contextmanager
def errors() -> Iterator[None]:
    """One clear error: code 2 for what was written, 1 for what the record refuses."""
    from pydantic import ValidationError
    from sqlalchemy.exc import DatabaseError

    from daemon.api.errors import InputError
    from daemon.api.explain import problems_of
    from daemon.api.messages import BathEntryRequest
    from daemon.record.errors import RecordError
    from daemon.record.store import refusal

    try:
        yield
    except InputError as error:
        raise BadInputError(str(error)) from error
    except ValidationError as error:
        raise BadInputError("\n".join(problems_of(error, BathEntryRequest))) from error
    except RecordError as error:
        raise RefusedError(str(error)) from error
    except DatabaseError as error:
        raise RefusedError(f"the record cannot be read: {refusal(error)}") from error
