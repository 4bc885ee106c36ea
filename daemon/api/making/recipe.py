"""A recipe for a bath, as people write it in TOML and as options and forms make it: the same shape.

`RecipeFile` is what is aimed at, `PresentTable` a bath that is there. Both give plain values for
`daemon.chemistry.make_up`. What cannot be made is refused here, with the key that it is about.
"""

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field, InstanceOf, model_validator

from daemon.api.explain import read_toml, read_tree
from daemon.api.making.chemicals import (
    Chemicals,
    FreeName,
    PriceOfLiquid,
    PriceOfSolid,
    keyed,
    names_differ,
)
from daemon.api.plans.file import Table
from daemon.api.prices import Price, one_currency, price_in
from daemon.api.quantities import (
    BathTemperatureC,
    ContentGL,
    ContentMgL,
    ContentMlL,
    Fraction,
    SpaceL,
    VolumeL,
)
from daemon.chemistry.bath_limits import Container
from daemon.chemistry.make_up import Amounts, Composition, Sources, copper_g_l_of, make_up
from daemon.chemistry.top_up import TopUp, top_up

_LAST_BIT = 1e-9  # figures that people write to three places must not fail on the last bit


class AdditiveTable(Table):
    """One `[[additive]]` of a recipe."""

    name: FreeName = Field(description="what it is called", examples=['"brightener"'])
    make_up: ContentMlL = Field(description="how much a new bath gets", examples=['"5 mL/L"'])
    price: Annotated[InstanceOf[Price], price_in("L")] | None = Field(
        None, description="price", examples=['"38 EUR/L"']
    )


class ComponentTable(Table):
    """One `[[component]]`: anything else that is weighed."""

    name: FreeName = Field(description="what it is called", examples=['"boric acid"'])
    content: ContentGL = Field(description="how much a bath holds", examples=['"30 g/L"'])
    purity: Fraction = Field(1.0, description="purity", examples=['"99 %"'])
    price: PriceOfSolid | None = Field(None, description="price", examples=['"6 EUR/kg"'])


class TargetTable(Table):
    """What a litre of bath shall hold."""

    copper_sulfate: ContentGL | None = Field(
        None, description="copper sulfate, as CuSO4·5H2O", examples=['"200 g/L"']
    )
    copper: ContentGL | None = Field(None, description="copper, instead", examples=['"50.9 g/L"'])
    sulfuric_acid: ContentGL | None = Field(
        None, description="sulfuric acid, as H2SO4", examples=['"60 g/L"']
    )
    chloride: ContentMgL | None = Field(None, description="chloride", examples=['"60 mg/L"'])

    @model_validator(mode="after")
    def _one_copper(self) -> "TargetTable":
        if self.copper_sulfate is not None and self.copper is not None:
            raise ValueError("needs either copper_sulfate or copper; both are given")
        return self

    @property
    def copper_g_l(self) -> float | None:
        """The copper however it was told, g/L."""
        if self.copper_sulfate is not None:
            return copper_g_l_of(self.copper_sulfate)
        return self.copper


class PresentTable(TargetTable):
    """A bath that is there: its volume, and what an analysis found; left out: not known."""

    volume: VolumeL = Field(description="how much of it there is", examples=['"9 L"'])

    def composition(self) -> Composition:
        """What a litre of it holds."""
        return Composition(self.copper_g_l, self.sulfuric_acid, self.chloride)


class WaterTable(Table):
    """The water."""

    price: PriceOfLiquid | None = Field(None, description="price", examples=['"0.40 EUR/L"'])


class ContainerTable(Table):
    """The vessel, and what of it is not for the bath. Only its brim told: four fifths are."""

    brim: VolumeL = Field(description="volume up to the brim", examples=['"14 L"'])
    anodes: SpaceL | None = Field(
        None, description="room that the anodes take", examples=['"0.3 L"']
    )
    parts: SpaceL | None = Field(None, description="room that parts take", examples=['"0.5 L"'])
    free_board: SpaceL | None = Field(
        None, description="room below the brim that stays empty", examples=['"1 L"']
    )

    def of(self) -> Container:
        """As plain values."""
        return Container(self.brim, self.anodes, self.parts, self.free_board)


