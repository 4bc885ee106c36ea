"""Which entries a bath's account takes, and what each may hold: checked here and nowhere else.

Amounts are by substance: g, mL of an additive, L of "volume"; above 0 they go into the bath.
Facts are as JSON has them. What a kind does not know is refused.
"""

import math
from collections.abc import Callable, Collection, Mapping
from typing import Any

from daemon.bath.components import VOLUME, amount_unit
from daemon.bath.description import Description
from daemon.bath.errors import EntryError

DESCRIPTION, MAKE_UP, ADDITION, DOSE, WATER = "description", "make-up", "addition", "dose", "water"
DRAG_OUT, SAMPLE, FILTRATION, CARBON = "drag-out", "sample", "filtration", "carbon treatment"
ANALYSIS, APPEARANCE, ANODES, WEIGHING = "analysis", "appearance", "anodes", "weighing"
TOP_UP, CORRECTION = "top-up", "correction"
"""Kinds of entries: how the bath is described from then on, written by the daemon alone; a bath
made anew, with all that is in it; a substance added; an additive dosed; water added; bath carried
away by parts; bath taken out; the bath filtered; treated with carbon; what an analysis found; how a
deposit looks; the anodes as they hang; something weighed; a bath brought to its recipe, with all
that was taken out and put in; another entry corrected or withdrawn."""

DULL, HAZY, PITTED, BURNED, BRIGHT, EVEN = "dull", "hazy", "pitted", "burned", "bright", "even"
LOOKS = (DULL, HAZY, PITTED, BURNED, BRIGHT, EVEN)
"""How a deposit looks."""

PART, ANODE = "part", "anodes"
WEIGHED = (PART, ANODE)
"""What is weighed."""

MOST_DOSE_ML_L = 20.0
"""mL of an additive for each L of bath, the most that one dose may be. A whole make-up is about
1 fl oz in a gallon, 7.8 mL/L (common practice): more than twice that is a slip of the unit."""

MOST_ML, MOST_G, MOST_L = 1e5, 1e6, 1e4
"""The most of an additive, of a substance and of bath in one entry, where nothing else bounds it:
a tank of ten cubic metres is no bench's."""

MOST_BATHS = 2.0
"""So many times the bath's volume is the most that is added or taken in one entry."""

Amounts = Mapping[str, float]
Facts = Mapping[str, Any]
_Check = Callable[[str, Any], None]


def check(
    kind: str,
    amounts: Amounts,
    facts: Facts,
    description: Description,
    additives: Collection[str],
) -> None:
    """Refuse an entry that its kind does not allow; raises EntryError, with the reason.

    `description` is the bath's, `additives` are all that it has ever known, by name.
    """
    if kind not in _FACTS:
        known = ", ".join(_FACTS)
        raise EntryError(f"kind: expected one of {known}, got {kind!r}")
    for substance, amount in amounts.items():
        _check_amount(substance, amount, description, additives)
    for name, value in facts.items():
        wanted = _FACTS[kind].get(name)
        if wanted is None:
            allowed = ", ".join(_FACTS[kind]) or "none"
            raise EntryError(f"{name}: {_named(kind)} has no such fact; allowed: {allowed}")
        wanted(name, value)
    _AMOUNTS[kind](kind, amounts, additives)
    if kind == DOSE:
        _check_dose(amounts, description)
    if kind == TOP_UP:
        _check_taken_out(facts, description)
    _check_needed(kind, facts)
    if kind == WEIGHING:
        _check_efficiency(facts)


def _check_needed(kind: str, facts: Facts) -> None:
    needed = _NEEDED.get(kind, ())
    if needed and not any(name in facts for name in needed):
        raise EntryError(f"{_named(kind)} needs {' or '.join(needed)}")


def _check_efficiency(facts: Facts) -> None:
    """An efficiency that a weighing says has all that others reckon with."""
    details = facts.get("details", {})
    if "efficiency" not in details:
        return
    for name in ("before_g", "after_g"):
        if name not in facts:
            raise EntryError(f"{name}: an efficiency needs it")
    for name, wanted in _EFFICIENCY.items():
        if name not in details:
            raise EntryError(f"details.{name}: an efficiency needs it")
        wanted(f"details.{name}", details[name])


