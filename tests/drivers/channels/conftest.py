"""A plain folder that stands in for /sys, laid out as the kernel lays it out."""

import shutil
from pathlib import Path

import pytest


class Sysfs:
    """Chips that are plugged in and out. Every method for a chip gives or takes its folder."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def hwmon(self, number: int, name: str, address: str, **files: object) -> Path:
        device = self.root / f"devices/platform/i2c-1/{address}"
        folder = self._fill(device / f"hwmon/hwmon{number}", {"name": name, **files})
        (folder / "device").symlink_to(device)
        return self._link(folder, "class/hwmon")

    def iio(self, number: int, name: str, address: str, files: dict[str, object]) -> Path:
        device = self.root / f"devices/platform/i2c-1/{address}"
        folder = self._fill(device / f"iio:device{number}", {"name": name, **files})
        return self._link(folder, "bus/iio/devices")

    def w1(self, address: str, **files: object) -> Path:
        folder = self._fill(self.root / f"devices/w1_bus_master1/{address}", files)
        return self._link(folder, "bus/w1/devices")

    def unplug(self, link: Path) -> None:
        """Take the chip away. An open file of a plain folder outlives it, so it is emptied first:
        the kernel's own says ENODEV, which is tested beside this."""
        folder = link.resolve()
        for path in folder.iterdir():
            if path.is_file():
                path.write_text("")
        link.unlink()
        shutil.rmtree(folder)

    def _fill(self, folder: Path, files: dict[str, object]) -> Path:
        folder.mkdir(parents=True)
        for file, content in files.items():
            (folder / file).write_text(f"{content}\n")
        return folder

    def _link(self, folder: Path, shelf: str) -> Path:
        link = self.root / shelf / folder.name
        link.parent.mkdir(parents=True, exist_ok=True)
        link.symlink_to(folder)
        return link


@pytest.fixture
def sysfs(tmp_path: Path) -> Sysfs:
    return Sysfs(tmp_path / "sys")
