"""`tankhand operator`: who may act on the page."""

import sys
from pathlib import Path

import click

from daemon.service.commands.access_files import AccessFiles, day
from daemon.service.commands.command import BadInputError, RefusedError, settings_option


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

    files = AccessFiles(settings)
    password = _password()
    with files.troubles(files.operators.path):
        try:
            is_new = files.operators.add(name, password, files.utc_ms())
        except BadOperatorError as error:
            raise BadInputError(str(error)) from error
    click.echo(f"{name.strip()} {'is an operator' if is_new else 'has a new password'}.")
    files.keep("make an operator" if is_new else "give a new password", name.strip())


@operator.command("list")
@settings_option
def list_all(settings: Path) -> None:
    """List the operators, since when they have their password, and where they are signed in."""
    files = AccessFiles(settings)
    with files.troubles(files.operators.path):
        found, living = files.operators.all(), files.sessions.living()
    if not found:
        click.echo("There is no operator: whoever uses this machine may act on its page.")
    for each in found:
        places = [one.where for one in living if (one.name, one.mark) == (each.name, each.mark)]
        signed_in = f", signed in from {', '.join(places)}" if places else ""
        click.echo(f"{each.name}, since {day(each.since_utc_ms)}{signed_in}")


@operator.command()
@click.argument("name")
@settings_option
def remove(name: str, settings: Path) -> None:
    """Take NAME's right to act away, at once.

    The last operator stays as long as the page is for others than this machine.
    """
    from daemon.access.errors import BadOperatorError

    files = AccessFiles(settings)
    with files.troubles(files.operators.path):
        here = files.operators.find(name)
        page = files.settings.page
        if here is not None and len(files.operators.all()) == 1 and page.on:
            where = page.where()
            if not where.only_this_machine:
                raise RefusedError(
                    f"{here.name} is the last operator, and the page at {where.said} needs one: "
                    "add another one first, or have it listen on 127.0.0.1"
                )
        try:
            files.operators.remove(name)
        except BadOperatorError as error:
            raise RefusedError(str(error)) from error
    click.echo(f"{name.strip()} is no operator any more.")
    files.keep("remove an operator", name.strip())


@operator.command()
@click.argument("name", required=False)
@settings_option
def end_sessions(name: str | None, settings: Path) -> None:
    """End the sessions of NAME, or of everybody: who has signed in has to do it again."""
    files = AccessFiles(settings)
    with files.troubles(files.sessions.path):
        known = None
        if name is not None:
            known = files.operators.find(name)
            if known is None:
                raise RefusedError(f"{name!r} is no operator")
        ended = files.sessions.end_all(None if known is None else known.name)
    click.echo(f"{ended} {'session has' if ended == 1 else 'sessions have'} ended.")
    files.keep("end sessions", "everybody's" if known is None else f"{known.name}'s")


def is_terminal() -> bool:
    """Whether somebody types."""
    return sys.stdin.isatty()


def _password() -> str:
    if not is_terminal():
        return sys.stdin.readline().rstrip("\r\n")
    typed: str = click.prompt("Password", hide_input=True, confirmation_prompt="The same again")
    return typed