def _check_amount(
    substance: str, amount: float, description: Description, additives: Collection[str]
) -> None:
    unit = amount_unit(substance, additives)
    most = {"L": MOST_L, "mL": MOST_ML, "g": MOST_G}[unit]
    litres = description.brim_l or description.volume_l
    if unit == "L" and litres is not None:
        most = MOST_BATHS * litres
    if not substance or substance != substance.strip():
        raise EntryError(f"amounts: a substance needs a name, got {substance!r}")
    if not math.isfinite(amount):
        raise EntryError(f"{substance}: expected a finite amount, got {amount}")
    if abs(amount) > most:
        raise EntryError(
            f"{substance}: {abs(amount):g} {unit} is more than can be, at most {most:g} {unit}: "
            "is the unit right?"
        )


def _check_dose(amounts: Amounts, description: Description) -> None:
    if description.volume_l is None:
        return
    for name, amount_ml in amounts.items():
        if name == VOLUME:
            continue
        known = description.additive(name)
        make_up_ml_l = (known and known.make_up_ml_l) or 0.0
        most_ml = max(MOST_DOSE_ML_L, 2 * make_up_ml_l) * description.volume_l
        if amount_ml > most_ml:
            raise EntryError(
                f"{name}: {amount_ml:g} mL at once is more than {description.volume_l:g} L of bath "
                f"bear, at most {most_ml:g} mL: is the unit right?"
            )


def _check_taken_out(facts: Facts, description: Description) -> None:
    """No more than there is is taken out."""
    most_l, taken_l = description.brim_l or description.volume_l, facts.get("taken_out_l", 0.0)
    if most_l is not None and taken_l > most_l:
        raise EntryError(
            f"taken_out_l: {taken_l:g} L is more than the bath's {most_l:g} L: is the unit right?"
        )


def _nothing(kind: str, amounts: Amounts, additives: Collection[str]) -> None:  # noqa: ARG001
    if amounts:
        raise EntryError(f"{_named(kind)} puts nothing into the bath, got {_shown(amounts)}")


def _made_up(kind: str, amounts: Amounts, additives: Collection[str]) -> None:  # noqa: ARG001
    if not amounts.get(VOLUME, 0.0) > 0:
        raise EntryError(f"{_named(kind)} needs a volume above 0 L")
    _check_signs(kind, amounts, least=0.0)


def _put_in(kind: str, amounts: Amounts, additives: Collection[str]) -> None:  # noqa: ARG001
    if not any(amount > 0 for name, amount in amounts.items() if name != VOLUME):
        raise EntryError(f"{_named(kind)} needs a substance, above 0; for water there is `water`")
    _check_signs(kind, amounts, least=0.0)


def _dosed(kind: str, amounts: Amounts, additives: Collection[str]) -> None:
    names = [name for name in amounts if name != VOLUME]
    known = ", ".join(additives) or "none is described in the settings"
    unknown = [name for name in names if name not in additives]
    if unknown:
        raise EntryError(f"{unknown[0]}: no such additive; known: {known}")
    if len(names) != 1 or not amounts[names[0]] > 0:
        raise EntryError(f"{_named(kind)} needs one additive, above 0 mL; known: {known}")
    _check_signs(kind, amounts, least=0.0)


def _only_volume(kind: str, amounts: Amounts, additives: Collection[str]) -> None:  # noqa: ARG001
    if amounts.keys() != {VOLUME} or not amounts[VOLUME] > 0:
        raise EntryError(f"{_named(kind)} needs a volume above 0 L, and nothing else")


def _taken_out(kind: str, amounts: Amounts, additives: Collection[str]) -> None:  # noqa: ARG001
    if not amounts.get(VOLUME, 0.0) < 0:
        raise EntryError(f"{_named(kind)} takes a volume out of the bath: needs one below 0 L")
    if any(amount > 0 for amount in amounts.values()):
        raise EntryError(f"{_named(kind)} puts nothing into the bath, got {_shown(amounts)}")


def _topped_up(kind: str, amounts: Amounts, additives: Collection[str]) -> None:  # noqa: ARG001
    """Its volume is what it is more, or less, than before."""
    if not any(amounts.values()):
        raise EntryError(f"{_named(kind)} needs something that was put in or taken out")
    _check_signs(kind, {x: much for x, much in amounts.items() if x != VOLUME}, least=0.0)


def _check_signs(kind: str, amounts: Amounts, *, least: float) -> None:
    if any(amount < least for amount in amounts.values()):
        raise EntryError(f"{_named(kind)} takes nothing out of the bath, got {_shown(amounts)}")


def _shown(amounts: Amounts) -> str:
    return ", ".join(f"{name} {amount:g}" for name, amount in amounts.items())


def _named(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} entry of kind {kind!r}"


