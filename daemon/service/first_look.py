"""The few settings that "output off" needs, read before anything heavy is loaded or checked."""

import tomllib
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class SupplyLine:
    """The supply's port and its description: a shipped name, or a file's absolute path."""

    port: str
    description: str


def description_at(name: str, folder: Path) -> str:
    """What `description = name` in a settings file in `folder` means: a file if it ends so."""
    return str(folder / name) if name.endswith(".toml") else name


def supply_line(settings: Path) -> SupplyLine | None:
    """The supply of a settings file as far as it can be told; None if it cannot.

    Nothing is raised: whoever reads the settings in full says what is wrong with them.
    """
    try:
        supply = tomllib.loads(settings.read_text(encoding="utf-8"))["supply"]
        port, name = supply["port"], supply.get("description", "scpi99")
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    if not isinstance(port, str) or not isinstance(name, str):
        return None
    return SupplyLine(port, description_at(name, settings.absolute().parent))
