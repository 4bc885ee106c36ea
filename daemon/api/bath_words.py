"""What a bath's account holds, in words: one line for each entry, figures with their units."""

from datetime import UTC, datetime, tzinfo

from daemon.bath import kinds
from daemon.bath.account import Standing
from daemon.bath.components import (
    CHLORIDE,
    COPPER,
    COPPER_IN_SULFATE,
    VOLUME,
    amount_unit,
    concentration_unit,
)

_NAMES = {kinds.FILTRATION: "filtered", kinds.CARBON: "treated with carbon"}


def amount(substance: str, value: float, additives: tuple[str, ...]) -> str:
    """An amount with its unit: `5 mL`, `763.5 g`, `15 L`; volumes below 1 L in mL."""
    unit = amount_unit(substance, additives)
    if unit == "L" and abs(value) < 1:
        return f"{value * 1000:.6g} mL"
    if unit == "g" and substance == CHLORIDE:
        return f"{value:.4g} g"
    return f"{value:.6g} {unit}"


def balance(substance: str, value: float, additives: tuple[str, ...]) -> str:
    """What was put in of a substance; the pentahydrate beside copper."""
    said = amount(substance, value, additives)
    if substance == COPPER:
        said += f" (as CuSO4·5H2O {value / COPPER_IN_SULFATE:.6g} g)"
    return said


def entry(each: Standing, additives: tuple[str, ...]) -> str:
    """What an entry says as it stands: `dose: brightener 5 mL`."""
    if each.facts is None:
        return f"{each.kind}: withdrawn"
    parts = [
        f"{substance} {amount(substance, value, additives)}"
        for substance, value in each.amounts.items()
        # What a dose or an addition adds to the volume goes without saying.
        if substance != VOLUME or each.kind not in (kinds.DOSE, kinds.ADDITION)
    ]
    if each.kind != kinds.DESCRIPTION:
        parts += [_fact(name, value, additives) for name, value in each.facts.items()]
    parts = [part for part in parts if part]
    name = _NAMES.get(each.kind, each.kind)
    return f"{name}: {', '.join(parts)}" if parts else name


def _fact(name: str, value: object, additives: tuple[str, ...]) -> str:
    """A fact in words; nothing for what only programs need."""
    match name, value:
        case "looks", list():
            return ", ".join(map(str, value))
        case "results", dict():
            return ", ".join(_result(part, found, additives) for part, found in value.items())
        case "level_l", _:
            return f"then {value:g} L"
        case "area_dm2", _:
            return f"{value:g} dm²"
        case (("mass_g" | "carbon_g"), _):
            return f"{value:g} g"
        case "before_g", _:
            return f"before {value:g} g"
        case "after_g", _:
            return f"after {value:g} g"
        case (("as" | "what" | "method"), _):
            return str(value)
    return ""


def _result(component: str, found: dict[str, float], additives: tuple[str, ...]) -> str:
    u = found.get("u")
    doubt = "" if u is None else f" (u {u:g})"
    unit = concentration_unit(component, additives)
    return f"{component} {found['value']:g}{doubt} {unit}"


def stamp(utc_ms: int, zone: tzinfo | None = None) -> str:
    """A moment to the minute in `zone`, None for the machine's own: `2026-11-20 18:00`."""
    return f"{datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(zone):%Y-%m-%d %H:%M}"
