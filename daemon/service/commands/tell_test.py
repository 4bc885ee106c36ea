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
    from daemon.clock import SystemClock
    from daemon.service.settings import read_settings
    from daemon.service.telling.rules import Moment
    from daemon.service.telling.teller import open_addresses
    from daemon.service.telling.wording import trial

    try:
        read = read_settings(settings)
        recipients = open_addresses(read.tell, read.telling, str(settings))
    except InputError as error:
        raise BadInputError(str(error)) from error
    if not recipients:
        raise BadInputError(f"{settings}: there is no [[tell]]: nobody is told of anything")
    names = [recipient.name for recipient, _ in recipients]
    if name is not None and name not in names:
        raise BadInputError(f"NAME must be one of {', '.join(names)}, got {name!r}")
    clock = SystemClock()
    letter = trial(read.bath.name, who(), Moment(clock.monotonic_s(), clock.utc()))
    failed = []
    for recipient, address in recipients:
        if name in (None, recipient.name):
            reason = address.send(letter)
            click.echo(f"{recipient.name}: {'sent' if reason is None else f'failed: {reason}'}")
            if reason is not None:
                failed.append(recipient.name)
    if failed:
        raise RefusedError(f"no message was taken by {', '.join(failed)}")
