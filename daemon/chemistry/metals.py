"""The metals that are plated, each with the valence of its bath.

Atomic weights and densities are those of the `periodictable` package (a test compares them); both
can be replaced in a plan, since deposits are often less dense than wrought metal.
"""

import re
from dataclasses import dataclass
from typing import NamedTuple

from daemon.chemistry.checks import require_positive

_ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII")


@dataclass(frozen=True, slots=True)
class Metal:
    """A metal in one valence: molar mass in g/mol, electrons per ion, density in g/cm³.

    Raises ValueError for an empty symbol, a valence that is no whole number from 1 to 8, or a
    molar mass or density that is not above 0.
    """

    symbol: str
    valence: int
    molar_mass_g: float
    density_g_cm3: float

    def __post_init__(self) -> None:
        if not self.symbol:
            raise ValueError("a metal needs a symbol, got an empty text")
        if type(self.valence) is not int or not 1 <= self.valence <= len(_ROMAN):
            raise ValueError(
                f"valence of {self.symbol} must be a whole number from 1 to {len(_ROMAN)},"
                f" got {self.valence!r}"
            )
        require_positive(f"molar mass of {self.symbol}", self.molar_mass_g, "g/mol")
        require_positive(f"density of {self.symbol}", self.density_g_cm3, "g/cm³")

    @property
    def name(self) -> str:
        """The symbol with the valence in Roman figures: "Cu(II)"."""
        return f"{self.symbol}({_ROMAN[self.valence - 1]})"


class _Element(NamedTuple):
    """One row of the table. `usual` is the valence that a bare name means; None: it must be said.

    Valences are those of the metal's baths: copper 2 in acid, 1 in cyanide; tin 2 in acid, 4 in
    stannate; gold 1 in most, 3 in acid chloride; chromium 6 or 3 (common practice).
    """

    symbol: str
    name: str
    molar_mass_g: float
    density_g_cm3: float
    valences: tuple[int, ...]
    usual: int | None


_ELEMENTS = (
    _Element("Cu", "copper", 63.546, 8.96, (2, 1), usual=2),
    _Element("Ni", "nickel", 58.6934, 8.902, (2,), usual=2),
    _Element("Zn", "zinc", 65.38, 7.133, (2,), usual=2),
    _Element("Sn", "tin", 118.710, 7.31, (2, 4), usual=None),
    _Element("Ag", "silver", 107.8682, 10.5, (1,), usual=1),
    _Element("Au", "gold", 196.966570, 19.3, (1, 3), usual=None),
    _Element("Cd", "cadmium", 112.414, 8.65, (2,), usual=2),
    _Element("Cr", "chromium", 51.9961, 7.19, (6, 3), usual=None),
    _Element("Fe", "iron", 55.845, 7.874, (2,), usual=2),
    _Element("Co", "cobalt", 58.933194, 8.9, (2,), usual=2),
    _Element("Pb", "lead", 207.2, 11.35, (2,), usual=2),
    _Element("Pd", "palladium", 106.42, 12.02, (2,), usual=2),
    _Element("Rh", "rhodium", 102.90549, 12.41, (3,), usual=3),
    _Element("In", "indium", 114.818, 7.31, (3,), usual=3),
)

_BY_WORD = {
    word: element for element in _ELEMENTS for word in (element.symbol.lower(), element.name)
}
_WRITTEN = re.compile(r"\s*([A-Za-z]+)\s*(?:\(\s*([IVXivx]+)\s*\))?\s*")


def _metal(element: _Element, valence: int) -> Metal:
    return Metal(element.symbol, valence, element.molar_mass_g, element.density_g_cm3)


METALS = tuple(_metal(element, valence) for element in _ELEMENTS for valence in element.valences)
"""Every metal of the table in every valence of its baths; Cu(II) is the first."""


def metal_named(text: str) -> Metal:
    """Find the metal that people write as "Cu(II)", "copper(II)", "Cu" or "copper", in any case.

    A bare name means the usual valence, for copper that of the acid bath. Tin, gold and chromium
    have two common ones, which differ by a factor in thickness, so there it must be written.
    Raises ValueError with what is allowed.
    """
    written = _WRITTEN.fullmatch(text)
    element = _BY_WORD.get(written[1].lower()) if written else None
    if written is None or element is None:
        raise ValueError(_refusal(text, METALS))
    if written[2] is None and element.usual is not None:
        return _metal(element, element.usual)
    offered = tuple(_metal(element, valence) for valence in element.valences)
    for metal in offered:
        if written[2] is not None and _ROMAN[metal.valence - 1] == written[2].upper():
            return metal
    raise ValueError(_refusal(text, offered))


def _refusal(text: str, offered: tuple[Metal, ...]) -> str:
    names = ", ".join(metal.name for metal in offered)
    return f"metal and valence must be one of {names}; got {text!r}"
