"""An analysis in words: what was found and how sure it is, and what the bath wants.

Figures are g/L, of chloride mg/L; copper is shown as its pentahydrate too.
"""

import math
from collections.abc import Mapping
from typing import Any

from daemon.api.analyses.titration import TitrantName, Titrated
from daemon.api.report import Report, Row
from daemon.api.rounding import fixed, rounded
from daemon.chemistry.substances import PENTAHYDRATE
from daemon.chemistry.uncertainty import Budget

CONFIDENCE = 0.95

PER_G_L = {"chloride": (1000.0, "mg/L")}
"""In what a component is shown: so many of the unit are 1 g/L. All others in g/L."""

MOST_G_L = {"copper": 90.0, "sulfuric acid": 300.0, "chloride": 0.5}
"""More than this is hardly a bath: about as much copper as dissolves at 20 °C (201 g CuSO4 in 1 kg
of water), acid and chloride well beyond any published acid copper bath."""

GUIDANCE = "chloride by titration is for guidance only (common practice)"

_EYES = "Wear eye protection and gloves; the safety data sheets of what you use come first."
_WASTE = (
    "What was titrated holds copper: no drains. Collect it with the bath's waste, and ask your "
    "local authority where it goes."
)
_CAUTIONS: dict[TitrantName, tuple[str, ...]] = {
    "EDTA": ("EDTA keeps copper dissolved: collect it apart from waste that is to be settled.",),
    "thiosulfate": (
        "Iodine stains, and harms whatever lives in water. Acid on thiosulfate gives off sulfur "
        "dioxide: keep the waste of this titration apart from acids.",
    ),
    "hydroxide": (
        "Sodium hydroxide blinds and burns as acid does, and hurts less at first. Hydroxide and "
        "acid poured together boil: never mix their wastes unthinned.",
    ),
    "silver nitrate": ("Silver nitrate stains and burns skin and eyes; collect its waste apart.",),
    "other": (),
}


def found(titrated: Titrated) -> Report:
    """What a titration found."""
    form, analysis = titrated.form, titrated.analysis
    rows = [Row(form.component, sure(form.component, analysis.concentration))]
    if form.component == "copper":
        crystals = analysis.concentration.times(1 / PENTAHYDRATE.copper_share)
        rows.append(
            Row("as crystals", f"{_with_doubt(crystals, 1.0, 'g/L')} of {PENTAHYDRATE.name}")
        )
    rows += [Row("by", _method(titrated)), Row("each", _each(titrated))]
    rows.append(Row("doubt", _doubt(form.component, analysis.concentration)))
    if titrated.taken:
        rows.append(
            Row("taken", f"{', '.join(titrated.taken)} (common practice); give what yours have")
        )
    return Report(tuple(rows), tuple(_warnings(titrated)), cautions(form.titrant))


def cautions(titrant: TitrantName) -> tuple[str, ...]:
    """What may hurt somebody who titrates with it."""
    return (*_CAUTIONS[titrant], _EYES, _WASTE)


def entry_facts(titrated: Titrated, tree: Mapping[str, Any]) -> dict[str, Any]:
    """What the bath's account keeps of it: method, result, and `tree`, the form as it was written.

    Of a concentration it keeps the mean and the standard uncertainty.
    """
    form, concentration = titrated.form, titrated.analysis.concentration
    times, _ = PER_G_L.get(form.component, (1.0, "g/L"))
    result = {"value": times * concentration.value, "u": times * concentration.u}
    name = "titrant" if form.titrant == "other" else form.titrant
    return {
        "method": f"{name} {form.strength}",
        "results": {form.component: result},
        "details": {key: list(v) if isinstance(v, tuple) else v for key, v in tree.items()},
    }


def sure(component: str, concentration: Budget) -> str:
    """A concentration with its interval: `9.62 ± 0.13 g/L (95 %)`."""
    times, unit = PER_G_L.get(component, (1.0, "g/L"))
    return _with_doubt(concentration, times, unit)


def shown(component: str, g_l: float, digits: int = 4) -> str:
    """A concentration without its interval, in the component's unit."""
    times, unit = PER_G_L.get(component, (1.0, "g/L"))
    return f"{g_l * times:.{digits}g} {unit}"


def _with_doubt(concentration: Budget, times: float, unit: str) -> str:
    half_width = times * concentration.expanded(CONFIDENCE)
    if not half_width > 0:
        return f"{times * concentration.value:.5g} {unit}"
    value, doubt = rounded(times * concentration.value, half_width, 9)
    return f"{value} ± {doubt} {unit} (95 %)"


def _method(titrated: Titrated) -> str:
    form = titrated.form
    factor = "" if form.factor == 1 else f", factor {form.factor:g}"
    dilution = ""
    if form.diluted_to is not None and form.aliquot is not None:
        dilution = f" made up to {form.diluted_to:g} mL, {form.aliquot:g} mL of that"
    blank = ""
    if form.blank:
        blank_ml = math.fsum(each.volume_ml for each in form.blank) / len(form.blank)
        blank = f", less {blank_ml:.4g} mL of blank"
    name = "titrant" if form.titrant == "other" else form.titrant
    return f"{name} {form.strength}{factor}; {form.sample:g} mL of bath{dilution}{blank}"


def _each(titrated: Titrated) -> str:
    analysis = titrated.analysis
    times, unit = PER_G_L.get(titrated.form.component, (1.0, "g/L"))
    places = max(0, 3 - math.floor(math.log10(times * analysis.concentration.value)))
    figures = ", ".join(fixed(times * each, places) for each in analysis.each_g_l)
    if analysis.scatter_g_l is None:
        return f"{figures} {unit}"
    return f"{figures} {unit}; s = {times * analysis.scatter_g_l:.2g} {unit}"


def _doubt(component: str, concentration: Budget) -> str:
    """The standard uncertainty, and its causes as shares of its square, the greatest first."""
    times, unit = PER_G_L.get(component, (1.0, "g/L"))
    u = concentration.u
    if not u:
        return "none was given"
    shares = sorted(concentration.shares, key=lambda share: -share.u)
    told = ", ".join(f"{s.name} {100 * (s.u / u) ** 2:.0f} %" for s in shares if s.u)
    return f"u = {times * u:.2g} {unit}; of u²: {told}"


def _warnings(titrated: Titrated) -> list[str]:
    form, analysis = titrated.form, titrated.analysis
    told = []
    if analysis.odd is not None:
        volume_ml = form.readings[analysis.odd].volume_ml
        told.append(
            f"titration {analysis.odd + 1} of {volume_ml:.4g} mL does not belong to the others "
            "(Grubbs's test, 95 %). It is in the mean all the same: look for a cause, and titrate "
            "again"
        )
    if analysis.apart:
        told.append("both titrations are more than two drops apart: do a third")
    if len(form.readings) == 1:
        told.append("one titration does not tell how far the next would be off: do a second")
    most_g_l = MOST_G_L[form.component]
    if analysis.concentration.value > most_g_l:
        told.append(
            f"a bath hardly holds more than {shown(form.component, most_g_l)}: are strength, "
            "sample and dilution right?"
        )
    if form.component == "chloride":
        told.append(GUIDANCE)
    return told
