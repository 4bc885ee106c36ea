"""Lines for the machine's start: proposed with the file's name, written only if a person says so.

For each one by itself; nothing else here changes how the machine starts.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from install.files import write
from install.machine import say
from install.places import Places

CONFIGS = ("/boot/firmware/config.txt", "/boot/config.txt")
"""Where the Pi's firmware reads its configuration: newer systems, older ones."""

WATCHDOG = "/etc/systemd/system.conf.d/watchdog.conf"
_MANAGERS = ("/etc/systemd/system.conf", "/etc/systemd/system.conf.d")


@dataclass(frozen=True, slots=True)
class Proposal:
    """Lines for a file. `why` says what they are for; a line that matches `there` does it too."""

    lines: tuple[str, ...]
    why: str
    there: str


FIRMWARE = (
    Proposal(
        ("dtparam=i2c_arm=on,i2c_arm_baudrate=100000",),
        "I2C, for a meter of its own (hardware/channels.md); not needed with the supply alone",
        r"dtparam=(.*,)?i2c_arm(=on)?(,.*)?$",
    ),
    Proposal(
        ("dtoverlay=w1-gpio,gpiopin=4",),
        "1-Wire, for a thermometer on GPIO 4; not needed without one",
        r"dtoverlay=w1-gpio",
    ),
    Proposal(
        ("enable_uart=1", "dtoverlay=disable-bt"),
        "the Pi's own serial port on pins 14 and 15, through a converter for 3.3 V; not needed "
        "with a USB adapter. It takes Bluetooth away. By hand: take console=serial0,115200 out of "
        "cmdline.txt beside it",
        r"enable_uart=1$",
    ),
    Proposal(
        ("dtparam=watchdog=on",),
        "the hardware watchdog, which starts a Pi anew whose kernel hangs",
        r"dtparam=(.*,)?watchdog(=on)?(,.*)?$",
    ),
)

MANAGER = Proposal(
    ("[Manager]", "RuntimeWatchdogSec=14"),
    "systemd feeds the hardware watchdog; not more than 14 s, see hardware/service.md",
    r"RuntimeWatchdogSec=",
)


def propose(places: Places, ask: Callable[[str], bool] | None) -> None:
    """Show what is not there yet; write what `ask` says yes to. Without `ask` nothing is written.

    Nothing is proposed where there is neither the Pi's configuration nor a hardware watchdog.
    """
    config = next((path for path in map(places.at, CONFIGS) if path.is_file()), None)
    wanted = [(config, each) for each in FIRMWARE] if config is not None else []
    if config is not None or places.at("/dev/watchdog").exists():
        wanted.append((places.at(WATCHDOG), MANAGER))
    missing = [(path, each) for path, each in wanted if not _is_there(places, path, each)]
    if not missing:
        return
    say("\nLines for the machine's start that are not there; each acts after a reboot:")
    for path, each in missing:
        say(f"\n  {path}: {each.why}")
        for line in each.lines:
            say(f"      {line}")
        if ask is not None and ask("  Write this?"):
            _append(path, each)
            say(f"  written; as it was: {_kept(path)}" if _kept(path).exists() else "  written")
    if ask is None:
        say("\nNone of this was written: each is asked for by itself, in a terminal without --yes.")


def _is_there(places: Places, path: Path, proposal: Proposal) -> bool:
    files = [path]
    if proposal is MANAGER:
        single, folder = map(places.at, _MANAGERS)
        files = [single, *sorted(folder.glob("*.conf"))]
    lines = [line.strip() for file in files if file.is_file() for line in _lines(file)]
    return any(re.match(proposal.there, line) for line in lines)


def _lines(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8", errors="surrogateescape").splitlines()


def _kept(path: Path) -> Path:
    return path.with_name(f"{path.name}.before-tankhand")


def _append(path: Path, proposal: Proposal) -> None:
    """Add the lines at the end, for every model of the Pi; the file as it was first is kept."""
    before = path.read_bytes() if path.exists() else b""
    lines = list(proposal.lines)
    if proposal is not MANAGER:
        # A file may end in a section that is for one model only.
        lines = ["", f"# tankhand: {proposal.why.split(';')[0].split(',')[0]}", "[all]", *lines]
        if not _kept(path).exists():
            write(_kept(path), before)
    gap = b"" if not before or before.endswith(b"\n") else b"\n"
    write(path, before + gap + "\n".join([*lines, ""]).encode())
