"""What brings a component back into its window: as people ask for it, and in words.

The form's keys are those of the command's options; its figures have units. Concentrations are g/L,
of chloride mg/L.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from daemon.api.analyses.analysis import CONFIDENCE, PER_G_L, shown
from daemon.api.analyses.sources import NamedSource, read_sources
from daemon.api.analyses.titration import WHERE, Component, below_1
from daemon.api.errors import InputError
from daemon.api.explain import read_tree
from daemon.api.quantities import VolumeL
from daemon.api.report import Report, Row
from daemon.chemistry.restoring import (
    VOLUME_LIMIT,
    Addition,
    Dilution,
    Found,
    Verdict,
    Window,
    addition,
    dilution,
    verdict,
)
from daemon.chemistry.substances import PENTAHYDRATE
from daemon.chemistry.uncertainty import Budget
from daemon.units import UnitError, parse

_CRYSTALS = re.compile(
    r"\s+(?:of\s+)?(?:CuSO4\s*[·.*]\s*5\s*H2O|copper sulfate)\s*$", re.IGNORECASE
)

_HARDLY_LESS = 0.99
"""Of what it was: below this it is told that the rest of the bath becomes thinner."""

ACID_CAUTION = (
    "Acid goes into the bath, slowly and stirring, never the other way; it gets hot. Wear eye "
    "protection and gloves."
)
WASTE_CAUTION = (
    "What is taken out holds copper and acid: no drains, no soil. Keep it, and ask your local "
    "authority where it goes."
)


class RestoringForm(BaseModel):
    """The bath that was analysed, and within which limits it shall be."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, alias_generator=lambda name: name.replace("_", "-")
    )

    volume: VolumeL | None = None
    volume_limit: Annotated[float, BeforeValidator(below_1)] = VOLUME_LIMIT
    least: str | None = None
    target: str | None = None
    greatest: str | None = None
    purity: str | None = None
    acid: str | None = None
    also: dict[str, str] = Field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Other:
    """Something else that the bath holds, with its window where it has one, all in `unit`."""

    name: str
    value: float
    unit: str
    least: float | None = None
    greatest: float | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a form says, as plain values; None where it says nothing."""

    component: Component
    window: Window | None
    volume_l: float | None
    volume_limit: float
    sources: tuple[NamedSource, ...]
    others: tuple[Other, ...]


def read_restoring(tree: object, component: Component) -> Wanted:
    """Read a form's texts for a component. Raises InputError with every problem."""
    form = read_tree(tree, WHERE, RestoringForm)
    limits = {"least": form.least, "target": form.target, "greatest": form.greatest}
    found = {
        name: None if text is None else read_concentration(name, text, component)
        for name, text in limits.items()
    }
    try:
        window = Window(*found.values()) if any(limits.values()) else None
    except ValueError as error:
        raise InputError(WHERE, (str(error),)) from error
    return Wanted(
        component,
        window,
        form.volume,
        form.volume_limit,
        read_sources(component, form.purity, form.acid),
        tuple(_other(name, text) for name, text in form.also.items()),
    )


def read_concentration(key: str, text: str, component: str) -> float:
    """A concentration such as "50 g/L" or, of copper, "200 g/L CuSO4·5H2O"; in g/L.

    Raises InputError, which names the key.
    """
    times, unit = PER_G_L.get(component, (1.0, "g/L"))
    plain = _CRYSTALS.sub("", text) if component == "copper" else text
    try:
        value = parse(plain, unit) / times
    except UnitError as error:
        raise InputError(WHERE, (f"{key}: {error}",)) from error
    if value < 0:
        raise InputError(WHERE, (f"{key}: must not be less than 0 {unit}, got {text!r}",))
    return value if plain == text else value * PENTAHYDRATE.copper_share


def _other(name: str, text: str) -> Other:
    times, unit = PER_G_L.get(name, (1.0, "g/L"))
    return Other(name, times * read_concentration(f"also {name}", text, name), unit)


def restored(wanted: Wanted, concentration: Budget) -> Report:
    """The verdict on an analysis, and what it takes; an empty report where no window is known.

    Raises InputError for a source that is too weak.
    """
    if wanted.window is None:
        return Report(())
    found = Found(max(0.0, concentration.value), concentration.expanded(CONFIDENCE))
    where, surely = verdict(found, wanted.window)
    row = Row("window", f"{_window(wanted)}: {where.value}{'' if surely else ', not surely'}")
    report = Report((row,), tuple(_unsure(where, surely)))
    if where is Verdict.INSIDE:
        return report
    if wanted.volume_l is None:
        return report + Report((Row("", "how much that takes depends on the bath's volume"),))
    if where is Verdict.BELOW:
        return report + _additions(wanted, wanted.window, found, wanted.volume_l)
    return report + _dilution(wanted, wanted.window, found, wanted.volume_l)


