"""The fields of a make-up, of a mixed bath and of a topping-up, filled in as far as known."""

from collections.abc import Iterable

from daemon.api.making.amounts import figure
from daemon.bath import analyses
from daemon.bath.account import level
from daemon.bath.book import Book
from daemon.bath.components import CHLORIDE, COPPER, SULFURIC_ACID
from daemon.bath.description import Description
from daemon.bath.description import Window as Described
from daemon.chemistry.substances import PENTAHYDRATE
from web.forms import Field, Group
from web.language import gettext as _

_COPPER_G_CM3 = 8.96
"""Of the anodes' copper, CRC Handbook, 20 °C: how much room they take."""

_WINDOWS = ("standard", "high throw", "none")
_NO_YES = ("no", "yes")
_SALT = ("sodium chloride", "hydrochloric acid")

NEAR = {
    "acid": "acid.strength",
    "chloride": "chloride.strength",
    "crystals": "crystals.hydrate",
    "target": "target.copper_sulfate",
    "poured": "poured.copper_sulfate",
}
"""Where what is wrong with a whole table is told."""


def makeup(description: Description) -> tuple[Group, ...]:
    """What a bath is aimed at and made from; the first values are the description's."""
    return (
        Group("The bath", _target(description)),
        Group("Made from", _sources()),
        Group("Additives of a new bath", _additives(description), columns=3),
        Group("Grades, densities and labels", _labels(), folded=True),
        Group("Container and storage", _container(description), folded=True),
        Group("Anything else that is weighed", _components("content"), folded=True, columns=3),
        Group("Prices", _prices(), folded=True),
    )


def mixed(description: Description) -> tuple[Group, ...]:
    """What was weighed and poured."""
    named = [each.name for each in description.additives] or [""]
    additives = (
        field
        for place, name in enumerate([*named, ""], 1)
        for field in (
            Field(
                f"additive[{place}].name", _("Additive %(place)s", place=place), name, "brightener"
            ),
            Field(f"additive[{place}].poured", "Poured", "", "50 mL"),
        )
    )
    return (
        Group(
            "Weighed and poured",
            (
                Field("volume", "Filled up to", _litres(description.volume_l), "10 L"),
                Field("poured.water", "Water", "", "9 L"),
                Field("poured.copper_sulfate", "Copper sulfate, crystals", "", "2 kg"),
                Field("poured.acid", "Sulfuric acid, as it came", "", "340 mL or 625 g"),
                Field("poured.chloride", "Salt for the chloride", "", "1 g"),
                Field("window", "Held against", options=_WINDOWS),
            ),
        ),
        Group("They were", _sources()),
        Group("Additives", tuple(additives), folded=not description.additives, columns=2),
        Group("Grades, densities and labels", _labels(), folded=True),
        Group("Anything else that was weighed", _components("poured"), folded=True, columns=3),
        Group("The same recipe for another volume", (_OTHER,), folded=True),
    )


_OTHER = Field("for", "Volume", "", "20 L")


def topping_up(description: Description, book: Book | None) -> tuple[Group, ...]:
    """The bath that is there, by its newest analyses, and the one that it shall be."""
    return (
        Group("What is there", tuple(_present(description, book))),
        Group("What it shall be", _target(description)),
        Group("Added as", _sources()),
        Group("Grades, densities and labels", _labels(), folded=True),
        Group("Prices", _prices(), folded=True),
    )


def _target(description: Description) -> tuple[Field, ...]:
    sulfate = _aim(description.window.get(COPPER), PENTAHYDRATE.copper_share)
    acid = _aim(description.window.get(SULFURIC_ACID))
    chloride = _aim(description.window.get(CHLORIDE))
    return (
        Field("volume", "Volume", _litres(description.volume_l) or "10 L", "10 L"),
        Field(
            "target.copper_sulfate", "Copper sulfate, as CuSO4·5H2O",
            f"{sulfate or '200'} g/L", "200 g/L",
        ),
        Field("target.sulfuric_acid", "Sulfuric acid, as H2SO4", f"{acid or '60'} g/L", "60 g/L"),
        Field("target.chloride", "Chloride", f"{chloride or '60'} mg/L", "60 mg/L"),
        Field("window", "Held against", options=_WINDOWS),
    )  # fmt: skip


def _aim(window: Described | None, share: float = 1.0) -> str:
    """What a window aims at, as a figure: its target, or the middle; "" where it does not tell."""
    if window is None:
        return ""
    if window.target is not None:
        return figure(window.target / share)
    if window.least is None or window.greatest is None:
        return ""
    return figure((window.least + window.greatest) / 2 / share)


