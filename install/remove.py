"""Taking tankhand off a machine, all but what people have put into it."""

import shutil
from contextlib import suppress
from pathlib import Path

from install.asking import look_at, refuse_if_busy
from install.errors import InstallError
from install.machine import Machine, reload, say
from install.places import SERVICE, Places


def parts(places: Places) -> list[Path]:
    """What there is to remove."""
    found = (places.unit, places.rules, places.command, places.current, places.releases)
    return [path for path in found if path.is_symlink() or path.exists()]


def refuse_to_remove(places: Places, machine: Machine) -> None:
    """Raise InstallError while a run is under way, or where that is not known."""
    if machine.is_here and places.settings.exists():
        refuse_if_busy(machine, look_at(places.settings))


def remove(places: Places, machine: Machine) -> None:
    """Stop the service and remove the program; a second time there is less to do."""
    refuse_to_remove(places, machine)
    if places.unit.exists():
        machine.run("systemctl", "disable", "--now", SERVICE)
    for path in parts(places):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()
    reload(machine)
    with suppress(OSError):  # there may be something of the person's own in it
        places.opt.rmdir()


def say_what_stays(places: Places) -> None:
    """Say where everything is that was left."""
    say("left, since it is yours:")
    record = places.state / "record.sqlite"
    with suppress(InstallError):
        record = look_at(places.settings).record
    say(f"  the record     {record}, and what lies beside it")
    say(f"  backups        {places.backups}")
    say(f"  the settings   {places.etc}")
    say(f"  the user and group {SERVICE}, to whom they belong")
    say("  lines for the machine's start, if you had any written: hardware/service.md")
