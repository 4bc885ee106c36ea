"""`./go install` and `./go uninstall`: what will be done is said first, and asked for once."""

import argparse
import os
import shutil
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from install import boot
from install.asking import look_at, refuse_if_busy, service_runs
from install.change_over import Change, check_settings
from install.errors import InstallError
from install.machine import Elsewhere, Machine, say
from install.places import EXAMPLE_FILE, SERVICE, Places
from install.preparing import Step, steps, tools
from install.release import ROOM_BYTES, Release, in_use, make, prune, release_of
from install.remove import parts, refuse_to_remove, remove, say_what_stays

CLONE = Path(__file__).resolve().parent.parent
CLOSED = ("/home", "/root", "/run/user")
"""What the unit hides from the service (`ProtectHome=`)."""

BOOTED = Path("/run/systemd/system")
"""Is there where systemd runs the system: sd_booted(3)."""

Ask = Callable[[str], bool]


@dataclass(frozen=True, slots=True)
class Site:
    """Where to install what, and on which machine.

    pins: whether with the library for the Pi's pins. yes: go on without asking. python: which one
    the release will use.
    """

    places: Places
    machine: Machine
    clone: Path = CLONE
    pins: bool = False
    yes: bool = False
    python: Path = field(default_factory=lambda: Path(sys.executable).resolve())


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code: 0, 1 where it is refused or fails, 2 for a wrong word."""
    parser = argparse.ArgumentParser(prog="./go")
    commands = parser.add_subparsers(dest="command", required=True)
    installs = commands.add_parser("install", help="install or upgrade the service")
    removes = commands.add_parser("uninstall", help="remove it; record and settings stay")
    for each in (installs, removes):
        each.add_argument("--yes", action="store_true", help="do it without asking")
        each.add_argument(
            "--root", type=Path, default=Path("/"), metavar="DIR",
            help="write below DIR, call nothing, and say what to call there",
        )  # fmt: skip
    installs.add_argument(
        "--pins", action=argparse.BooleanOptionalAction, default=_has_pins(),
        help="with the library for the Pi's pins; default: where there are any",
    )  # fmt: skip
    options = parser.parse_args(arguments)
    root = options.root.absolute()
    machine = Machine() if root == Path("/") else Elsewhere(root)
    site = Site(Places(root), machine, CLONE, getattr(options, "pins", False), options.yes)
    os.umask(0o022)  # the service's user has to read what root writes here
    try:
        _can_run(machine)
        (install if options.command == "install" else uninstall)(site, _terminal())
    except InstallError as error:
        return _failed(str(error))
    except OSError as error:
        return _failed(f"{error.filename or 'the system'}: {error.strerror or error}")
    except KeyboardInterrupt:
        return _failed("broken off. The same command again does what is left to do")
    return 0


def install(site: Site, ask: Ask | None) -> None:
    """Install, or upgrade to, the release that the clone makes. Raises InstallError, OSError.

    ask: asks a person a question; None where there is nobody.
    """
    places, machine = site.places, site.machine
    new, old = release_of(site.clone, places, pins=site.pins), in_use(places)
    _check(site, new)
    todo = steps(places, machine, site.clone)
    if site.pins and machine.is_here and not new.is_whole:
        todo = tools(machine) + todo
    due = not new.is_whole or not places.settings.exists() or _change(site, new).is_due()
    if due and machine.is_here and places.settings.exists():
        refuse_if_busy(machine, look_at(places.settings), starts_again=True)
    if not todo and not due:
        say(f"{new.name} is installed and in use; there is nothing to do")
    else:
        runs = service_runs(machine)
        say(f"tankhand {new.name}, from {site.clone}, pins: {'yes' if site.pins else 'no'}\n")
        for line in _plan(site, new, old, todo, due=due, runs=runs):
            say(f"  {line}")
        _agree(site, ask)
        _do(site, new, old, todo, due=due)
    _say_next(site)
    boot.propose(places, None if site.yes or not machine.is_here else ask)


def _check(site: Site, new: Release) -> None:
    """Refuse what cannot work before anything is made."""
    places = site.places
    ours = "/opt/tankhand/current/venv/bin/tankhand"
    taken = places.command.exists() and not places.command.is_symlink()
    if taken or (places.command.is_symlink() and str(places.command.readlink()) != ours):
        raise InstallError(f"{places.command} is there and not ours; move it away")
    if site.machine.is_here and str(site.python).startswith(CLOSED):
        raise InstallError(
            f"this Python is {site.python}, where the service may not look. Use the system's: "
            "apt-get install python3 python3-venv"
        )
    standing = next(path for path in (places.releases, *places.releases.parents) if path.exists())
    free = shutil.disk_usage(standing).free
    if not new.is_whole and free < ROOM_BYTES:
        raise InstallError(
            f"{standing}: {free / 1e6:.0f} MB are free, a release wants {ROOM_BYTES / 1e6:.0f} MB"
        )


def _plan(
    site: Site, new: Release, old: Release | None, todo: list[Step], *, due: bool, runs: bool
) -> list[str]:
    """What will be done, a line each."""
    places, lines = site.places, [step.text for step in todo]
    if not new.is_whole:
        lines.append(f"make     {new.folder}, with Python packages from the network: minutes")
    if not due:
        return lines
    if site.machine.is_here and places.settings.exists():
        record = look_at(places.settings).record
        if runs:
            lines.append(
                f"stop     the service {SERVICE}, in good order, unless a run is under way"
            )
        if record.exists():
            lines.append(f"back up  {record} into {places.backups}")
    lines.append(f"write    {places.unit}")
    lines.append(f"write    {places.rules}")
    lines.append(f"link     {places.current} to {new.name}" + (f", from {old.name}" if old else ""))
    lines.append(f"link     {places.command}")
    if runs:
        lines.append("start    the service; if it does not get ready, all of this is undone")
    if old is not None and old != new:
        lines.append("remove   releases older than these two")
    return lines


def _do(site: Site, new: Release, old: Release | None, todo: list[Step], *, due: bool) -> None:
    for step in todo:
        step.act()
    if not new.is_whole:
        say("making the release; nothing is said until it is made")
    make(new, site.clone, site.places, pins=site.pins)
    if not due:
        return
    check_settings(new, site.places.settings)
    _change(site, new).run()
    say(f"{new.name} is in use")
    # Made anew, or its unit put right: there is no other release to go back to than before.
    gone = prune(site.places, (new, old)) if old != new else []
    if gone:
        say(f"removed: {', '.join(gone)}")


def _change(site: Site, new: Release) -> Change:
    return Change(site.places, site.machine, new, look_at(site.places.settings))


def _say_next(site: Site) -> None:
    """What the person has to do now."""
    places = site.places
    if service_runs(site.machine):
        say("the service runs: tankhand status")
        return
    example = site.clone / "hardware" / EXAMPLE_FILE
    say("\nThe service does not run, and was not started. Next:")
    if places.settings.read_bytes() == example.read_bytes():
        say(f"  fill in {places.settings}: the supply's port, the bath's name")
    say(f"  sudo systemctl enable --now {SERVICE}")
    say(f'  sudo usermod -aG {SERVICE} "$USER"    then log in again, and: tankhand status')
    say("Software on a Pi is no safety function. Before a bath is energised: an emergency stop in")
    say(f"the supply's mains line; {places.opt}/current/source/hardware/commissioning.md")


def uninstall(site: Site, ask: Ask | None) -> None:
    """Remove the program and leave what people have put into it. Raises InstallError, OSError."""
    refuse_to_remove(site.places, site.machine)
    found = parts(site.places)
    if not found:
        say("tankhand is not installed; there is nothing to remove")
    else:
        say(f"stop     the service {SERVICE}")
        for path in found:
            say(f"remove   {path}")
        _agree(site, ask)
        remove(site.places, site.machine)
        say("tankhand is removed")
    say_what_stays(site.places)


def _agree(site: Site, ask: Ask | None) -> None:
    if site.yes:
        return
    if ask is None:
        raise InstallError("there is nobody to ask: --yes does it without. Nothing was changed")
    if not ask("\nDo this?"):
        raise InstallError("nothing was changed")


def _terminal() -> Ask | None:
    """Ask whoever sits at the terminal; None without one."""
    if not sys.stdin.isatty():
        return None
    return _typed


def _typed(question: str) -> bool:
    try:
        return input(f"{question} [y/N] ").strip().lower() in {"y", "yes"}
    except EOFError:
        return False


def _can_run(machine: Machine) -> None:
    if not machine.is_here:
        return
    if os.geteuid() != 0:
        raise InstallError("this needs root: put sudo before it. Nothing was changed")
    if shutil.which("systemctl") is None or not BOOTED.is_dir():
        raise InstallError(
            "systemd does not run this system. For an image or a folder: "
            "--root DIR. Nothing was changed"
        )


def _has_pins() -> bool:
    return any(Path("/dev").glob("gpiochip*"))


def _failed(text: str) -> int:
    sys.stderr.write(f"go: {text}\n")
    return 1


if __name__ == "__main__":
    sys.exit(main())
