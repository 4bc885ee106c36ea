"""Parts as people write them in one text: `4 x box 60 x 40 x 20 mm`, a mesh file, a kept part.

A shape is its name and its dimensions in their order, each with a unit, or one for those before it.
"""

import re
from dataclasses import dataclass

from daemon.api.errors import InputError
from daemon.bath.errors import PartError
from daemon.bath.parts.shapes import KINDS, WALL_LIMIT, shape, shell
from daemon.bath.parts.surface import MOST_COPIES, Surface
from daemon.units import UnitError, parse

SHELL = "shell"
SHELL_DIMENSIONS = ("mass", "wall", "density")
_SHELL_UNITS = ("g", "mm", "g/cm³")

_COPIES = re.compile(r"\s*([0-9]{1,6})\s*[x×]\s+(\S.*)", re.DOTALL)
_BETWEEN = re.compile(r"\s*[x×,]\s*")
_BARE = re.compile(r"[0-9.]+")
_WITH_UNIT = re.compile(r"[0-9.]+\s*([^0-9.\s].*)")


@dataclass(frozen=True, slots=True)
class PartText:
    """A text taken apart: how many of it, and what it is."""

    copies: int
    what: str

    @property
    def is_shape(self) -> bool:
        """Whether it begins with the name of a shape, or is a shell."""
        return self.what.split(maxsplit=1)[0].lower() in {*KINDS, SHELL}


def part_text(text: str) -> PartText:
    """Take `4 x lamp foot` apart. Raises InputError."""
    if not text.strip():
        raise InputError("part", (f"expected {', '.join(_examples())}; got {text!r}",))
    counted = _COPIES.fullmatch(text)
    if counted is None:
        return PartText(1, text.strip())
    copies = int(counted[1])
    if not 1 <= copies <= MOST_COPIES:
        raise InputError(text, (f"copies must be from 1 to {MOST_COPIES}, got {copies}",))
    return PartText(copies, counted[2].strip())


def _examples() -> tuple[str, ...]:
    return ("a mesh file", '"box 60 x 40 x 20 mm"', '"4 x rod 3 x 120 mm"', "a kept part's name")


def read_shape(what: str, limit_mm: float) -> Surface:
    """The surface of a shape's text; dimensions are within ± `limit_mm`. Raises InputError."""
    name, _, rest = what.partition(" ")
    name = name.lower()
    texts = [text for text in _BETWEEN.split(rest.strip()) if text]
    try:
        if name == SHELL:
            return _shell(texts)
        return shape(name, [parse(text, "mm") for text in _with_units(texts)], limit_mm)
    except PartError as error:
        raise InputError(what, (str(error),)) from error
    except UnitError as error:
        dimensions = SHELL_DIMENSIONS if name == SHELL else KINDS[name].dimensions
        raise InputError(what, (f"{name} takes {' x '.join(dimensions)}: {error}",)) from error


def _with_units(texts: list[str]) -> list[str]:
    """`60`, `40` and `20 mm` as three lengths in mm: a bare number has the unit that comes next."""
    found: list[str] = []
    unit = ""
    for text in reversed(texts):
        written = _WITH_UNIT.fullmatch(text)
        unit = written[1] if written else unit
        found.append(f"{text} {unit}" if unit and _BARE.fullmatch(text) else text)
    return found[::-1]


def _shell(texts: list[str]) -> Surface:
    if len(texts) != len(_SHELL_UNITS):
        raise PartError(f'expected such as "shell 40 g x 1.2 mm x 1.24 g/cm³", got {len(texts)}')
    mass_g, wall_mm, density_g_cm3 = (
        parse(text, unit) for text, unit in zip(texts, _SHELL_UNITS, strict=True)
    )
    return shell(mass_g, wall_mm, density_g_cm3, WALL_LIMIT)
