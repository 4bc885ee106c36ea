"""Finding and reading the file that describes a supply, without checking what it says."""

import tomllib
from pathlib import Path
from typing import Any

from drivers.errors import DescriptionError

SCPI = "scpi"
MODBUS_RTU = "modbus-rtu"
"""What the key `protocol` of a description may say; without it, the supply speaks SCPI."""

_FOLDERS = ("scpi", "modbus")


def _shipped() -> dict[str, Path]:
    """The descriptions that come with tankhand, by their names."""
    here = Path(__file__).parent
    paths = [path for folder in _FOLDERS for path in (here / folder).glob("*.toml")]
    return {path.stem: path for path in sorted(paths)}


def description_path(name: str | Path) -> Path:
    """Where a description lies: a bare word names a shipped one, anything else is a path.

    Raises `DescriptionError` if there is no such file.
    """
    bare = isinstance(name, str) and "/" not in name and not name.endswith(".toml")
    path = _shipped().get(str(name)) if bare else Path(name)
    if path is None or not path.is_file():
        raise DescriptionError(
            f"{name}: no such description; give the path of a .toml file, or one of the "
            f"shipped: {', '.join(_shipped())}"
        )
    return path


def read_tables(path: Path) -> dict[str, Any]:
    """The file's tables as they stand. Raises `DescriptionError` if it is not readable TOML."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise DescriptionError(f"{path}: not readable as TOML: {error}") from error


def protocol_of(name: str | Path) -> str:
    """What the described supply speaks: `SCPI` or `MODBUS_RTU`. Raises `DescriptionError`."""
    path = description_path(name)
    protocol = read_tables(path).get("protocol", SCPI)
    if protocol not in (SCPI, MODBUS_RTU):
        raise DescriptionError(
            f"{path}: protocol: got {protocol!r}, allowed: {SCPI!r} or {MODBUS_RTU!r}"
        )
    return str(protocol)
