"""A bath that was made or topped up, as its account keeps it: what was put in, and as written."""

from collections.abc import Collection, Mapping
from typing import Any

from daemon.api.bath.bath_texts import Written
from daemon.api.errors import InputError
from daemon.api.making.mixed import MixedFile
from daemon.api.making.recipe import PresentTable, RecipeFile
from daemon.bath.components import CHLORIDE, COPPER, SULFURIC_ACID, VOLUME
from daemon.chemistry.make_up import Composition, content, held_by


def of_recipe(recipe: RecipeFile, tree: Mapping[str, Any], additives: Collection[str]) -> Written:
    """A bath that was made by a recipe; `tree` is the recipe as it was written.

    `additives` are those that the bath's account knows. Raises InputError for any other, whose
    amount it would not know how to count.
    """
    return _written(recipe.composition(), recipe.volume, tree, additives)


def of_mixture(mixture: MixedFile, tree: Mapping[str, Any], additives: Collection[str]) -> Written:
    """A bath that was mixed so; otherwise as `of_recipe`."""
    found = mixture.found()
    return _written(found.composition, found.volume_l, tree, additives)


def of_top_up(
    recipe: RecipeFile, present: PresentTable, tree: Mapping[str, Any], additives: Collection[str]
) -> Written:
    """A bath that was brought to a recipe: all that was taken out and put in, and its level then.

    The volume is what it is more than before. `tree` is what was written of both. Raises ValueError
    where nothing brings it there, and InputError where nothing is wanted; otherwise as `of_recipe`.
    """
    plan = recipe.topped_up(present)
    added = held_by(plan.added, recipe.sources())
    _known("additive", recipe.composition().additives_ml_l, additives, wanted=True)
    _known("component", added.others_g, additives, wanted=False)
    amounts = {
        VOLUME: recipe.volume - present.volume,
        COPPER: added.copper_g,
        SULFURIC_ACID: added.acid_g,
        CHLORIDE: added.chloride_g,
        **dict(added.additives_ml),
        **dict(added.others_g),
    }
    kept = {name: amount for name, amount in amounts.items() if amount}
    if not kept:
        raise InputError("top-up", ("nothing is wanted: the bath is as it shall be",))
    facts: dict[str, Any] = {"level_l": recipe.volume, "details": dict(tree)}
    if plan.taken_out_l > 0:
        facts["taken_out_l"] = plan.taken_out_l
    return Written(kept, facts)


def _written(
    bath: Composition, volume_l: float, tree: Mapping[str, Any], additives: Collection[str]
) -> Written:
    _known("additive", bath.additives_ml_l, additives, wanted=True)
    _known("component", bath.others_g_l, additives, wanted=False)
    held = content(bath, volume_l)
    amounts = {
        VOLUME: volume_l,
        COPPER: held.copper_g,
        SULFURIC_ACID: held.acid_g,
        CHLORIDE: held.chloride_g,
        **dict(held.additives_ml),
        **dict(held.others_g),
    }
    kept = {name: amount for name, amount in amounts.items() if amount}
    return Written(kept, {"details": dict(tree)})


def _known(
    table: str, named: tuple[tuple[str, float], ...], additives: Collection[str], *, wanted: bool
) -> None:
    """Refuse an additive that the account does not know, and a weighed thing that is one."""
    for place, (name, _) in enumerate(named, 1):
        if (name in additives) == wanted:
            continue
        known = ", ".join(additives) or "none is described"
        said = (
            f"{name!r} is no additive of this bath, and its account cannot keep it; known:"
            f" {known} (in the settings)"
            if wanted
            else f"{name!r} is an additive of this bath, and is kept in mL: tell it as one"
        )
        raise InputError("make-up", (f"{table}[{place}].name: {said}",))
