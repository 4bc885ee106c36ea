"""What every command of the command line shares: its errors, the settings option, who asks."""

import getpass
import os
from pathlib import Path

import click

DEFAULT_SETTINGS = Path("/etc/tankhand/settings.toml")

settings_option = click.option(
    "--settings",
    type=click.Path(path_type=Path),
    envvar="TANKHAND_SETTINGS",
    default=DEFAULT_SETTINGS,
    show_default=True,
    help="The settings file; also from TANKHAND_SETTINGS.",
)


class RefusedError(click.ClickException):
    """One clear error; the exit code is 1."""

    def show(self, file: object = None) -> None:  # noqa: ARG002
        """Print the error to stderr."""
        click.echo(f"tankhand: {self.message}", err=True)


class BadInputError(RefusedError):
    """What was written cannot be used; the exit code is 2."""

    exit_code = 2


def who() -> str:
    """The name of the user who gives the command."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a user without a name; which of both depends on Python's version
        return f"user {os.getuid()}"
