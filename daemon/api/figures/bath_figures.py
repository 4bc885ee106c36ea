"""Filtration and drag-out as people ask about them, and in words."""

from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from daemon.api.analyses.titration import below_1
from daemon.api.errors import InputError
from daemon.api.explain import read_tree
from daemon.api.quantities import (
    AreaDm2,
    ConcentrationGL,
    DragOutMlDm2,
    DurationS,
    FlowLH,
    MassG,
    VolumeL,
)
from daemon.api.report import Report, Row
from daemon.api.rounding import rounded
from daemon.chemistry.drag_out import DRAINED, USUAL_ML_DM2, Tracer, by_tracer, carried_l
from daemon.chemistry.filtering import (
    ALL_SOLIDS_TURNOVERS_H,
    USUAL_TURNOVERS_H,
    share_taken_out,
    through_filter_l,
    turnovers_for,
    turnovers_h,
)
from daemon.chemistry.uncertainty import rectangular

FILTRATION, DRAG_OUT = "filtration", "drag-out"
"""What errors call the forms."""

CONFIDENCE = 0.95


class FiltrationForm(BaseModel):
    """A pump on a bath; how long it runs, or how much of the dirt shall go."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    volume: VolumeL = Field(description="the bath's volume", examples=['"15 L"'])
    flow: FlowLH = Field(description="what the pump moves", examples=['"60 L/h"'])
    duration: DurationS | None = Field(None, alias="for")
    share: Annotated[float, BeforeValidator(below_1)] | None = None


def filtration(tree: object) -> Report:
    """Read a form's texts and answer it. Raises InputError with every problem."""
    form = read_tree(tree, FILTRATION, FiltrationForm)
    rate = turnovers_h(form.volume, form.flow)
    (low, high), (all_low, all_high) = USUAL_TURNOVERS_H, ALL_SOLIDS_TURNOVERS_H
    rows = [
        Row("turnovers", f"{rate:.3g} in an hour"),
        Row("usual", f"{low:g} to {high:g}, and {all_low:g} to {all_high:g} where all solids have "
                     "to go (Metal Finishing Guidebook)"),
    ]  # fmt: skip
    if form.duration is not None:
        hours = form.duration / 3600
        taken = share_taken_out(rate * hours)
        rows += [
            Row("pumped", f"{through_filter_l(form.flow, hours):.3g} L in {hours:.3g} h"),
            Row("taken out", f"{100 * taken:.3g} % of the dirt, if none comes in and the bath is "
                             "well mixed"),
        ]  # fmt: skip
    if form.share is not None:
        turnovers = turnovers_for(form.share)
        rows.append(
            Row("for", f"{100 * form.share:.4g} %: {turnovers:.3g} turnovers, "
                       f"{turnovers / rate:.3g} h")
        )  # fmt: skip
    return Report(tuple(rows))


ANALYSIS_LIMIT = 0.02
"""Of what an analysis by hand finds: it is hardly surer (common practice)."""


class DragOutForm(BaseModel):
    """Parts of an area; or a tracer that was added between two analyses of it.

    limit: how far each analysis may be off, a share of what it found.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    area: AreaDm2 | None = None
    rate: DragOutMlDm2 = USUAL_ML_DM2
    added: MassG | None = None
    start: ConcentrationGL | None = None
    end: ConcentrationGL | None = None
    volume: VolumeL | None = None
    limit: Annotated[float, BeforeValidator(below_1)] = ANALYSIS_LIMIT


def drag_out(tree: object) -> Report:
    """Read a form's texts and answer it; one that asks nothing gets the usual figures.

    Raises InputError with every problem.
    """
    form = read_tree(tree, DRAG_OUT, DragOutForm)
    rows: list[Row] = []
    if form.area is not None:
        rows.append(
            Row("area", f"{form.area:.4g} dm² at {100 * form.rate:.4g} mL/m² carry away "
                        f"{1000 * carried_l(form.area, form.rate):.3g} mL")
        )  # fmt: skip
    told = (form.added, form.start, form.end, form.volume)
    if any(each is not None for each in told):
        rows.append(_tracer(form))
    return Report(tuple(rows or _usual()))


def _tracer(form: DragOutForm) -> Row:
    if form.added is None or form.start is None or form.end is None or form.volume is None:
        raise InputError(
            DRAG_OUT, ("a tracer needs all of added, start, end and volume, or none of them",)
        )
    try:
        left = by_tracer(
            Tracer(
                form.added, form.start, form.end, form.volume,
                u_start_g_l=rectangular(form.limit * form.start),
                u_end_g_l=rectangular(form.limit * form.end),
            )
        )  # fmt: skip
    except ValueError as error:
        raise InputError(DRAG_OUT, (str(error),)) from error
    half_width = left.expanded(CONFIDENCE)
    if half_width > 0:
        value, doubt = rounded(left.value, half_width, 9)
        figure = f"{value} ± {doubt} L of bath (95 %)"
    else:
        figure = f"{left.value:.4g} L of bath"
    return Row("tracer", f"{figure} left meanwhile, as far as nothing else took the tracer")


def _usual() -> list[Row]:
    """The figures by how a part drains."""
    rows = [
        Row("usual", f"{100 * USUAL_ML_DM2:g} mL/m², where nothing is known (common practice)"),
        Row("handbooks", "plating baths in general, from memory, not checked:"),
    ]
    for each in DRAINED:
        low, high = (100 * ml for ml in each.ml_dm2)
        figure = f"{low:.3g}" if low == high else f"{low:.3g} to {high:.3g}"
        rows.append(Row("", f"{each.how}: {figure} mL/m²"))
    return rows
