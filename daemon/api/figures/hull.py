"""The Hull cell as people ask about it, and in words: densities at places, places of densities."""

from collections.abc import Callable
from functools import partial
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field

from daemon.api.errors import InputError
from daemon.api.explain import read_tree
from daemon.api.quantities import CurrentA, CurrentDensityADm2, LengthCm
from daemon.api.report import Report, Row
from daemon.chemistry.hull_cell import (
    CM_PER_IN,
    FT2_PER_DM2,
    GREATEST_CM,
    HULL_267_ML,
    HULL_1000_ML,
    LEAST_CM,
    HullCell,
)

_T = TypeVar("_T")

WHERE = "Hull cell"

PANEL_IN = (0.25, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.25)
"""Places of the panel's table, in from the end of high density."""

CELLS: dict[str, HullCell] = {"267 mL": HULL_267_ML, "1000 mL": HULL_1000_ML}

_SOURCE = (
    "by the formula of the Metal Finishing Guidebook for direct current with less than 5 % ripple; "
    "a bath that polarises strongly deviates from it"
)
_CAUTIONS = (
    "Eye protection and gloves; where the panel gasses, ventilate. What is in the cell is bath: no "
    "drains.",
)


class HullForm(BaseModel):
    """A panel: the current through it, and what is asked of it; nothing is the whole panel."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    current: CurrentA = Field(description="the current", examples=['"2 A"'])
    cell: Literal["267 mL", "1000 mL"] = "267 mL"
    at: tuple[LengthCm, ...] = ()
    density: tuple[CurrentDensityADm2, ...] = ()
    bright: Annotated[tuple[LengthCm, ...], Field(max_length=2)] = ()


def hull(tree: object) -> Report:
    """Read a form's texts and answer it. Raises InputError with every problem of theirs."""
    form = read_tree(tree, WHERE, HullForm)
    cell = CELLS[form.cell]
    rows = [*_places(form, cell), *_densities(form, cell), *_bright(form, cell)]
    if not rows:
        rows = [_place(form, cell, inches * CM_PER_IN) for inches in PANEL_IN]
    head = Row("cell", f"{form.cell}, {form.current:g} A; places from the end of high density")
    return Report((head, *rows, Row("known", _known(cell))), (), _CAUTIONS)


def _known(cell: HullCell) -> str:
    far = (
        ""
        if cell is HULL_267_ML
        else ("; what holds on the longer panel of this cell beyond that is not known to us")
    )
    return f"{_where(LEAST_CM)} to {_where(GREATEST_CM)}{far}; {_SOURCE}"


def _where(place_cm: float) -> str:
    return f"{place_cm:.3g} cm ({place_cm / CM_PER_IN:.3g} in)"


def _what(density_a_dm2: float) -> str:
    return f"{density_a_dm2:.3g} A/dm² ({density_a_dm2 / FT2_PER_DM2:.3g} A/ft²)"


def _place(form: HullForm, cell: HullCell, place_cm: float) -> Row:
    return Row("at", f"{_where(place_cm)}: {_what(cell.density_a_dm2(form.current, place_cm))}")


def panel(current_a: float, cell: HullCell) -> tuple[tuple[str, float, str], ...]:
    """The whole panel, from the end of high density: place, A/dm² there, and that as a text."""
    densities = [
        (inches * CM_PER_IN, cell.density_a_dm2(current_a, inches * CM_PER_IN))
        for inches in PANEL_IN
    ]
    return tuple((_where(place_cm), a_dm2, _what(a_dm2)) for place_cm, a_dm2 in densities)


def _places(form: HullForm, cell: HullCell) -> list[Row]:
    return [
        _about(f"at[{number}]", partial(_place, form, cell, place_cm))
        for number, place_cm in enumerate(form.at, 1)
    ]


def _densities(form: HullForm, cell: HullCell) -> list[Row]:
    return [
        _about(f"density[{number}]", partial(_density, form, cell, a_dm2))
        for number, a_dm2 in enumerate(form.density, 1)
    ]


def _density(form: HullForm, cell: HullCell, a_dm2: float) -> Row:
    return Row("density", f"{_what(a_dm2)}: {_where(cell.position_cm(form.current, a_dm2))}")


def _bright(form: HullForm, cell: HullCell) -> list[Row]:
    if not form.bright:
        return []
    if len(form.bright) != 2:
        raise InputError(WHERE, (f"bright: needs two places on the panel, got {len(form.bright)}",))
    near, far = sorted(form.bright)
    low, high = _about("bright", partial(cell.range_a_dm2, form.current, near, far))
    return [
        Row("bright", f"from {_where(near)} to {_where(far)}: {_what(low)} to {_what(high)}"),
    ]


def _about(key: str, work_out: Callable[[], _T]) -> _T:
    """What is worked out; where it cannot be, an InputError about `key`."""
    try:
        return work_out()
    except ValueError as error:
        raise InputError(WHERE, (f"{key}: {error}",)) from error
