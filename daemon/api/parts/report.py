"""Parts in words: their area and what it is made of, and what a plan says of it."""

import math
from collections.abc import Iterator

from daemon.api.parts.form import PartForm
from daemon.api.parts.worked_out import Item, Worked
from daemon.api.report import Report, Row
from daemon.api.rounding import rounded
from daemon.api.unanswered import UnansweredError
from daemon.bath.parts.asked import LEVEL_LIMIT_MM, Found, Question
from daemon.bath.parts.shapes import (
    DENSITY_LIMIT,
    DIMENSION_LIMIT_MM,
    MASS_LIMIT,
    WALL_LIMIT,
)
from daemon.bath.parts.surface import CONFIDENCE, LAYERS_LIMIT, Inner
from daemon.bath.parts.units import plausible
from daemon.chemistry.uncertainty import Budget

USUAL_A_DM2 = (1.0, 3.0)
"""Current densities at which painted parts run once copper has covered them (common practice)."""

LEAST_UNCERTAINTY = 0.001


def area_report(worked: Worked) -> Report:
    """What was worked out, with the lines for a plan.

    Raises UnansweredError, with the rows that are known, where it has to be said first whether
    inner walls are plated.
    """
    rows = [row for item in worked.items for row in _of_item(item, worked)]
    warnings = tuple(text for item in worked.items for text in _warnings(item, worked.form))
    if worked.undecided:
        item = worked.undecided[0]
        raise UnansweredError(item.text.what, _inner_question(item), Report(tuple(rows), warnings))
    area = worked.area
    rows += [Row("area", f"{sure(area)}{_together(worked)}"), *_doubt(area)]
    rows += [Row("taken", f"{taken}; give what yours has")] if (taken := _taken(worked)) else []
    rows += _current(area, worked.form)
    rows += [Row(*pair) for pair in zip(("plan", ""), plan_lines(area), strict=True)]
    return Report(tuple(rows), warnings)


def sure(area: Budget) -> str:
    """An area with its interval: `1.83 ± 0.07 dm² (95 %)`."""
    half = area.expanded(CONFIDENCE)
    if not half > 0:
        return f"{area.value:.5g} dm²"
    value, doubt = rounded(area.value, half, 9)
    return f"{value} ± {doubt} dm² (95 %)"


def plan_lines(area: Budget) -> tuple[str, str]:
    """The two lines that a plan has for this area."""
    share = max(LEAST_UNCERTAINTY, area.expanded(CONFIDENCE) / area.value)
    # To two digits, and never surer than it is.
    step = 10.0 ** (math.floor(math.log10(share)) - 1)
    share = min(1.0, math.ceil(share / step - 1e-9) * step)
    return f'area = "{area.value:.4g} dm²"', f'area_uncertainty = "{100 * share:.3g} %"'


def _of_item(item: Item, worked: Worked) -> Iterator[Row]:
    copies = "" if item.copies == 1 else f"{item.copies} of "
    if item.kept is not None:
        yield Row("part", f"{copies}{item.text.what}, kept as part {item.kept.number}", typed=True)
    elif item.found is None:
        yield Row("part", f"{copies}{item.text.what}", typed=True)
    else:
        yield Row("part", f"{copies}{item.text.what}: {_mesh(item.found)}", typed=True)
        yield from _wetted(item.found)
    if item.surface is not None and item.surface.outer is not None:
        yield Row("inner", _inner(item, worked.form.inner))
    if item.plated is not None and len(worked.items) > 1:
        yield Row("", sure(item.plated))
    if item.surface is not None:
        yield from _volume(item)


def _mesh(found: Found) -> str:
    sides = " x ".join(f"{side:.4g}" for side in found.extents_mm)
    bodies = "" if found.bodies == 1 else f" in {found.bodies} bodies"
    closed = "closed" if found.sound else "not closed"
    said = "" if found.unit == "mm" else f", its lengths taken as {found.unit}"
    return f"{found.triangles} triangles{bodies}, {sides} mm, {closed}{said}"


def _wetted(found: Found) -> Iterator[Row]:
    if found.dry_mm2 > 0:
        wet, dry = found.wet_mm2 / 1e4, found.dry_mm2 / 1e4
        yield Row("in liquid", f"{wet:.4g} dm², and {dry:.4g} dm² above it")


