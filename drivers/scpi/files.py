"""Finding and reading the file that describes a supply, without checking what it says."""

import tomllib
from pathlib import Path
from typing import Any

from drivers.errors import DescriptionError

_SHIPPED = Path(__file__).parent


def shipped_names() -> list[str]:
    """The names of the descriptions that come with tankhand."""
    return sorted(path.stem for path in _SHIPPED.glob("*.toml"))


def description_path(name: str | Path) -> Path:
    """Where a description lies: a bare word names a shipped one, anything else is a path.

    Raises `DescriptionError` if there is no such file.
    """
    bare = isinstance(name, str) and "/" not in name and not name.endswith(".toml")
    path = _SHIPPED / f"{name}.toml" if bare else Path(name)
    if not path.is_file():
        raise DescriptionError(
            f"{name}: no such description; give the path of a .toml file, or one of the "
            f"shipped: {', '.join(shipped_names())}"
        )
    return path


def read_tables(path: Path) -> dict[str, Any]:
    """The file's tables as they stand. Raises `DescriptionError` if it is not readable TOML."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise DescriptionError(f"{path}: not readable as TOML: {error}") from error