def _unsure(where: Verdict, surely: bool) -> Sequence[str]:
    if surely or where is Verdict.INSIDE:
        return ()
    return ("the interval reaches into the window: titrate again before much is done",)


def _window(wanted: Wanted) -> str:
    window, component = wanted.window, wanted.component
    if window is None:
        return ""
    told = [
        f"{name} {shown(component, limit)}"
        for name, limit in (
            ("least", window.least_g_l),
            ("target", window.target_g_l),
            ("greatest", window.greatest_g_l),
        )
        if limit is not None
    ]
    return ", ".join(told)


def _additions(wanted: Wanted, window: Window, found: Found, volume_l: float) -> Report:
    """Each source by itself: any one of them will do."""
    rows: list[Row] = []
    warnings: list[str] = []
    cautions: list[str] = []
    for named in wanted.sources:
        try:
            made = addition(found, window, volume_l, named.source, wanted.volume_limit)
        except ValueError as error:
            raise InputError(WHERE, (f"{named.name}: {error}",)) from error
        if made is None:
            upper = shown(wanted.component, found.upper_g_l)
            return Report(
                (Row("add", "nothing yet"),),
                (f"the analysis is too unsure: the truth may be {upper}, and no addition is sure "
                 "not to overshoot. Titrate again",),
            )  # fmt: skip
        rows.append(Row("or" if rows else "add", _added(wanted, named, made, volume_l)))
        if made.held_back:
            warnings.append(_held_back(wanted, window))
        if named.acid:
            cautions.append(ACID_CAUTION)
    return Report((*rows,), tuple(dict.fromkeys(warnings)), tuple(dict.fromkeys(cautions)))


def _added(wanted: Wanted, named: NamedSource, made: Addition, volume_l: float) -> str:
    grows = ""
    if made.grows_l:
        grows = f", and the bath grows by {_amount(1000 * made.grows_l, 'mL')}"
    stays = volume_l / (volume_l + made.grows_l)
    if stays < _HARDLY_LESS:
        grows += f"; all else falls to {100 * stays:.3g} % of what it is"
    return (
        f"{_amount(made.amount, named.unit)} of {named.name} to {volume_l:.4g} L: it comes to "
        f"{shown(wanted.component, made.reaches_g_l, 3)}{grows}"
    )


def _held_back(wanted: Wanted, window: Window) -> str:
    return (
        f"held back: what {shown(wanted.component, window.aim_g_l)} takes might lead out of the "
        "window on the other side, as unsure as analysis and volume are. Analyse again before the "
        "rest"
    )


def _dilution(wanted: Wanted, window: Window, found: Found, volume_l: float) -> Report:
    made = dilution(found, window, volume_l, wanted.volume_limit)
    if made is None:
        lower = shown(wanted.component, found.lower_g_l)
        why = (
            "no dilution leads to nothing of it: make the bath up anew"
            if window.aim_g_l == 0
            else f"the analysis is too unsure: the truth may be {lower}, and no dilution is sure "
            "not to fall short. Titrate again"
        )
        return Report((Row("dilute", "nothing yet"),), (why,))
    rows = [
        Row(
            "dilute",
            f"take out {_amount(1000 * made.take_out_l, 'mL')} of {volume_l:.4g} L and fill up "
            f"with water: it comes to {shown(wanted.component, made.reaches_g_l, 3)}",
        ),
        Row("", f"all else falls to {100 * made.stays:.3g} % of what it is, additives too"),
        *(Row("", _thinned(other, made)) for other in wanted.others),
    ]
    held_back = (_held_back(wanted, window),) if made.held_back else ()
    return Report(tuple(rows), held_back, (WASTE_CAUTION,))


def _thinned(other: Other, made: Dilution) -> str:
    after = other.value * made.stays
    said = f"{other.name} falls from {other.value:.4g} to {after:.3g} {other.unit}"
    if other.least is not None and after < other.least:
        return f"{said}, and its least is {other.least:.4g} {other.unit}"
    return said


def _amount(amount: float, unit: str) -> str:
    """An amount to three digits, rounded down so that it never leads beyond."""
    if not amount > 0:
        return f"0 {unit}"
    places = 2 - math.floor(math.log10(amount))
    down = math.floor(amount * 10.0**places * (1 + 1e-12)) / 10.0**places
    if down >= 1000:
        down, unit = down / 1000, {"mL": "L", "g": "kg"}[unit]
    return f"{down:.4g} {unit}"
