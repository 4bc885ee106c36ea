"""The few settings that "output off" needs, read before anything heavy is loaded or checked."""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

T = TypeVar("T")


class UnusableSettingsError(Exception):
    """The settings do not tell what "output off" needs: says where, what came, what is wanted."""


@dataclass(frozen=True, slots=True)
class SupplyLine:
    """The supply's port and its description: a shipped name, or a file's absolute path."""

    port: str
    description: str


def description_at(name: str, folder: Path) -> str:
    """What `description = name` in a settings file in `folder` means: a file if it ends so."""
    return str(folder / name) if name.endswith(".toml") else name


class FirstLook:
    """A settings file, looked at for what "output off" needs; nothing else in it is checked.

    Raises `UnusableSettingsError` if it cannot be read at all, and where something is missing when
    that is asked for.
    """

    def __init__(self, settings: Path) -> None:
        self._settings = settings
        try:
            self._tables = tomllib.loads(settings.read_text(encoding="utf-8"))
        except OSError as error:
            raise UnusableSettingsError(
                f"{settings}: cannot be read: {error.strerror or error}"
            ) from error
        except ValueError as error:  # no UTF-8, or no TOML
            raise UnusableSettingsError(f"{settings}: {error}") from error

    @property
    def line(self) -> SupplyLine:
        """The supply's line."""
        supply = self._table("supply")
        port = self._value("supply.port", supply.get("port"), str)
        name = self._value("supply.description", supply.get("description", "scpi99"), str)
        return SupplyLine(port, description_at(name, self._settings.absolute().parent))

    @property
    def heartbeat_pin(self) -> int | None:
        """The pin of the contactor's heartbeat line; None without a contactor."""
        if "contactor" not in self._tables:
            return None
        pin = self._table("contactor").get("heartbeat_pin")
        return self._value("contactor.heartbeat_pin", pin, int)

    @property
    def pump_pins(self) -> list[int]:
        """The pins of the dosing pumps' lines."""
        pumps = self._value("pump", self._tables.get("pump", []), list)
        return [
            self._value(f"pump[{number}].pin", self._value("pump", each, dict).get("pin"), int)
            for number, each in enumerate(pumps, 1)
        ]

    def _table(self, name: str) -> dict[str, Any]:
        return self._value(name, self._tables.get(name), dict)

    def _value(self, key: str, value: object, kind: type[T]) -> T:
        # Not isinstance: TOML's true is no number.
        if type(value) is kind:
            return value
        came = "it is missing" if value is None else f"got {value!r}"
        wanted = {str: "a text", int: "a whole number", dict: "a table", list: "a list of tables"}
        raise UnusableSettingsError(f"{self._settings}: {key} must be {wanted[kind]}, {came}")


def supply_line(settings: Path) -> SupplyLine | None:
    """The supply of a settings file as far as it can be told; None if it cannot.

    Nothing is raised: whoever reads the settings in full says what is wrong with them.
    """
    try:
        return FirstLook(settings).line
    except UnusableSettingsError:
        return None