class StorageTable(Table):
    """Where the bath stands while nobody works."""

    lowest_temperature: BathTemperatureC = Field(
        description="the coldest that it gets there", examples=['"10 °C"']
    )


class RecipeFile(Chemicals):
    """A whole recipe: how much of which bath, from what, and into what."""

    volume: VolumeL = Field(description="volume of the bath", examples=['"10 L"'])
    target: TargetTable = TargetTable()
    water: WaterTable = WaterTable()
    additive: tuple[AdditiveTable, ...] = Field(
        (), description="the additives", examples=["[[additive]] tables"]
    )
    component: tuple[ComponentTable, ...] = Field(
        (), description="further components", examples=["[[component]] tables"]
    )
    container: ContainerTable | None = None
    storage: StorageTable | None = None

    @model_validator(mode="after")
    def _can_be_made(self) -> "RecipeFile":
        names_differ([x.name for x in self.additive] + [x.name for x in self.component])
        keyed("price", lambda: one_currency(self.prices()))
        if self.target.sulfuric_acid and self.acid is None:
            raise ValueError(
                'acid is missing: how strong the sulfuric acid is, such as strength = "96 %"'
            )
        if not any((self.target.copper_g_l, self.target.sulfuric_acid, self.component)):
            raise ValueError(
                "target: needs something that the bath is made of, such as"
                ' copper_sulfate = "200 g/L"'
            )
        keyed("target", self.amounts)
        self._has_room()
        return self

    def _has_room(self) -> None:
        if self.container is None:
            return
        container = self.container.of()
        room_l = container.room_l
        if self.volume > room_l * (1 + _LAST_BIT):
            why = "anodes, parts and free board" if container.told else "a fifth of it"
            raise ValueError(
                f"volume: must be at most {max(0.0, room_l):.4g} L, which the container takes"
                f" (brim {container.brim_l:.4g} L less {why}), got {self.volume:.4g} L"
            )

    def prices(self) -> Iterator[Price]:
        """Every price that is told."""
        tables = (
            self.crystals, self.acid, self.chloride, self.water, *self.additive, *self.component
        )  # fmt: skip
        for table in tables:
            if table is not None and table.price is not None:
                yield table.price

    def composition(self) -> Composition:
        """What a litre shall hold."""
        return Composition(
            copper_g_l=self.target.copper_g_l,
            acid_g_l=self.target.sulfuric_acid,
            chloride_mg_l=self.target.chloride,
            additives_ml_l=tuple((each.name, each.make_up) for each in self.additive),
            others_g_l=tuple((each.name, each.content) for each in self.component),
        )

    def sources(self) -> Sources:
        """What it is made from."""
        return self.sources_with(tuple((each.name, each.purity) for each in self.component))

    def amounts(self) -> Amounts:
        """What to weigh and pour; ValueError where that is not possible."""
        return make_up(self.composition(), self.volume, self.sources())

    def topped_up(self, present: PresentTable) -> TopUp:
        """What brings a bath that is there to this recipe; ValueError where nothing does."""
        return top_up(
            present.composition(), present.volume, self.composition(), self.volume, self.sources()
        )


def read_recipe(text: str, where: str) -> RecipeFile:
    """Read a recipe's text; `where` names it in errors. Raises InputError with every problem."""
    return read_toml(text, where, RecipeFile)


def recipe_of(tree: object, where: str) -> RecipeFile:
    """A recipe from tables and lists. Raises InputError with every problem."""
    return read_tree(tree, where, RecipeFile)


def in_volume(recipe: RecipeFile, volume: str, where: str) -> RecipeFile:
    """The same bath in another volume, a text such as "4 gal". Raises InputError."""
    told = {name: getattr(recipe, name) for name in recipe.model_fields_set}
    return read_tree({**told, "volume": volume}, where, RecipeFile)


def present_of(tree: object, where: str) -> PresentTable:
    """A bath that is there, from a table. Raises InputError with every problem."""
    return read_tree(tree, where, PresentTable)
