"""Where things go: below `/`, or below a folder that stands for it."""

from dataclasses import dataclass
from pathlib import Path

SERVICE = "tankhand"
"""The name of unit, user and group."""

UNIT_FILE = "tankhand.service"
RULES_FILE = "90-tankhand.rules"
EXAMPLE_FILE = "settings.toml"
"""Files of `hardware/` that are installed."""


@dataclass(frozen=True, slots=True)
class Places:
    """Every path that installing writes to, below `root`."""

    root: Path = Path("/")

    def at(self, path: str) -> Path:
        """Where the absolute `path` of the installed system lies now."""
        return self.root / path.lstrip("/")

    @property
    def opt(self) -> Path:
        """The folder of the program."""
        return self.at("/opt/tankhand")

    @property
    def releases(self) -> Path:
        """One folder for each release."""
        return self.opt / "releases"

    @property
    def current(self) -> Path:
        """The link to the release in use."""
        return self.opt / "current"

    @property
    def command(self) -> Path:
        """The command for people, a link."""
        return self.at("/usr/local/bin/tankhand")

    @property
    def unit(self) -> Path:
        """The service's unit."""
        return self.at(f"/etc/systemd/system/{UNIT_FILE}")

    @property
    def rules(self) -> Path:
        """The udev rules."""
        return self.at(f"/etc/udev/rules.d/{RULES_FILE}")

    @property
    def etc(self) -> Path:
        """The settings' folder."""
        return self.at("/etc/tankhand")

    @property
    def settings(self) -> Path:
        """The settings of the service."""
        return self.etc / "settings.toml"

    @property
    def state(self) -> Path:
        """The folder of the record."""
        return self.at("/var/lib/tankhand")

    @property
    def backups(self) -> Path:
        """Where an upgrade puts its backup of the record."""
        return self.state / "backups"
