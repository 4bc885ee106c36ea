"""The surface of a part, what of it is plated, and how sure that is; racks of several parts.

Areas are dm², volumes cm³, shares fractions. Where nothing else is said, an error is just as likely
anywhere within its limits ±a: u = a/√3 (JCGM 100:2008, 4.3.7).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

from daemon.bath.errors import PartError
from daemon.chemistry.uncertainty import Budget, Shape, Share, coverage_factor, rectangular

LAYERS, MASKING, OWN = "layers", "masking", "own"
_COMMON = (LAYERS, MASKING, OWN)
"""Causes that err alike in all parts of a rack: one person, one printer, one assumption."""

LAYERS_LIMIT = 0.03
"""Of the area: what the layers of a print, sanded and primed, make of a smooth model (common
practice; bare layers have more)."""

MASKING_LIMIT = 0.2
"""Of what is masked: how well its share is judged by eye (common practice)."""

MOST_COPIES = 10_000

CONFIDENCE = 0.95


class Inner(Enum):
    """Whether walls that nothing outside sees count as plated."""

    INCLUDE = "include"
    LEAVE_OUT = "leave-out"


@dataclass(frozen=True, slots=True)
class Surface:
    """The surface of one part as far as it hangs in the liquid.

    whole: all of it. outer: without its inner walls, which `inner` puts into words; None where
    there are none that matter. volume_cm3: of its matter, displaced_cm3: of the liquid that it
    takes the place of; None where no volume is enclosed.
    """

    whole: Budget
    outer: Budget | None = None
    inner: str = ""
    volume_cm3: float | None = None
    displaced_cm3: float | None = None


@dataclass(frozen=True, slots=True)
class Treatment:
    """What a person says of a part beyond its shape.

    masked: the share that lacquer or tape covers. layers: by how much the print's layers may change
    the area, at most. own: how sure the person is of all of it, ± with 95 %. inner: None where they
    have not said.
    """

    copies: int = 1
    masked: float = 0.0
    layers: float = LAYERS_LIMIT
    own: float = 0.0
    inner: Inner | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.copies <= MOST_COPIES:
            raise PartError(f"copies: must be from 1 to {MOST_COPIES}, got {self.copies}")
        for name, share in (("masked", self.masked), ("layers", self.layers), ("own", self.own)):
            if not 0 <= share < 1:
                raise PartError(
                    f"{name}: must be at least 0 and below 100 %, got {100 * share:g} %"
                )


def undecided(surface: Surface, treatment: Treatment) -> bool:
    """Whether the person has to say first what becomes of inner walls."""
    return surface.outer is not None and treatment.inner is None


def plated(surface: Surface, treatment: Treatment) -> Budget:
    """The plated area of all copies. Raises PartError while `undecided`."""
    bare = surface.whole
    if surface.outer is not None:
        if treatment.inner is None:
            raise PartError("inner walls: it was not said whether they are plated")
        bare = surface.whole if treatment.inner is Inner.INCLUDE else surface.outer
    free = bare.times(1 - treatment.masked)
    masking = rectangular(MASKING_LIMIT * treatment.masked * bare.value)
    shares = (
        *free.shares,
        Share(LAYERS, rectangular(treatment.layers * free.value), Shape.FLAT),
        Share(MASKING, masking, Shape.FLAT),
        Share(OWN, treatment.own * free.value / coverage_factor(CONFIDENCE)),
    )
    known = tuple(share for share in shares if share.u)
    return Budget(free.value, known).times(treatment.copies)


def rack(areas: Sequence[Budget]) -> Budget:
    """The area of several parts that are plated together.

    What copies and parts have in common errs in all of them alike, and is added as it is; all else
    is independent between different parts. Raises PartError for none.
    """
    if not areas:
        raise PartError("no part was named")
    shares = [share for area in areas for share in area.shares]
    common = []
    for name in _COMMON:
        alike = [share for share in shares if share.name == name]
        if alike:
            common.append(replace(alike[0], u=sum(share.u for share in alike)))
    apart = [share for share in shares if share.name not in _COMMON]
    return Budget(sum(area.value for area in areas), (*apart, *common))
