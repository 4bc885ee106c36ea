"""What to weigh and pour, a line each, in metric and US units, with what it costs."""

from collections.abc import Iterator
from dataclasses import dataclass

from daemon.api.making.amounts import mass, us_mass, us_volume, volume
from daemon.api.making.recipe import RecipeFile
from daemon.api.making.steps import WATER, acid_named, chloride_named, crystals_named
from daemon.api.prices import Price, one_currency
from daemon.chemistry.acid_density import WATER_20_C_G_CM3
from daemon.chemistry.make_up import Amounts, Sources


@dataclass(frozen=True, slots=True)
class Line:
    """Something to weigh or pour: what it is, mass, volume, the same in US units, what it costs.

    "" where there is nothing to say.
    """

    what: str
    mass: str
    volume: str
    us: str
    cost: str = ""


def prices_of(recipe: RecipeFile) -> dict[str, Price]:
    """The prices that a recipe tells, by what they are of."""
    found = {
        "water": recipe.water.price,
        "crystals": recipe.crystals.price,
        "acid": None if recipe.acid is None else recipe.acid.price,
        "chloride": recipe.chloride.price,
        **{_named(each.name): each.price for each in recipe.additive},
        **{_named(each.name): each.price for each in recipe.component},
    }
    return {name: price for name, price in found.items() if price is not None}


def _named(name: str) -> str:
    """The key of what its writer has named, apart from those of the recipe's own places."""
    return f"named {name}"


@dataclass(frozen=True, slots=True)
class _Item:
    """A line before it is text: mass g and volume mL, None where it is not known."""

    key: str
    what: str
    mass_g: float | None
    volume_ml: float | None


def _items(amounts: Amounts, sources: Sources) -> Iterator[_Item]:
    if amounts.water_g:
        yield _Item("water", WATER, amounts.water_g, amounts.water_g / WATER_20_C_G_CM3)
    if amounts.crystals_g:
        yield _Item("crystals", crystals_named(sources), amounts.crystals_g, None)
    if amounts.acid_g and sources.acid is not None:
        volume_ml = amounts.acid_g / sources.acid.density_g_cm3
        yield _Item("acid", acid_named(sources.acid), amounts.acid_g, volume_ml)
    if amounts.chloride_g:
        liquid = sources.hydrochloric
        poured_ml = None if liquid is None else amounts.chloride_g / liquid.density_g_cm3
        yield _Item("chloride", chloride_named(sources), amounts.chloride_g, poured_ml)
    for name, grams in amounts.others_g:
        yield _Item(_named(name), name, grams, None)
    for name, ml in amounts.additives_ml:
        yield _Item(_named(name), name, None, ml)


def lines_of(
    amounts: Amounts, sources: Sources, prices: dict[str, Price]
) -> tuple[tuple[Line, ...], str]:
    """The lines, and what all of it costs."""
    items = [item for item in _items(amounts, sources) if item.mass_g or item.volume_ml]
    costs = {item.key: _cost(item, prices[item.key]) for item in items if item.key in prices}
    currency = one_currency(prices.values())
    lines = tuple(
        Line(
            item.what,
            "" if item.mass_g is None else mass(item.mass_g),
            "" if item.volume_ml is None else volume(item.volume_ml),
            us_volume(item.volume_ml) if item.volume_ml is not None else us_mass(item.mass_g or 0),
            f"{costs[item.key]:.2f} {currency}" if item.key in costs else "",
        )
        for item in items
    )
    missing = [item.what for item in items if item.key not in costs and item.key != "water"]
    without = f", without {', '.join(missing)}" if missing else ""
    return lines, f"{sum(costs.values()):.2f} {currency}{without}" if costs else ""


def _cost(item: _Item, price: Price) -> float:
    amount = item.volume_ml if price.unit == "L" else item.mass_g
    return price.amount * (amount or 0.0) / 1000.0
