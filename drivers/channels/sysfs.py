"""Finding a chip's folder in the kernel's file system, by what it is and where it is connected.

The numbers in `hwmon0` and `iio:device0` follow the order in which drivers were loaded. A chip that
was unplugged comes back under another one, so they are never used to know a chip.
"""

from collections.abc import Collection
from enum import StrEnum
from pathlib import Path

from drivers.errors import PortUnavailableError, WrongDeviceError

SYSFS = Path("/sys")


class Bus(StrEnum):
    """The kernel's three ways to show a sensor."""

    HWMON = "hwmon"
    IIO = "iio"
    W1 = "w1"


_FOLDERS = {
    Bus.HWMON: Path("class/hwmon"),
    Bus.IIO: Path("bus/iio/devices"),
    Bus.W1: Path("bus/w1/devices"),
}


def find_chip(root: Path, bus: Bus, names: Collection[str], address: str) -> Path:
    """The folder of the chip at `address` (as "1-0040" on I2C, "28-0316a2795e1f" on 1-Wire).

    On hwmon and IIO the chip's file `name` has to say one of `names`; on 1-Wire the address tells
    the kind of chip. Raises `PortUnavailableError` if nothing is there, `WrongDeviceError` if only
    something else is; both name what was found.
    """
    folder = root / _FOLDERS[bus]
    found = [(_name(path, bus), _address(path, bus), path) for path in _entries(folder)]
    here = [(name, path) for name, at, path in found if at == address]
    for name, path in here:
        if bus is Bus.W1 or name in names:
            return path
    wanted = f"{' or '.join(names) or 'chip'} at {address}"
    if here:
        others = ", ".join(name for name, _ in here)
        raise WrongDeviceError(f"{folder}: expected {wanted}, but {others} is at that address")
    seen = ", ".join(f"{name} at {at}".lstrip() for name, at, _ in found) or "nothing"
    raise PortUnavailableError(f"{folder}: there is no {wanted}; there is {seen}")


def _entries(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError:
        # The folder appears with the first driver of its kind.
        return []


def _name(path: Path, bus: Bus) -> str:
    if bus is Bus.W1:
        return ""
    try:
        return (path / "name").read_text(encoding="ascii", errors="replace").strip()
    except OSError:
        # It may go away while the others are looked at.
        return "something without a name"


def _address(path: Path, bus: Bus) -> str:
    """Where the chip is connected, as the kernel names that place."""
    if bus is Bus.W1:
        return path.name
    # A folder of hwmon links to its device; one of IIO lies in its device's own.
    link = path / "device"
    return link.resolve().name if link.exists() else path.resolve().parent.name
