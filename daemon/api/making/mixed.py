"""A bath as it was mixed: what was weighed and poured, in TOML or from options and forms."""

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, InstanceOf, model_validator

from daemon.api.explain import read_toml, read_tree
from daemon.api.making.chemicals import Chemicals, FreeName, keyed, names_differ
from daemon.api.plans.file import Table
from daemon.api.quantities import Fraction, MassG, VolumeL, VolumeMl
from daemon.chemistry.acid_density import WATER_20_C_G_CM3, Strength
from daemon.chemistry.make_up import Amounts, Mixed, Sources, mixed
from daemon.units import UnitError, parse


@dataclass(frozen=True, slots=True)
class Poured:
    """What was measured out: a mass in g or a volume in mL."""

    amount: float
    unit: Literal["g", "mL"]

    def grams(self, g_ml: float) -> float:
        """Its mass, g, with the density of what was poured."""
        return self.amount if self.unit == "g" else self.amount * g_ml


def _read_poured(value: object) -> Poured:
    for unit in ("g", "mL"):
        try:
            amount = parse(value, unit)
        except UnitError:
            continue
        if not amount > 0:
            raise ValueError(f"must be above 0, got {value}")
        return Poured(amount, "g" if unit == "g" else "mL")
    raise ValueError(f'expected a mass or a volume such as "600 g" or "340 mL", got {value!r}')


MassOrVolume = Annotated[InstanceOf[Poured], BeforeValidator(_read_poured)]


class PouredTable(Table):
    """What was weighed and poured."""

    water: MassOrVolume | None = Field(None, description="water", examples=['"9 L"'])
    copper_sulfate: MassG | None = Field(
        None, description="crystals of copper sulfate", examples=['"2 kg"']
    )
    acid: MassOrVolume | None = Field(
        None, description="sulfuric acid as it comes", examples=['"340 mL"']
    )
    chloride: MassOrVolume | None = Field(
        None, description="sodium chloride, or hydrochloric acid as it comes", examples=['"1 g"']
    )


class PouredAdditiveTable(Table):
    """One `[[additive]]` that was poured."""

    name: FreeName = Field(description="what it is called", examples=['"brightener"'])
    poured: VolumeMl = Field(description="how much of it", examples=['"50 mL"'])


class PouredComponentTable(Table):
    """One `[[component]]` that was weighed."""

    name: FreeName = Field(description="what it is called", examples=['"boric acid"'])
    poured: MassG = Field(description="how much of it", examples=['"300 g"'])
    purity: Fraction = Field(1.0, description="purity", examples=['"99 %"'])


class MixedFile(Chemicals):
    """A bath as it was mixed."""

    volume: VolumeL | None = Field(
        None, description="to which it was filled up; left out, by density", examples=['"10 L"']
    )
    poured: PouredTable = PouredTable()
    additive: tuple[PouredAdditiveTable, ...] = Field(
        (), description="the additives", examples=["[[additive]] tables"]
    )
    component: tuple[PouredComponentTable, ...] = Field(
        (), description="further components", examples=["[[component]] tables"]
    )

    @model_validator(mode="after")
    def _is_a_bath(self) -> "MixedFile":
        names_differ([x.name for x in self.additive] + [x.name for x in self.component])
        if not (self.poured.model_fields_set or self.additive or self.component):
            raise ValueError(
                'poured: needs what was weighed and poured, such as copper_sulfate = "2 kg"'
            )
        if self.volume is None and self.poured.water is None:
            raise ValueError("needs volume, to which it was filled up, or poured.water")
        if self.poured.acid is not None and self.acid is None:
            raise ValueError(
                'acid is missing: how strong the sulfuric acid was, such as strength = "96 %"'
            )
        keyed("poured", self.found)
        return self

    def sources(self) -> Sources:
        """What it was made from."""
        return self.sources_with(tuple((each.name, each.purity) for each in self.component))

    def amounts(self) -> Amounts:
        """What was weighed and poured, as masses; ValueError where a density is wanted."""
        sources, poured = self.sources(), self.poured
        return Amounts(
            crystals_g=poured.copper_sulfate or 0.0,
            acid_g=_grams("poured.acid", poured.acid, sources.acid),
            chloride_g=_grams("poured.chloride", poured.chloride, sources.hydrochloric),
            water_g=None if poured.water is None else poured.water.grams(WATER_20_C_G_CM3),
            additives_ml=tuple((each.name, each.poured) for each in self.additive),
            others_g=tuple((each.name, each.poured) for each in self.component),
        )

    def found(self) -> Mixed:
        """What is in it; ValueError where that cannot be told."""
        return mixed(self.amounts(), self.sources(), self.volume)


def _grams(key: str, poured: Poured | None, strength: Strength | None) -> float:
    if poured is None:
        return 0.0
    if strength is None and poured.unit == "mL":
        raise ValueError(f'{key}: must be a mass, such as "1 g", got {poured.amount:g} mL')
    return poured.grams(1.0 if strength is None else strength.density_g_cm3)


def read_mixed(text: str, where: str) -> MixedFile:
    """Read what was mixed; `where` names it in errors. Raises InputError with every problem."""
    return read_toml(text, where, MixedFile)


def mixed_of(tree: object, where: str) -> MixedFile:
    """A mixture from tables and lists. Raises InputError with every problem."""
    return read_tree(tree, where, MixedFile)
