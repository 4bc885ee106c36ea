"""`tankhand operator`: who may act on the page.

The file is changed past the daemon, which need not run; the page reads it anew at its next look.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import BadInputError, RefusedError, errors, settings_option

if TYPE_CHECKING:  # pydantic takes its time, and `serve` has to have the output off first
    from daemon.access.operators import Operators
    from daemon.access.sessions import Sessions
    from daemon.service.settings import Settings


@click.group()
def operator() -> None:
    """Make, list and remove those who may act on the page, and end their sessions."""


@operator.command()
@click.argument("name")
@settings_option
def add(name: str, settings: Path) -> None:
    """Make NAME an operator, or give NAME a new password, which ends the sessions of the old one.

    The password is asked for twice, and not shown; without a terminal it is the first line of the
    standard input.
    """
    from daemon.access.errors import BadOperatorError

    place = _Place(settings)
    password = _password()
    with place.troubles():
        try:
            is_new = place.operators.add(name, password, place.utc_ms())
        except BadOperatorError as error:
            raise BadInputError(str(error)) from error
    click.echo(f"{name.strip()} {'is an operator' if is_new else 'has a new password'}.")


@operator.command("list")
@settings_option
def list_all(settings: Path) -> None:
    """List the operators, since when they have their password, and where they are signed in."""
    place = _Place(settings)
    with place.troubles():
        found, living = place.operators.all(), place.sessions.living()
    if not found:
        click.echo("There is no operator: whoever uses this machine may act on its page.")
    for each in found:
        places = [one.where for one in living if (one.name, one.mark) == (each.name, each.mark)]
        signed_in = f", signed in from {', '.join(places)}" if places else ""
        click.echo(f"{each.name}, since {_day(each.since_utc_ms)}{signed_in}")


@operator.command()
@click.argument("name")
@settings_option
def remove(name: str, settings: Path) -> None:
    """Take NAME's right to act away, at once.

    The last operator stays as long as the page is for others than this machine.
    """
    from daemon.access.errors import BadOperatorError

    place = _Place(settings)
    with place.troubles():
        here = place.operators.find(name)
        page = place.settings.page
        if here is not None and len(place.operators.all()) == 1 and page.on:
            where = page.where()
            if not where.only_this_machine:
                raise RefusedError(
                    f"{here.name} is the last operator, and the page at {where.said} needs one: "
                    "add another one first, or have it listen on 127.0.0.1"
                )
        try:
            place.operators.remove(name)
        except BadOperatorError as error:
            raise RefusedError(str(error)) from error
    click.echo(f"{name.strip()} is no operator any more.")


@operator.command()
@click.argument("name", required=False)
@settings_option
def end_sessions(name: str | None, settings: Path) -> None:
    """End the sessions of NAME, or of everybody: who has signed in has to do it again."""
    place = _Place(settings)
    with place.troubles():
        known = None
        if name is not None:
            known = place.operators.find(name)
            if known is None:
                raise RefusedError(f"{name!r} is no operator")
        ended = place.sessions.end_all(None if known is None else known.name)
    click.echo(f"{ended} {'session has' if ended == 1 else 'sessions have'} ended.")


class _Place:
    """The files of the tank with these settings."""

    def __init__(self, path: Path) -> None:
        from daemon.access.operators import Operators, operators_at
        from daemon.access.sessions import Sessions, sessions_at
        from daemon.clock import SystemClock, to_ms
        from daemon.service.settings import read_settings

        with errors():
            self.settings: Settings = read_settings(path)
        clock = SystemClock()
        self.utc_ms: Callable[[], int] = lambda: to_ms(clock.utc())
        record = self.settings.record.path
        self.operators: Operators = Operators(operators_at(record))
        self.sessions: Sessions = Sessions(sessions_at(record), self.utc_ms)

    @contextmanager
    def troubles(self) -> Iterator[None]:
        """Say what is wrong with the files, if anything is."""
        from daemon.access.errors import UnreadableError

        try:
            yield
        except UnreadableError as error:
            raise RefusedError(str(error)) from error
        except OSError as error:
            raise RefusedError(
                f"{self.operators.path}: cannot be changed: {error.strerror or error}"
            ) from error


def is_terminal() -> bool:
    """Whether somebody types."""
    return sys.stdin.isatty()


def _password() -> str:
    if not is_terminal():
        return sys.stdin.readline().rstrip("\r\n")
    typed: str = click.prompt("Password", hide_input=True, confirmation_prompt="The same again")
    return typed


def _day(utc_ms: int) -> str:
    return f"{datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone():%Y-%m-%d}"
