"""In which order a bath is made or topped up, each caution where it is needed.

Order and words are common practice; "acids are always added to water, not the reverse" is the Metal
Finishing Guidebook's (2012-13, p. 554).
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from daemon.api.making.amounts import both_masses, both_volumes, figure
from daemon.api.making.recipe import RecipeFile
from daemon.chemistry.acid_density import WATER_20_C_G_CM3, Strength
from daemon.chemistry.dilution_heat import acid_heat_kj, dry_salt_heat_kj, rise_k
from daemon.chemistry.make_up import Amounts, Sources, crystal_water_g
from daemon.chemistry.solubility import dissolves_from_c
from daemon.chemistry.top_up import TopUp

FIRST_SHARE = 0.65
"""Of the water, into which crystals and acid go: 60 to 70 % (common practice)."""

GREATEST_C = 60.0
"""Warmer than this the solution must not get while acid runs in (common practice)."""

_COOL_ROOM_C = 15.0
_ROOM_C = 25.0
"""Cooler than this it does not get by standing."""

COOL_C = 30.0
"""Below this it is filled up, and gets its additives (common practice)."""

WATER = "water, distilled or deionised"

GENERAL_CAUTIONS = (
    "These are reminders: your local codes, the safety data sheets of what you use and the practice"
    " of licensed trades come first.",
)

_ACID = (
    "Acid into the solution, never water or solution into the acid: it can boil up and throw acid."
    " Eye protection, gloves and apron; water to rinse within reach."
)
_SALT = (
    "Copper sulfate is harmful if swallowed, damages eyes, and is very toxic to aquatic life:"
    " gloves and eye protection, no dust, nothing down the drain."
)
_HYDROCHLORIC = "Hydrochloric acid burns and fumes: eye protection, gloves, fresh air."
_NEW_ACID = "Only new acid: acid drained from a battery carries lead and iron."


@dataclass(frozen=True, slots=True)
class Step:
    """What to do, and what may hurt somebody while it is done."""

    text: str
    cautions: tuple[str, ...] = ()


def crystals_named(sources: Sources) -> str:
    """The crystals by name and purity."""
    name = f"copper sulfate, {sources.hydrate.name}"
    return name if sources.purity == 1 else f"{name}, {figure(100 * sources.purity)} %"


def acid_named(strength: Strength) -> str:
    """An acid by name and strength: "sulfuric acid, 96 wt %"."""
    return f"{strength.acid.name}, {figure(strength.wt_percent)} wt %"


def chloride_named(sources: Sources) -> str:
    """What brings the chloride, by name."""
    if sources.hydrochloric is not None:
        return acid_named(sources.hydrochloric)
    pure = sources.salt_purity == 1
    return "sodium chloride" if pure else f"sodium chloride, {figure(100 * sources.salt_purity)} %"


def of_make_up(recipe: RecipeFile, amounts: Amounts) -> tuple[Step, ...]:
    """The steps of a make-up."""
    return tuple(_of_make_up(recipe, amounts, recipe.sources()))


def _of_make_up(recipe: RecipeFile, amounts: Amounts, sources: Sources) -> Iterator[Step]:
    first_g = None if amounts.water_g is None else FIRST_SHARE * amounts.water_g
    yield _first_water(amounts, sources, first_g)
    if amounts.crystals_g:
        yield _crystals(amounts, sources, first_g)
    for name, grams in amounts.others_g:
        yield Step(f"Stir in {both_masses(grams)} of {name} until it is dissolved.")
    if amounts.crystals_g and recipe.crystals.technical:
        yield Step(
            "Filter the solution, since the crystals are technical grade: no bath is used before"
            " that. What stays cloudy or brown wants carbon."
        )
    if amounts.acid_g and sources.acid is not None:
        yield _acid(recipe, amounts, sources, first_g)
    rest = "" if first_g is None else f": about {_water(first_g * (1 / FIRST_SHARE - 1))}"
    yield Step(
        f"Let it cool below {COOL_C:g} °C, then fill up to"
        f" {both_volumes(1000 * recipe.volume)} with the rest of the water{rest}."
    )
    if amounts.chloride_g:
        yield _chloride(amounts, sources)
    if amounts.crystals_g or amounts.acid_g:
        yield Step("Analyse copper, acid and chloride, and correct what is off.")
    if amounts.additives_ml:
        yield Step(f"Additives last, below {COOL_C:g} °C: {_additives(amounts)}. Heat spoils them.")
    if amounts.crystals_g:
        yield Step("Plate scrap first, as a dummy, until it comes out even.")


def of_top_up(recipe: RecipeFile, plan: TopUp) -> tuple[Step, ...]:
    """The steps of a topping-up."""
    return tuple(_of_top_up(recipe, plan, recipe.sources()))


def _of_top_up(recipe: RecipeFile, plan: TopUp, sources: Sources) -> Iterator[Step]:
    added = plan.added
    if plan.taken_out_l:
        yield Step(
            f"Take {both_volumes(1000 * plan.taken_out_l)} of bath out, and keep it in a marked"
            " container.",
            ("Spent bath goes into no drain and no soil: ask your local authority where to.",),
        )
    if added.crystals_g:
        yield Step(
            f"Dissolve {both_masses(added.crystals_g)} of {sources.hydrate.name} in warm bath or"
            " in the water to be added, and pour it in"
            + (" through a filter." if recipe.crystals.technical else "."),
            (_SALT,),
        )
    for name, grams in added.others_g:
        if grams:
            yield Step(f"Dissolve {both_masses(grams)} of {name} likewise.")
    if added.acid_g and sources.acid is not None:
        ml = added.acid_g / sources.acid.density_g_cm3
        yield Step(
            f"With the current off, pour {both_volumes(ml)} of"
            f" {acid_named(sources.acid)}, slowly into the stirred bath.",
            (_ACID, *((_NEW_ACID,) if _from_battery(recipe) else ())),
        )
    if added.chloride_g:
        yield _chloride(added, sources)
    water = "" if added.water_g is None else f", about {_water(max(0.0, added.water_g))}"
    yield Step(f"Fill up to {both_volumes(1000 * recipe.volume)} with water{water}; stir.")
    if added.additives_ml:
        yield Step(f"Put back the additives of what was taken out: {_additives(added)}.")
    yield Step("Analyse again before the next part.")


def _first_water(amounts: Amounts, sources: Sources, first_g: float | None) -> Step:
    much = "60 to 70 % of the water"
    if first_g is not None:
        much = f"{100 * FIRST_SHARE:g} % of the water, {_water(first_g)}"
    text = f"Fill in {much}, distilled or deionised: no tap water, and none that was only filtered."
    if not amounts.crystals_g:
        return Step(text)
    text += (
        " At 40 to 50 °C crystals dissolve faster; 54 to 60 °C (130 to 140 °F) is a help, not a"
        " need."
    )
    if first_g:
        text += _too_cold(sources, amounts.crystals_g * sources.purity, first_g)
    return Step(text)


def _too_cold(sources: Sources, crystals_g: float, first_g: float) -> str:
    """How warm the first water has to be for the crystals, where that is more than a cool room."""
    from_c = dissolves_from_c(sources.hydrate, crystals_g, first_g)
    if from_c is None:
        return " So much water does not take all the crystals: take more of it now."
    if from_c <= _COOL_ROOM_C:
        return ""
    return f" Below {math.ceil(from_c):g} °C so much water does not take all the crystals."


def _crystals(amounts: Amounts, sources: Sources, first_g: float | None) -> Step:
    much = both_masses(amounts.crystals_g)
    text = f"Stir in {much} of {crystals_named(sources)}, until it is clear."
    heat_kj = dry_salt_heat_kj(sources.hydrate, amounts.crystals_g * sources.purity)
    if not heat_kj or not first_g:
        return Step(text, (_SALT,))
    rise = _rounded_up(rise_k(heat_kj, first_g))
    warm = f"Crystals without all their water heat it, by up to {rise} °C: a little at a time."
    return Step(text, (_SALT, warm))


def _acid(recipe: RecipeFile, amounts: Amounts, sources: Sources, first_g: float | None) -> Step:
    strength = sources.acid
    if strength is None:
        raise ValueError("how strong the acid is has not been told")
    ml = amounts.acid_g / strength.density_g_cm3
    pour = f"pour {both_volumes(ml)} of {acid_named(strength)}, slowly into the stirred solution"
    cautions = [_ACID, *((_NEW_ACID,) if _from_battery(recipe) else ())]
    if first_g is None:
        text = f"Let it cool, then {pour}. It heats up: keep it below {GREATEST_C:g} °C."
        return Step(text, tuple(cautions))
    pure_g = amounts.acid_g * strength.wt_percent / 100
    own_g = amounts.acid_g - pure_g
    water_g = first_g + crystal_water_g(amounts, sources)
    rise = _rounded_up(rise_k(acid_heat_kj(pure_g, own_g, water_g), water_g + own_g))
    cooled_c = GREATEST_C - rise
    if cooled_c < _ROOM_C:
        text = (
            f"Stand it in cold water, and {pour}, in portions: all at once would warm it by up to"
            f" {rise} °C. Stop at {GREATEST_C:g} °C until it has cooled."
        )
    else:
        text = (
            f"Let it cool below {cooled_c:g} °C, then {pour}. It warms up by up to {rise} °C: keep"
            f" it below {GREATEST_C:g} °C."
        )
    return Step(text, tuple(cautions))


def _chloride(amounts: Amounts, sources: Sources) -> Step:
    if sources.hydrochloric is None:
        return Step(
            f"Dissolve {both_masses(amounts.chloride_g)} of {chloride_named(sources)} in a little"
            " of the bath, and stir it in."
        )
    ml = amounts.chloride_g / sources.hydrochloric.density_g_cm3
    return Step(f"Stir in {both_volumes(ml)} of {chloride_named(sources)}.", (_HYDROCHLORIC,))


def _from_battery(recipe: RecipeFile) -> bool:
    return recipe.acid is not None and recipe.acid.from_battery


def _additives(amounts: Amounts) -> str:
    return ", ".join(f"{both_volumes(ml)} of {name}" for name, ml in amounts.additives_ml)


def _water(grams: float) -> str:
    return both_volumes(grams / WATER_20_C_G_CM3)


def _rounded_up(kelvin: float) -> int:
    """To whole degrees, never down."""
    return max(1, math.ceil(kelvin))
