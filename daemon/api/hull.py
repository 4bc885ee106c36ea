"""The Hull cell as people ask about it, and in words: densities at places, places of densities."""

from typing import Annotated, Literal

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
    try:
        rows = [*_places(form, cell), *_densities(form, cell), *_bright(form, cell)]
    except ValueError as error:
        raise InputError(WHERE, (str(error),)) from error
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


def _places(form: HullForm, cell: HullCell) -> list[Row]:
    return [_place(form, cell, place_cm) for place_cm in form.at]


def _densities(form: HullForm, cell: HullCell) -> list[Row]:
    return [
        Row(
            "density",
            f"{_what(density)}: {_where(cell.position_cm(form.current, density))}",
        )
        for density in form.density
    ]


def _bright(form: HullForm, cell: HullCell) -> list[Row]:
    if not form.bright:
        return []
    if len(form.bright) != 2:
        raise ValueError(f"bright: needs two places on the panel, got {len(form.bright)}")
    low, high = cell.range_a_dm2(form.current, *form.bright)
    near, far = sorted(form.bright)
    return [
        Row("bright", f"from {_where(near)} to {_where(far)}: {_what(low)} to {_what(high)}"),
    ]
