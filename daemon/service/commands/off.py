"""`tankhand off`: everything off, past any daemon, for the end of the service and as a last resort.

It needs no daemon and no record, and of the settings only the supply and the pins of lines.
"""

from __future__ import annotations

import fcntl
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import BadInputError, settings_option

if TYPE_CHECKING:
    from daemon.service.supervision.first_look import FirstLook, SupplyLine


@click.command()
@settings_option
def off(settings: Path) -> None:
    """Output off, contactor open, dosing pumps still, past any daemon: a last resort.

    The exit code is 0 if the supply was told, and has confirmed it where it could be asked.
    """
    from daemon.service.supervision.first_look import FirstLook, UnusableSettingsError

    try:
        look = FirstLook(settings)
        line = look.line
    except UnusableSettingsError as error:
        raise BadInputError(str(error)) from error
    guarded = _is_guarded(settings)
    well = _done(lambda: _supply_off(line))
    if guarded:
        click.echo(
            "a daemon runs with these settings and was not asked: it will take this for a fault; "
            "`tankhand abort` ends its run and lets its contactor open"
        )
    else:
        well = _done(lambda: _let_go(look)) and well
        well = _done(lambda: _stop_pumps(look)) and well
    if not well:
        sys.exit(1)


def _done(way: Callable[[], str | None]) -> bool:
    """Go this way and say what came of it; whether it led there."""
    from daemon.service.supervision.first_look import UnusableSettingsError
    from drivers.errors import DriverError

    try:
        said = way()
    except (DriverError, UnusableSettingsError) as error:
        click.echo(f"tankhand: {error}", err=True)
        return False
    if said is not None:
        click.echo(said)
    return True


def _is_guarded(settings: Path) -> bool:
    """Whether a daemon runs with these settings: its guard holds their lock."""
    with settings.open("rb") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
    return False


def _supply_off(line: SupplyLine) -> str:
    """Say "output off" past whoever holds the port, and ask the supply if nobody does.

    Raises `DriverError` if it cannot be said, or if the supply that is asked does not confirm it.
    """
    from drivers.errors import LinkError, PortUnavailableError
    from drivers.off import off_line

    with closing(off_line(line.port, line.description)) as handle:
        failure = handle.send()
        if failure is not None:
            raise LinkError(failure)
        try:
            handle.open(alone=True)
        except PortUnavailableError as error:
            return f"the supply was told to switch its output off; it cannot be asked: {error}"
        failure = handle.prove()
        if failure is not None:
            raise LinkError(failure)
    return "the supply was told to switch its output off, and has confirmed it"


def _let_go(look: FirstLook) -> str | None:
    """Drive the contactor's line low, if there is one. Raises `PinError`."""
    pin = look.heartbeat_pin
    if pin is None:
        return None
    # By its module, as the loop does: gpiozero is loaded only where there is a contactor.
    from drivers.pins import lines

    lines.HeartbeatLine(pin, lines.pi_factory()).close()
    return f"GPIO{pin}, the contactor's line, is low"


def _stop_pumps(look: FirstLook) -> str | None:
    """Drive the lines of all dosing pumps low, if there are any. Raises `PinError`."""
    pins = look.pump_pins
    if not pins:
        return None
    from drivers.pins import lines

    factory = lines.pi_factory()
    for pin in pins:
        lines.HeartbeatLine(pin, factory, "pump").close()
    named = ", ".join(f"GPIO{pin}" for pin in pins)
    return f"{named}: low, no dosing pump runs"
