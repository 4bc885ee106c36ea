"""What copper, sulfuric acid and chloride are added as, read from what people write on them."""

from dataclasses import dataclass

from daemon.api.analyses.titration import WHERE, Component
from daemon.api.errors import InputError
from daemon.api.strength import BATTERY_ACID, read_strength
from daemon.chemistry.acid_density import HYDROCHLORIC, SULFURIC, Acid
from daemon.chemistry.restoring import Source
from daemon.chemistry.substances import (
    CHLORIDE_IN_HYDROGEN_CHLORIDE,
    CHLORIDE_IN_SODIUM_CHLORIDE,
    PENTAHYDRATE,
)
from daemon.units import UnitError, parse

USUAL_SULFURIC = ("96 %", "SG 1.28")
"""Concentrated acid and battery acid, where nothing is said (common practice)."""

USUAL_HYDROCHLORIC = "37 %"
"""Reagent acid, where nothing is said (common practice)."""


@dataclass(frozen=True, slots=True)
class NamedSource:
    """A source by its name, and the unit in which it is measured out. acid: it is one."""

    name: str
    unit: str
    source: Source
    acid: bool = False


def read_sources(
    component: Component, purity: str | None, acid: str | None
) -> tuple[NamedSource, ...]:
    """What the component may be added as: crystals of a purity, acid of a strength.

    Where nothing is said it is what is usually sold: pure crystals, acid of 96 % or of a battery's
    1.28, sodium chloride or hydrochloric acid of 37 %. Raises InputError, which names the key.
    """
    if component == "copper":
        _not_wanted("acid", acid, "sulfuric acid or chloride")
        return (_solid(PENTAHYDRATE.name, PENTAHYDRATE.copper_share, purity),)
    if component == "sulfuric acid":
        _not_wanted("purity", purity, "crystals")
        return tuple(_acid(SULFURIC, text, 1.0) for text in ([acid] if acid else USUAL_SULFURIC))
    liquid = _acid(HYDROCHLORIC, acid or USUAL_HYDROCHLORIC, CHLORIDE_IN_HYDROGEN_CHLORIDE)
    if acid is not None and purity is None:
        return (liquid,)
    solid = _solid("sodium chloride", CHLORIDE_IN_SODIUM_CHLORIDE, purity)
    return (solid,) if purity is not None and acid is None else (solid, liquid)


def _not_wanted(key: str, said: str | None, of: str) -> None:
    if said is not None:
        raise InputError(WHERE, (f"{key}: is of {of}, got {said!r}",))


def _solid(name: str, share: float, purity: str | None) -> NamedSource:
    """1 g of crystals; that they make the bath a little more is left out: it makes it no richer."""
    if purity is None:
        return NamedSource(name, "g", Source(share))
    pure = _parsed("purity", purity, "")
    if not 0 < pure <= 1:
        raise InputError(WHERE, (f"purity: must be above 0 and at most 100 %, got {purity!r}",))
    return NamedSource(f"{name} of {100 * pure:g} %", "g", Source(share * pure))


def _acid(acid: Acid, text: str, share: float) -> NamedSource:
    try:
        strength = read_strength(acid, text)
    except ValueError as error:
        raise InputError(WHERE, (f"acid: {error}",)) from error
    text = text.strip()
    name = text if text.lower() == BATTERY_ACID else f"{acid.name} of {text}"
    return NamedSource(name, "mL", Source(share * strength.g_l / 1000, 1.0), acid=True)


def _parsed(key: str, text: str, unit: str) -> float:
    try:
        return parse(text, unit)
    except UnitError as error:
        raise InputError(WHERE, (f"{key}: {error}",)) from error