def _positive(name: str, value: Any) -> None:
    _number(name, value)
    if not value > 0:
        raise EntryError(f"{name}: must be above 0, got {value:g}")


def _not_negative(name: str, value: Any) -> None:
    _number(name, value)
    if value < 0:
        raise EntryError(f"{name}: must not be less than 0, got {value:g}")


def _number(name: str, value: Any) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise EntryError(f"{name}: expected a number, got {value!r}")


def _text(name: str, value: Any) -> None:
    if not isinstance(value, str) or not 0 < len(value.strip()) <= 500:
        raise EntryError(f"{name}: expected a text of 1 to 500 characters, got {value!r}")


def _table(name: str, value: Any) -> None:
    if not isinstance(value, Mapping):
        raise EntryError(f"{name}: expected a table, got {value!r}")


def _words(name: str, value: Any) -> None:
    if not isinstance(value, list) or not value or len(set(map(str, value))) != len(value):
        raise EntryError(f"{name}: expected one or more of {', '.join(LOOKS)}, each once")
    for word in value:
        _one_of(LOOKS)(name, word)


def _yes_or_no(name: str, value: Any) -> None:
    if not isinstance(value, bool):
        raise EntryError(f"{name}: expected true or false, got {value!r}")


def _one_of(words: tuple[str, ...]) -> _Check:
    def among(name: str, value: Any) -> None:
        if value not in words:
            raise EntryError(f"{name}: expected one of {', '.join(words)}, got {value!r}")

    return among


def _results(name: str, value: Any) -> None:
    """By component its concentration and, where known, its standard uncertainty."""
    _table(name, value)
    if not value:
        raise EntryError(f"{name}: needs the concentration of a component")
    for component, found in value.items():
        where = f"{name}.{component}"
        _table(where, found)
        if not found.keys() <= {"value", "u"} or "value" not in found:
            raise EntryError(f"{where}: expected value and u, got {', '.join(found) or 'nothing'}")
        _not_negative(f"{where}.value", found["value"])
        if found.get("u") is not None:
            _not_negative(f"{where}.u", found["u"])


_DETAILS: dict[str, _Check] = {"details": _table}
_FACTS: dict[str, dict[str, _Check]] = {
    MAKE_UP: {"level_l": _positive, **_DETAILS},
    ADDITION: {"as": _text, "mass_g": _positive, "volume_ml": _positive, **_DETAILS},
    DOSE: {},
    TOP_UP: {"level_l": _positive, "taken_out_l": _positive, **_DETAILS},
    WATER: {"level_l": _positive},
    DRAG_OUT: {"area_dm2": _positive},
    SAMPLE: {"level_l": _positive},
    FILTRATION: {"duration_s": _positive},
    CARBON: {"carbon_g": _positive},
    ANALYSIS: {"method": _text, "results": _results, **_DETAILS},
    APPEARANCE: {"looks": _words, **_DETAILS},
    ANODES: {"area_dm2": _positive, "mass_g": _positive, **_DETAILS},
    WEIGHING: {
        "what": _one_of(WEIGHED),
        "before_g": _positive,
        "after_g": _positive,
        "u_g": _not_negative,
        **_DETAILS,
    },
}
"""The facts that each kind may have. A dose has some only from the daemon, for a pump
(`daemon.record.pump_doses`). `details` are for whoever makes the entry: a JSON object."""

_EFFICIENCY: dict[str, _Check] = {
    "metal": _text,
    "charge_ah": _positive,
    "efficiency": _positive,
    "u_own": _not_negative,
    "u_common": _not_negative,
    "counts": _yes_or_no,
}
"""What a weighing's details have to hold if they have an efficiency."""

_NEEDED = {
    ANALYSIS: ("results",),
    APPEARANCE: ("looks",),
    ANODES: ("area_dm2", "mass_g"),
    WEIGHING: ("before_g", "after_g"),
}
"""Facts of which one at least has to be there."""

_AMOUNTS: dict[str, Callable[[str, Amounts, Collection[str]], None]] = {
    MAKE_UP: _made_up,
    ADDITION: _put_in,
    DOSE: _dosed,
    TOP_UP: _topped_up,
    WATER: _only_volume,
    DRAG_OUT: _taken_out,
    SAMPLE: _taken_out,
    **dict.fromkeys((FILTRATION, CARBON, ANALYSIS, APPEARANCE, ANODES, WEIGHING), _nothing),
}
"""What each kind may put in or take out."""

ENTERED = tuple(_FACTS)
"""The kinds that a person enters."""
