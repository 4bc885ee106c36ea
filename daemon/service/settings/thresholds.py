"""The settings' `[thresholds]`: what the detectors have to see, where it is not to be the default.

A key is the name of a field of `Thresholds` or `CellThresholds` without its unit, its value a
quantity with one: `bath_hot = "34 °C"`.
"""

import difflib
from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields, replace
from typing import Any

from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.thresholds import Thresholds
from daemon.units import UnitError, parse

_UNITS = {
    "_ohm_dm2": "Ω·dm²", "_per_h": "%/h", "_per_s": "%/s", "_percent": "%", "_ohm": "Ω",
    "_mb": "MB", "_a": "A", "_v": "V", "_s": "s", "_c": "°C", "_k": "K",
}  # fmt: skip
"""By what a field's name ends in; the first that fits. Without one it is a number or a share."""

_HUNDREDTHS = frozenset({"%/h", "%/s"})
"""Units of values that are kept as shares."""

_NEGATIVE = frozenset({"bath_hot", "bath_cold"})
"""Temperatures; nothing else may be less than 0."""

_RISING = (("bath_cold", "bath_hot"), ("ripple_back", "ripple"), ("record_back", "record_behind"))
"""Of each two the first is below the second."""


@dataclass(frozen=True, slots=True)
class Threshold:
    """One threshold: its key in the settings, its unit ("": a number or share), what holds."""

    key: str
    unit: str
    value: float
    default: float


@dataclass(frozen=True, slots=True)
class Chosen:
    """The thresholds of one tank, before its meter is known."""

    plain: Thresholds = field(default_factory=Thresholds)
    cell: CellThresholds = field(default_factory=CellThresholds)

    def listed(self) -> tuple[Threshold, ...]:
        """All of them, in the order of the detectors."""
        found = {}
        for chosen in (self.plain, self.cell):
            for each in fields(chosen):
                key, unit = _key(each.name)
                scale = 100 if unit in _HUNDREDTHS else 1
                value, default = (getattr(of, each.name) for of in (chosen, type(chosen)()))
                found[key] = Threshold(key, unit, scale * value, scale * default)
        return tuple(found.values())


def chosen(written: Mapping[str, object]) -> Chosen:
    """The thresholds with what is written in the settings.

    Raises ValueError, naming the key, for one that is not there, for a quantity of another kind or
    below 0, and for limits that do not lie as they have to.
    """
    plain = {_key(each.name)[0]: each for each in fields(Thresholds)}
    cell = {_key(each.name)[0]: each for each in fields(CellThresholds)}
    found: tuple[dict[str, Any], dict[str, Any]] = ({}, {})
    for key, value in written.items():
        if key not in plain and key not in cell:
            raise ValueError(f"{key}: there is no such threshold{_like(key, [*plain, *cell])}")
        for named, own in zip((plain, cell), found, strict=True):
            if key in named:
                own[named[key].name] = _read(key, value, named[key])
    made = Chosen(replace(Thresholds(), **found[0]), replace(CellThresholds(), **found[1]))
    _check_order(made)
    return made


def _read(key: str, value: object, of: "Field[Any]") -> float | int:
    """The value in the unit of the field."""
    unit = _key(of.name)[1]
    if of.type is int:
        if isinstance(value, int) and not isinstance(value, bool) and value > 0:
            return value
        raise ValueError(f"{key}: expected a whole number above 0, got {value!r}")
    try:
        read = parse(value, unit) / (100 if unit in _HUNDREDTHS else 1)
    except UnitError as error:
        raise ValueError(f"{key}: {error}") from error
    if read < 0 and key not in _NEGATIVE:
        raise ValueError(f"{key}: must be at least 0 {unit}".rstrip() + f", got {value!r}")
    return read


def _check_order(made: Chosen) -> None:
    by_key = {each.key: each for each in made.listed()}
    for low, high in _RISING:
        least, most = by_key[low], by_key[high]
        if not least.value < most.value:
            raise ValueError(
                f"{low} must be below {high}, got {least.value:g} {least.unit} and "
                f"{most.value:g} {most.unit}"
            )


def _key(name: str) -> tuple[str, str]:
    """The settings' key of a field, and its unit: `bath_hot_c` is `bath_hot`, in °C."""
    for ending, unit in _UNITS.items():
        if name.endswith(ending):
            return name.removesuffix(ending), unit
    return name, ""


def _like(key: str, known: list[str]) -> str:
    near = difflib.get_close_matches(key, known, n=1)
    return f"; did you mean {near[0]}?" if near else "; `tankhand thresholds` lists them"
