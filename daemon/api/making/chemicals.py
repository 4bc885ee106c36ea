"""What a bath is made from, as tables that recipes and mixtures share."""

import re
from collections.abc import Callable, Iterable
from typing import Annotated, Literal, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field, InstanceOf, model_validator

from daemon.api.plans.file import Line, Table
from daemon.api.prices import Price, price_in
from daemon.api.quantities import DensityGCm3, Fraction, MolarMassG
from daemon.api.strength import BATTERY_ACID, read_strength
from daemon.chemistry.acid_density import HYDROCHLORIC, SULFURIC, Strength
from daemon.chemistry.bath_limits import HIGH_THROW, STANDARD, Formulation
from daemon.chemistry.make_up import Named, Sources
from daemon.chemistry.substances import (
    PENTAHYDRATE,
    CopperSulfate,
    hydrate_named,
    hydrate_of_molar_mass,
)

PriceOfSolid = Annotated[InstanceOf[Price], price_in("kg")]
PriceOfLiquid = Annotated[InstanceOf[Price], price_in("L", "kg")]

_NOT_FREE = frozenset(
    {"copper", "copper sulfate", "sulfuric acid", "chloride", "sodium chloride", "water"}
)


def _free(name: str) -> str:
    if name.casefold() in _NOT_FREE:
        raise ValueError(f"has a place of its own in the recipe, got {name!r}")
    return name


FreeName = Annotated[Line, AfterValidator(_free)]


def _read_hydrate(value: object) -> CopperSulfate:
    if not isinstance(value, str):
        raise ValueError(f'must be a text such as "CuSO4·5H2O", got {value}')  # noqa: TRY004
    return hydrate_named(value)


class CrystalsTable(Table):
    """What the copper sulfate is. Left out, pure pentahydrate."""

    hydrate: Annotated[InstanceOf[CopperSulfate], BeforeValidator(_read_hydrate)] | None = Field(
        None, description="formula with its water", examples=['"CuSO4·5H2O"']
    )
    molar_mass: MolarMassG | None = Field(
        None, description="molar mass on the label, instead", examples=['"249.685 g/mol"']
    )
    purity: Fraction = Field(1.0, description="purity", examples=['"99 %"'])
    technical: bool = Field(False, description="whether they are technical grade")
    price: PriceOfSolid | None = Field(None, description="price", examples=['"9.50 EUR/kg"'])

    @model_validator(mode="after")
    def _one_hydrate(self) -> "CrystalsTable":
        if self.hydrate is not None and self.molar_mass is not None:
            raise ValueError("needs either hydrate or molar_mass; both are given")
        self.of()
        return self

    def of(self) -> CopperSulfate:
        """The copper sulfate; ValueError for a molar mass that none has."""
        if self.molar_mass is not None:
            return hydrate_of_molar_mass(self.molar_mass)
        return PENTAHYDRATE if self.hydrate is None else self.hydrate


class AcidTable(Table):
    """What the sulfuric acid is."""

    strength: str = Field(
        description="how strong it is",
        examples=['"96 %", "SG 1.280", "SG 1.280 at 25 °C", "18 mol/L" or "battery acid"'],
    )
    density: DensityGCm3 | None = Field(
        None, description="its density, if the label has one", examples=['"1.84 g/mL"']
    )
    price: PriceOfLiquid | None = Field(None, description="price", examples=['"14 EUR/L"'])

    @model_validator(mode="after")
    def _readable(self) -> "AcidTable":
        self.of()
        return self

    def of(self) -> Strength:
        """The acid; ValueError for one that does not exist or is not known."""
        return read_strength(SULFURIC, self.strength, self.density)

    @property
    def from_battery(self) -> bool:
        """Whether it may be an acid for batteries, of which only a new one will do."""
        return self.strength.strip().lower() == BATTERY_ACID or "SG" in self.strength.upper()


class ChlorideTable(Table):
    """What brings the chloride. Left out, pure sodium chloride."""

    source: Literal["sodium chloride", "hydrochloric acid"] = Field(
        "sodium chloride", description="what it comes as"
    )
    purity: Fraction = Field(1.0, description="purity of the salt", examples=['"99.5 %"'])
    strength: str | None = Field(
        None, description="how strong the hydrochloric acid is", examples=['"37 %"']
    )
    density: DensityGCm3 | None = Field(
        None, description="its density, if the label has one", examples=['"1.18 g/mL"']
    )
    price: PriceOfLiquid | None = Field(None, description="price", examples=['"2 EUR/kg"'])

    @model_validator(mode="after")
    def _fits(self) -> "ChlorideTable":
        salt = self.source == "sodium chloride"
        if salt and (self.strength is not None or self.density is not None):
            raise ValueError('strength and density are of source = "hydrochloric acid"')
        if salt and self.price is not None and self.price.unit != "kg":
            raise ValueError('price of the salt has to be by mass, such as "2 EUR/kg"')
        if not salt and self.strength is None:
            raise ValueError('strength is missing: how strong the acid is, such as "37 %"')
        self.of()
        return self

    def of(self) -> Strength | None:
        """The hydrochloric acid, None for salt; ValueError for one that is not known."""
        if self.strength is None:
            return None
        return read_strength(HYDROCHLORIC, self.strength, self.density)


WINDOWS: dict[str, Formulation | None] = {
    "standard": STANDARD,
    "high throw": HIGH_THROW,
    "none": None,
}
WindowName = Literal["standard", "high throw", "none"]
"""The published formulation against which a bath is held."""


class Chemicals(Table):
    """What a bath is made from: the tables that recipe and mixture share."""

    title: Line | None = Field(None, description="what it is called", examples=['"Acid copper"'])
    window: WindowName = Field(
        "standard", description="the published window that it is held against"
    )
    crystals: CrystalsTable = CrystalsTable()
    acid: AcidTable | None = Field(
        None, description="the acid's table", examples=['[acid] with strength = "96 %"']
    )
    chloride: ChlorideTable = ChlorideTable()

    @property
    def formulation(self) -> Formulation | None:
        """The published formulation that it is held against."""
        return WINDOWS[self.window]

    def sources_with(self, purities: Named) -> Sources:
        """What it is made from; `purities` are those of further components."""
        return Sources(
            hydrate=self.crystals.of(),
            purity=self.crystals.purity,
            acid=None if self.acid is None else self.acid.of(),
            hydrochloric=self.chloride.of(),
            salt_purity=self.chloride.purity,
            purities=purities,
        )


def names_differ(names: Iterable[str]) -> None:
    """Raise ValueError for a name that is there twice."""
    names = list(names)
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"names must differ, {', '.join(twice)} is there twice")


_KEY = re.compile(r"[a-z_.]+: ")
_T = TypeVar("_T")


def keyed(key: str, call: Callable[[], _T]) -> _T:
    """Call it; what it refuses is about `key`, unless it names one itself."""
    try:
        return call()
    except ValueError as error:
        said = str(error)
        raise ValueError(said if _KEY.match(said) else f"{key}: {said}") from error
