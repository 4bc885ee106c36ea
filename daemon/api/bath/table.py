"""The settings' table `[bath]`: the bath that the charge is posted to, as its owner describes it.

Only its name has to be given. `BathTable.description` gives plain values, in the units that hold
inside: `daemon.bath.description.Description`.
"""

from collections.abc import Iterator
from typing import Annotated

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    InstanceOf,
    model_validator,
)

from daemon.api.plans.file import Line
from daemon.api.prices import Price, one_currency, price_in
from daemon.api.quantities import (
    AreaDm2,
    ChargeAh,
    ContentMlL,
    CurrentDensityADm2,
    DragOutMlDm2,
    DurationS,
    MassG,
    RateLD,
    RateMlKah,
    VolumeL,
    VolumeMl,
)
from daemon.bath.components import (
    COPPER,
    COPPER_SULFATE,
    NOT_FOR_ADDITIVES,
    VOLUME,
    concentration_unit,
)
from daemon.bath.description import Additive, Anodes, Description, Interval, Prices, Window
from daemon.chemistry.substances import PENTAHYDRATE
from daemon.units import parse


class Table(BaseModel):
    """Base of every table within `[bath]`: unknown keys are refused, nothing changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class WindowTable(Table):
    """Within which a component shall be: g/L, mg/L for chloride, mL/L for additives."""

    least: str | None = Field(None, description="the least", examples=['"45 g/L"'])
    target: str | None = Field(None, description="what is aimed at", examples=['"50 g/L"'])
    greatest: str | None = Field(None, description="the greatest", examples=['"60 g/L"'])

    def window(self, key: str, unit: str) -> Window:
        """The window in `unit`; ValueError, naming the key, unless it is one."""
        found = {
            name: None if text is None else _concentration(f"{key}.{name}", text, unit)
            for name, text in (
                ("least", self.least),
                ("target", self.target),
                ("greatest", self.greatest),
            )
        }
        told = [value for value in found.values() if value is not None]
        if not told:
            raise ValueError(f"{key}: needs least, target or greatest")
        if told != sorted(told):
            raise ValueError(f"{key}: must rise: least, target, greatest; got {self._shown()}")
        return Window(**found)

    def _shown(self) -> str:
        return ", ".join(text for text in (self.least, self.target, self.greatest) if text)


def _concentration(key: str, text: str, unit: str) -> float:
    try:
        value = parse(text, unit)
    except ValueError as error:
        raise ValueError(f"{key}: {error}") from error
    if value < 0:
        raise ValueError(f"{key}: must not be less than 0 {unit}, got {text}")
    return value


def _free(name: str) -> str:
    if name.casefold() in NOT_FOR_ADDITIVES:
        raise ValueError(f"is a component's name, and no additive may have it: {name!r}")
    return name


class AdditiveTable(Table):
    """One `[[bath.additive]]`: what charge uses up, and in which doses it is added."""

    name: Annotated[Line, AfterValidator(_free)] = Field(
        description="what it is called", examples=['"brightener"']
    )
    rate: RateMlKah | None = Field(
        None, description="how much charge uses up", examples=['"150 mL/kAh"']
    )
    dose: VolumeMl | None = Field(
        None, description="how much is added at a time", examples=['"5 mL"']
    )
    make_up: ContentMlL | None = Field(
        None, description="how much a new bath gets", examples=['"5 mL/L"']
    )


class AnodesTable(Table):
    """The anodes."""

    area: AreaDm2 | None = Field(
        None, description="area that faces the parts", examples=['"4 dm²"']
    )
    mass: MassG | None = Field(None, description="mass when new", examples=['"2 kg"'])
    greatest_current_density: CurrentDensityADm2 | None = Field(
        None, description="the most that they bear", examples=['"2 A/dm²"']
    )
    least_mass: MassG | None = Field(
        None, description="at which they want to be replaced", examples=['"500 g"']
    )

    @model_validator(mode="after")
    def _in_order(self) -> "AnodesTable":
        if self.mass is not None and self.least_mass is not None and self.least_mass >= self.mass:
            raise ValueError(
                f"least_mass must be below mass, got {self.least_mass:g} g and {self.mass:g} g"
            )
        return self


class IntervalTable(Table):
    """How often something is due, by charge, by time, or by whichever comes first."""

    every_charge: ChargeAh | None = Field(
        None, description="charge from one time to the next", examples=['"50 Ah"']
    )
    every_time: DurationS | None = Field(
        None, description="time from one time to the next", examples=['"30 d"']
    )

    def interval(self) -> Interval:
        """The interval as plain values."""
        return Interval(self.every_charge, self.every_time)


class PricesTable(Table):
    """What things cost, each price with its currency, which is any text and has to be the same."""

    copper: Annotated[InstanceOf[Price], price_in("kg")] | None = Field(
        None, description="price of copper anodes", examples=['"12.50 EUR/kg"']
    )
    electricity: Annotated[InstanceOf[Price], price_in("kWh")] | None = Field(
        None, description="price of electricity", examples=['"0.32 EUR/kWh"']
    )
    additive: dict[str, Annotated[InstanceOf[Price], price_in("L")]] = Field(
        default_factory=dict,
        description="price of each additive",
        examples=['{ brightener = "38 EUR/L" }'],
    )

    @model_validator(mode="after")
    def _one_currency(self) -> "PricesTable":
        one_currency(self._all())
        return self

    def _all(self) -> Iterator[Price]:
        yield from (price for price in (self.copper, self.electricity) if price is not None)
        yield from self.additive.values()

    def prices(self) -> Prices:
        """The prices as plain values."""
        return Prices(
            currency=one_currency(self._all()),
            copper_kg=None if self.copper is None else self.copper.amount,
            electricity_kwh=None if self.electricity is None else self.electricity.amount,
            additive_l={name: price.amount for name, price in self.additive.items()},
        )


class BathTable(Table):
    """The bath that the charge is posted to; what is not told is not known, and nothing is due."""

    name: Annotated[str, Field(min_length=1, max_length=80)] = Field(
        description="by which its charge is posted", examples=['"Acid copper 1"']
    )
    volume: VolumeL | None = Field(
        None, description="volume at the working level", examples=['"15 L"']
    )
    brim: VolumeL | None = Field(
        None, description="volume up to the tank's brim", examples=['"18 L"']
    )
    evaporation: RateLD | None = Field(
        None, description="water that it loses by itself", examples=['"0.2 L/d"']
    )
    drag_out: DragOutMlDm2 | None = Field(
        None, description="bath that parts carry away", examples=['"100 mL/m²"']
    )
    window: dict[str, WindowTable] = Field(
        default_factory=dict,
        description="within which each component shall be",
        examples=['[bath.window.copper] with least = "45 g/L"'],
    )
    additive: tuple[AdditiveTable, ...] = Field(
        (), description="the additives", examples=["[[bath.additive]] tables"]
    )
    anodes: AnodesTable = AnodesTable()
    filtration: IntervalTable = IntervalTable()
    carbon: IntervalTable = IntervalTable()
    prices: PricesTable = PricesTable()

    @model_validator(mode="after")
    def _makes_sense(self) -> "BathTable":
        if self.volume is not None and self.brim is not None and self.brim < self.volume:
            raise ValueError(
                f"brim must not be below volume, got {self.brim:g} L and {self.volume:g} L"
            )
        names = [each.name for each in self.additive]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"additive: names must differ, {', '.join(twice)} is there twice")
        unknown = sorted(self.prices.additive.keys() - set(names))
        if unknown:
            known = ", ".join(names) or "none is described"
            raise ValueError(f"prices.additive.{unknown[0]}: no such additive; known: {known}")
        self._windows()
        return self

    def _windows(self) -> dict[str, Window]:
        """The windows by component; copper stated as its sulfate is copper."""
        names = [each.name for each in self.additive]
        found: dict[str, Window] = {}
        for component, table in self.window.items():
            key = f"window.{component}"
            if component == VOLUME:
                raise ValueError(f"{key}: is no component; the bath's volume is `volume`")
            window = table.window(key, concentration_unit(component, names))
            if component != COPPER_SULFATE:
                found[component] = window
            elif COPPER in self.window:
                raise ValueError(f"{key}: copper has its window already; give one of both")
            else:
                found[COPPER] = _as_copper(window)
        return found

    def description(self) -> Description:
        """The bath as plain values."""
        return Description(
            name=self.name,
            volume_l=self.volume,
            brim_l=self.brim,
            window=self._windows(),
            additives=tuple(
                Additive(each.name, each.rate, each.dose, each.make_up) for each in self.additive
            ),
            anodes=Anodes(
                self.anodes.area,
                self.anodes.mass,
                self.anodes.greatest_current_density,
                self.anodes.least_mass,
            ),
            filtration=self.filtration.interval(),
            carbon=self.carbon.interval(),
            evaporation_l_d=self.evaporation,
            drag_out_ml_dm2=self.drag_out,
            prices=self.prices.prices(),
        )


def _as_copper(sulfate: Window) -> Window:
    """The window of copper, g/L, of one of the pentahydrate, g/L."""
    return Window(*(
        None if value is None else value * PENTAHYDRATE.copper_share
        for value in (sulfate.least, sulfate.target, sulfate.greatest)
    ))  # fmt: skip
