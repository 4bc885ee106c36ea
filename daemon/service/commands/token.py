"""`tankhand token`: what machines show to use the HTTP API."""

from pathlib import Path

import click

from daemon.service.commands.access_files import AccessFiles, day
from daemon.service.commands.command import BadInputError, RefusedError, settings_option

DAY_MS = 86_400_000

RIGHTS = ("read", "acknowledge", "command")
"""Of `daemon.access.tokens`, without loading it: a test compares them."""


@click.group()
def token() -> None:
    """Make, list and revoke tokens, by which machines use the HTTP API."""


@token.command()
@click.argument("name")
@click.option(
    "--right", type=click.Choice(RIGHTS), required=True,
    help="Look only; acknowledge alarms too; or all, starting a run included.",
)  # fmt: skip
@click.option(
    "--days", type=click.IntRange(1, 3650), help="Ends by itself after so many days; else never."
)
@settings_option
def add(name: str, right: str, days: int | None, settings: Path) -> None:
    """Make a token called NAME and show it, this once.

    NAME is what stands in the audit: that of the machine or program that uses it, and of no other.
    """
    from daemon.access.errors import BadTokenError
    from daemon.access.tokens import TOKEN_RIGHTS

    files = AccessFiles(settings)
    granted = next(each for each in TOKEN_RIGHTS if each == right)
    now_ms = files.utc_ms()
    ends_ms = None if days is None else now_ms + days * DAY_MS
    with files.troubles(files.tokens.path):
        try:
            shown = files.tokens.add(name, granted, now_ms, ends_ms)
        except BadTokenError as error:
            raise BadInputError(str(error)) from error
    # Alone on the standard output, for whoever sends it straight to where it belongs.
    click.echo(shown)
    told = f"{name.strip()}: {_may(right, ends_ms)}"
    click.echo(f"{told}. It is shown this once.", err=True)
    files.keep("make a token", told)


@token.command("list")
@settings_option
def list_all(settings: Path) -> None:
    """List the tokens, what each may do, since when, and until when."""
    files = AccessFiles(settings)
    with files.troubles(files.tokens.path):
        found = files.tokens.all()
    if not found:
        click.echo("There is no token.")
    for each in found:
        over = "" if each.holds(files.utc_ms()) else ": over"
        may = _may(each.right, each.ends_utc_ms)
        click.echo(f"{each.name}, since {day(each.since_utc_ms)}: {may}{over}")


@token.command()
@click.argument("name")
@settings_option
def revoke(name: str, settings: Path) -> None:
    """End the token called NAME, at once."""
    from daemon.access.errors import BadTokenError

    files = AccessFiles(settings)
    with files.troubles(files.tokens.path):
        try:
            ended = files.tokens.revoke(name)
        except BadTokenError as error:
            raise RefusedError(str(error)) from error
    click.echo(f"{ended.name} is worth nothing any more.")
    files.keep("revoke a token", ended.name)


def _may(right: str, ends_ms: int | None) -> str:
    until = "" if ends_ms is None else f", until {day(ends_ms)}"
    return f"may {right}{until}"