def _inner(item: Item, chosen: Inner | None) -> str:
    surface = item.surface
    if surface is None or surface.outer is None:
        return ""
    said = {None: "", Inner.INCLUDE: ": included", Inner.LEAVE_OUT: ": left out"}[chosen]
    return f"{surface.inner}; with it {sure(surface.whole)}, without {sure(surface.outer)}{said}"


def _inner_question(item: Item) -> Question:
    surface = item.surface
    words = "inner walls" if surface is None else surface.inner
    return Question(
        "inner",
        f"does copper grow on {words}? Bath has to get in and current too: closed cavities get "
        "none, and deep ones next to none",
        tuple(choice.value for choice in Inner),
    )


def _volume(item: Item) -> Iterator[Row]:
    if (volume := item.volume_cm3) is None or item.surface is None:
        return
    each = "" if item.copies == 1 else ", each"
    displaced = item.surface.displaced_cm3
    takes = "" if displaced is None else f"; takes the place of {displaced:.4g} cm³ of liquid"
    yield Row("volume", f"{volume:.4g} cm³{each}{takes}")


def _together(worked: Worked) -> str:
    number = sum(item.copies for item in worked.items)
    return "" if number == 1 else f", {number} parts together"


def _doubt(area: Budget) -> list[Row]:
    """The standard uncertainty, and its causes as shares of its square, the greatest first."""
    if not area.u > 0:
        return []
    squares: dict[str, float] = {}
    for share in area.shares:
        squares[share.name] = squares.get(share.name, 0.0) + share.u**2
    told = ", ".join(
        f"{name} {100 * square / area.u**2:.0f} %"
        for name, square in sorted(squares.items(), key=lambda pair: -pair[1])
    )
    return [Row("doubt", f"u = {100 * area.u / area.value:.2g} %; of u²: {told}")]


def _taken(worked: Worked) -> str:
    """The limits that nobody gave."""
    form = worked.form
    given = form.model_fields_set
    fresh = [item for item in worked.items if item.kept is None]
    shapes = [item.text.what.split()[0].lower() for item in fresh if item.found is None]
    usual = [
        ("layers", f"layers of the print ± {100 * LAYERS_LIMIT:g} %", bool(fresh)),
        ("liquid_limit", f"level ± {LEVEL_LIMIT_MM:g} mm", form.liquid is not None),
        (
            "dimension_limit",
            f"dimensions ± {DIMENSION_LIMIT_MM:g} mm",
            any(name != "shell" for name in shapes),
        ),
        (
            "",
            f"of a shell mass ± {100 * MASS_LIMIT:g} %, wall ± {100 * WALL_LIMIT:g} %, density "
            f"± {100 * DENSITY_LIMIT:g} %",
            "shell" in shapes,
        ),
    ]
    told = [text for name, text, used in usual if used and name not in given]
    return f"{', '.join(told)} (common practice)" if told else ""


def _current(area: Budget, form: PartForm) -> list[Row]:
    if form.current_density is not None:
        current_a = area.value * form.current_density
        return [Row("current", f"{current_a:.4g} A at {form.current_density:.4g} A/dm²")]
    least, greatest = USUAL_A_DM2
    return [
        Row(
            "current",
            f"{least * area.value:.3g} to {greatest * area.value:.3g} A at {least:g} to "
            f"{greatest:g} A/dm², once copper has covered the paint (common practice)",
        )
    ]


def _warnings(item: Item, form: PartForm) -> Iterator[str]:
    found = item.found
    if found is None:
        if item.kept is None and form.liquid is not None:
            yield f"{item.text.what}: how deep a shape hangs is not worked out: all of it counts"
        return
    name = item.text.what
    if found.open_edges:
        yield (
            f"{name}: not closed, {found.open_edges} open edges: its area is that of its facets, "
            f"and up to {found.holes_mm2 / 1e4:.3g} dm² may be missing; no volume is known"
        )
    elif not found.sound:
        yield f"{name}: facets look different ways or share an edge with more than one other"
    if found.twice:
        yield f"{name}: {found.twice} facets are there twice; they count once"
    if found.turned:
        yield f"{name}: a body looked inward and was turned: {found.turned} in all"
    if found.overlapping:
        yield f"{name}: bodies may lie in each other; what is within another is an inner wall"
    if not plausible(max(found.extents_mm)):
        yield f"{name}: its longest side is {max(found.extents_mm):.3g} mm: is the unit right?"
