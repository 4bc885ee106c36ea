"""What a bath's account holds, in words: one line for each entry, figures with their units."""

from datetime import UTC, datetime, tzinfo

from daemon.api.rounding import rounded
from daemon.bath import account, kinds
from daemon.bath.account import Standing
from daemon.bath.additive_rate import RateFound
from daemon.bath.appearance import Suggestion
from daemon.bath.book import Book
from daemon.bath.components import (
    CHLORIDE,
    COPPER,
    VOLUME,
    amount_unit,
    concentration_unit,
)
from daemon.bath.description import Additive
from daemon.chemistry.substances import PENTAHYDRATE

_NAMES = {kinds.FILTRATION: "filtered", kinds.CARBON: "treated with carbon"}


def amount(substance: str, value: float, additives: tuple[str, ...]) -> str:
    """An amount with its unit: `5 mL`, `763.5 g`, `15 L`; volumes below 1 L in mL."""
    unit = amount_unit(substance, additives)
    if unit == "L" and abs(value) < 1:
        return f"{value * 1000:.6g} mL"
    if unit == "g" and substance == CHLORIDE:
        return f"{value:.4g} g"
    return f"{value:.6g} {unit}"


def balance(substance: str, value: float, additives: tuple[str, ...]) -> str:
    """What was put in of a substance; the pentahydrate beside copper."""
    said = amount(substance, value, additives)
    if substance == COPPER:
        said += f" (as CuSO4·5H2O {value / PENTAHYDRATE.copper_share:.6g} g)"
    return said


def volume(book: Book) -> str:
    """The bath's volume, and how that is known; "" where nothing tells."""
    found = account.level(book.entries, book.description, book.utc_ms)
    if found is None:
        return ""
    if found.stated_utc_ms is None:
        return f"{found.volume_l:.6g} L, by its description"
    stated = stamp(found.stated_utc_ms)
    return f"{found.volume_l:.6g} L, as stated {stated} with what was entered since"


def entry(each: Standing, additives: tuple[str, ...]) -> str:
    """What an entry says as it stands: `dose: brightener 5 mL`."""
    if each.facts is None:
        return f"{each.kind}: withdrawn"
    parts = [
        f"{substance} {amount(substance, value, additives)}"
        for substance, value in each.amounts.items()
        # What a dose or an addition adds to the volume goes without saying; a top-up has its level.
        if substance != VOLUME or each.kind not in (kinds.DOSE, kinds.ADDITION, kinds.TOP_UP)
    ]
    if each.kind != kinds.DESCRIPTION:
        parts += [_fact(name, value, additives) for name, value in each.facts.items()]
    parts = [part for part in parts if part]
    name = _NAMES.get(each.kind, each.kind)
    return f"{name}: {', '.join(parts)}" if parts else name


def _fact(name: str, value: object, additives: tuple[str, ...]) -> str:
    """A fact in words; nothing for what only programs need."""
    match name, value:
        case "looks", list():
            return ", ".join(map(str, value))
        case "results", dict():
            return ", ".join(_result(part, found, additives) for part, found in value.items())
        case "taken_out_l", _:
            return f"after {amount(VOLUME, float(str(value)), additives)} was taken out"
        case "level_l", _:
            return f"then {value:g} L"
        case "area_dm2", _:
            return f"{value:g} dm²"
        case (("mass_g" | "carbon_g"), _):
            return f"{value:g} g"
        case "volume_ml", _:
            return f"{value:.6g} mL"
        case "before_g", _:
            return f"before {value:g} g"
        case "after_g", _:
            return f"after {value:g} g"
        case (("as" | "what" | "method"), _):
            return str(value)
        case "origin", _:
            return f"by the {value}"
        case "cut_short", _:
            return f"cut short: {value}"
    return ""


def _result(component: str, found: dict[str, float], additives: tuple[str, ...]) -> str:
    u = found.get("u")
    doubt = "" if u is None else f" (u {u:.2g})"
    unit = concentration_unit(component, additives)
    return f"{component} {found['value']:.4g}{doubt} {unit}"


def suggestion(each: Suggestion) -> str:
    """Another rate for an additive, and why: `brightener 188 mL/kAh instead of 150: dull 2 …`."""
    if each.rate_ml_kah is None:
        return f"{each.additive}: {each.reason}"
    return (
        f"{each.additive} {each.rate_ml_kah:.3g} mL/kAh instead of {each.now_ml_kah:.4g}: "
        f"{each.reason}. {_FIRST}"
    )


_FIRST = (
    "Look at chloride, temperature, agitation and dirt first (common practice); the rate is yours "
    "to change, in the settings"
)


def rate_found(additive: Additive, found: RateFound | None) -> str:
    """What doses amount to: `195 ± 14 mL/kAh (95 %), 7 intervals in 412.0 Ah; 150 mL/kAh set`."""
    is_set = "" if additive.rate_ml_kah is None else f"; {additive.rate_ml_kah:.4g} mL/kAh set"
    if found is None:
        return f"no charge between two doses yet{is_set}"
    expanded = found.expanded_ml_kah
    if not expanded:
        value = f"{found.rate_ml_kah:.3g} mL/kAh, how sure is not known"
    else:
        figures = rounded(found.rate_ml_kah, expanded, 1)
        value = f"{figures[0]} ± {figures[1]} mL/kAh (95 %)"
    many = f"{found.intervals} interval{'' if found.intervals == 1 else 's'}"
    return f"{value}, {many} in {found.charge_ah:.1f} Ah{is_set}"


def stamp(utc_ms: int, zone: tzinfo | None = None) -> str:
    """A moment to the minute in `zone`, None for the machine's own: `2026-11-20 18:00`."""
    return f"{datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone(zone):%Y-%m-%d %H:%M}"
