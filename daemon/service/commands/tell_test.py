"""`tankhand tell-test`: whether messages arrive."""

from pathlib import Path

import click

from daemon.service.commands.command import BadInputError, RefusedError, settings_option, who


@click.command("tell-test")
@click.argument("name", required=False)
@settings_option
def tell_test(name: str | None, settings: Path) -> None:
    """Send a test message to every address of the settings, or to the one of this NAME."""
    from daemon.api.errors import InputError
    from daemon.service.settings.file import read_settings
    from daemon.service.telling.teller import trials

    try:
        read = read_settings(settings)
        found = trials(read.tell, read.telling, read.bath.name, who(), str(settings))
    except InputError as error:
        raise BadInputError(str(error)) from error
    if not found:
        raise BadInputError(f"{settings}: there is no [[tell]]: nobody is told of anything")
    names = [recipient for recipient, _ in found]
    if name is not None and name not in names:
        raise BadInputError(f"NAME must be one of {', '.join(names)}, got {name!r}")
    failed = []
    for recipient, send in found:
        if name in (None, recipient):
            reason = send()
            click.echo(f"{recipient}: {'sent' if reason is None else f'failed: {reason}'}")
            if reason is not None:
                failed.append(recipient)
    if failed:
        raise RefusedError(f"no message was taken by {', '.join(failed)}")
