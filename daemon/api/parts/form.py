"""What people say of parts beyond what they are: the same form for the command line and the page.

Keys are those of the command's options. One form holds for all parts in it; parts that differ are
kept by name first, each with its own.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from daemon.api.explain import read_tree
from daemon.api.quantities import CurrentDensityADm2, LengthMm, Share
from daemon.bath.parts.asked import LEVEL_LIMIT_MM, Asked
from daemon.bath.parts.shapes import DIMENSION_LIMIT_MM
from daemon.bath.parts.surface import LAYERS_LIMIT, MOST_COPIES, Inner, Treatment
from daemon.units import parse

WHERE = "part"
"""What errors call the form."""

MOST_SCALE = 1000.0

UnitName = Literal["µm", "mm", "cm", "m", "in", "ft"]
AxisName = Literal["x", "-x", "y", "-y", "z", "-z"]

_SAME_UNIT = {"um": "µm", "micron": "µm", "inch": "in", '"': "in"}


def _unit(value: object) -> object:
    return _SAME_UNIT.get(value, value) if isinstance(value, str) else value


def _scale(value: object) -> float:
    number = parse(value, "")
    if not 0 < number <= MOST_SCALE:
        raise ValueError(f"must be above 0 and at most {MOST_SCALE:g} times, got {value}")
    return number


def _copies(value: object) -> int:
    number = parse(value, "")
    if not (number == int(number) and 1 <= number <= MOST_COPIES):
        raise ValueError(f"must be a whole number from 1 to {MOST_COPIES}, got {value}")
    return int(number)


class PartForm(BaseModel):
    """The parts, and how they are read, hung, masked and doubted."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, alias_generator=lambda name: name.replace("_", "-")
    )

    parts: tuple[str, ...] = Field(
        min_length=1, max_length=100, description="mesh files, shapes or kept parts"
    )
    copies: Annotated[int, BeforeValidator(_copies)] = 1
    unit: Annotated[UnitName, BeforeValidator(_unit)] | None = None
    scale: Annotated[float, BeforeValidator(_scale)] = 1.0
    up: AxisName = "z"
    liquid: LengthMm | None = None
    liquid_limit: LengthMm = LEVEL_LIMIT_MM
    inner: Inner | None = None
    masked: Share = 0.0
    layers: Share = LAYERS_LIMIT
    uncertainty: Share = 0.0
    dimension_limit: LengthMm = DIMENSION_LIMIT_MM
    current_density: CurrentDensityADm2 | None = None

    def asked(self, kind: str) -> Asked:
        """What is asked of a mesh file of this kind."""
        return Asked(kind, self.unit, self.scale, self.up, self.liquid, self.liquid_limit)

    def treatment(self, copies: int) -> Treatment:
        """What holds of `copies` of a part that is no kept one."""
        return Treatment(
            copies * self.copies, self.masked, self.layers, self.uncertainty, self.inner
        )


def read_part_form(tree: object) -> PartForm:
    """Read a form's texts. Raises InputError with every problem."""
    return read_tree(tree, WHERE, PartForm)