def _sources() -> tuple[Field, ...]:
    return (
        Field("acid.strength", "Sulfuric acid, strength", "96 %", "96 %, SG 1.28, 18 mol/L"),
        Field("crystals.hydrate", "Crystals, formula", "", "CuSO4·5H2O"),
        Field("crystals.purity", "Crystals, purity", "", "100 %"),
        Field("chloride.source", "Chloride comes as", options=_SALT),
        Field("chloride.strength", "If hydrochloric acid, its strength", "", "37 %"),
    )


def _labels() -> tuple[Field, ...]:
    return (
        Field("crystals.molar_mass", "Crystals, molar mass if no formula", "", "249.685 g/mol"),
        Field("crystals.technical", "Crystals of technical grade", options=_NO_YES),
        Field("acid.density", "Sulfuric acid, density on its label", "", "1.84 g/mL"),
        Field("chloride.purity", "Sodium chloride, purity", "", "99.5 %"),
        Field("chloride.density", "Hydrochloric acid, density", "", "1.18 g/mL"),
    )


def _additives(description: Description) -> tuple[Field, ...]:
    prices = description.prices
    rows = [
        (
            each.name,
            "" if each.make_up_ml_l is None else f"{figure(each.make_up_ml_l)} mL/L",
            f"{prices.additive_l[each.name]:g} {prices.currency}/L"
            if each.name in prices.additive_l
            else "",
        )
        for each in description.additives
        if each.make_up_ml_l is not None
    ]
    return tuple(
        field
        for place, (name, much, price) in enumerate([*rows, ("", "", "")], 1)
        for field in (
            Field(
                f"additive[{place}].name", _("Additive %(place)s", place=place), name, "brightener"
            ),
            Field(f"additive[{place}].make_up", "In each litre", much, "5 mL/L"),
            Field(f"additive[{place}].price", "Price", price, "38 EUR/L"),
        )
    )


def _container(description: Description) -> tuple[Field, ...]:
    """A brim without the room of the anodes would count as four fifths: both are known, or none."""
    mass_g = description.anodes.mass_g
    known = description.brim_l is not None and mass_g is not None
    return (
        Field("container.brim", "Up to its brim",
              _litres(description.brim_l) if known else "", "14 L"),
        Field("container.anodes", "Anodes displace",
              f"{figure((mass_g or 0.0) / _COPPER_G_CM3 / 1000, 2)} L" if known else "", "0.3 L"),
        Field("container.parts", "Parts displace", "", "0.5 L"),
        Field("container.free_board", "Stays empty below the brim", "", "1 L"),
        Field("storage.lowest_temperature", "Coldest where it stands", "", "10 °C"),
    )  # fmt: skip


def _components(key: str) -> tuple[Field, ...]:
    example = "30 g/L" if key == "content" else "300 g"
    return (
        Field("component[1].name", "What it is", "", "boric acid"),
        Field(f"component[1].{key}", "How much", "", example),
        Field("component[1].purity", "Purity", "", "99 %"),
    )


def _prices() -> tuple[Field, ...]:
    return (
        Field("crystals.price", "Crystals", "", "9.50 EUR/kg"),
        Field("acid.price", "Sulfuric acid", "", "14 EUR/L"),
        Field("chloride.price", "Salt or hydrochloric acid", "", "2 EUR/kg"),
        Field("water.price", "Water", "", "0.40 EUR/L"),
    )


def _present(description: Description, book: Book | None) -> Iterable[Field]:
    newest = {} if book is None else analyses.newest(book)
    found = None if book is None else level(book.entries, description, book.utc_ms)
    yield Field("present.volume", "Volume", _litres(found.volume_l if found else None), "9 L")
    for key, label, component, share, unit, example in (
        (
            "copper_sulfate",
            _("Copper sulfate"),
            COPPER,
            PENTAHYDRATE.copper_share,
            "g/L",
            "180 g/L",
        ),
        ("sulfuric_acid", _("Sulfuric acid"), SULFURIC_ACID, 1.0, "g/L", "55 g/L"),
        ("chloride", _("Chloride"), CHLORIDE, 1.0, "mg/L", "50 mg/L"),
    ):
        last = newest.get(component)
        value = "" if last is None else f"{figure(last.value / share)} {unit}"
        yield Field(f"present.{key}", label, value, example)


def _litres(volume_l: float | None) -> str:
    return "" if volume_l is None else f"{figure(volume_l)} L"
