"""What every command of the command line shares: its errors, the settings option, who asks."""

import getpass
import os
from collections.abc import Iterator
from contextlib import contextmanager
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


@contextmanager
def errors() -> Iterator[None]:
    """One clear error: code 2 for what was written, 1 for what the record refuses."""
    from pydantic import ValidationError
    from sqlalchemy.exc import DatabaseError

    from daemon.api.errors import InputError
    from daemon.api.explain import problems_of
    from daemon.api.socket.messages import BathEntryRequest
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


def who() -> str:
    """The name of the user who gives the command."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a user without a name; which of both depends on Python's version
        return f"user {os.getuid()}"
