"""The plan as people write it in TOML, and as the API takes it: the same shape.

Read it with `read_plan`, which gives the plain `daemon.control.plan.Plan`. What is checked here is
the file's own sense; whether a plan can work on a given supply is told by
`daemon.control.feasibility`.
"""

import unicodedata
from dataclasses import replace
from typing import Annotated

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    InstanceOf,
    StringConstraints,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from daemon.api.errors import InputError
from daemon.api.explain import read_toml
from daemon.api.plans.known import CONFIDENCE, NOTHING_KNOWN, Known, Sure
from daemon.api.quantities import (
    AreaDm2,
    ChargeAh,
    CurrentA,
    CurrentDensityADm2,
    DensityGCm3,
    DurationS,
    Fraction,
    RampS,
    Share,
    ThicknessUm,
    VoltageV,
)
from daemon.chemistry.metals import Metal, metal_named
from daemon.chemistry.uncertainty import coverage_factor
from daemon.control.plan import Plan, Stage, Until
from daemon.record.errors import NoSuchPartError

AREA_UNCERTAINTY, EFFICIENCY_UNCERTAINTY = 0.05, 0.01
"""± with 95 %, of an area and an efficiency that come without theirs."""

MOST_COPIES = 10_000


def _read_metal(value: object) -> Metal:
    if not isinstance(value, str):
        raise ValueError(f'must be a text such as "Cu(II)", got {value}')  # noqa: TRY004
    return metal_named(value)


MetalName = Annotated[InstanceOf[Metal], BeforeValidator(_read_metal)]
"""A metal as `daemon.chemistry.metals.metal_named` takes it, such as "Cu(II)"."""


def _on_one_line(text: str) -> str:
    if any(unicodedata.category(character) in {"Cc", "Zl", "Zp"} for character in text):
        raise ValueError(f"must be one line without control characters, got {text!r}")
    return text


Line = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=100),
    AfterValidator(_on_one_line),
]
"""A text of 1 to 100 characters on one line, as titles and names go to terminals and pages."""


class Table(BaseModel):
    """Base of every table of the file: unknown keys are refused, nothing changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class UntilTable(Table):
    """The ends of a stage: it is over when the first of them is reached."""

    charge: ChargeAh | None = Field(
        None, description="charge counted within the stage", examples=['"1.2 Ah"']
    )
    thickness: ThicknessUm | None = Field(
        None, description="mean thickness of the deposit so far", examples=['"2 µm"']
    )
    duration: DurationS | None = Field(
        None, description="running time within the stage", examples=['"40 min"']
    )
    cell_voltage_below: VoltageV | None = Field(
        None, description="voltage that the cell has to fall below", examples=['"0.9 V"']
    )

    @property
    def surely_comes(self) -> bool:
        """Whether one of the ends comes as long as current flows; a voltage may never fall."""
        return any(end is not None for end in (self.charge, self.thickness, self.duration))


class StageTable(Table):
    """One `[[stage]]`: a current or a current density, and the stage's ends."""

    name: Line = Field(description="what the stage is called", examples=['"strike"'])
    current: CurrentA | None = Field(
        None, description="current through all parts together", examples=['"0.5 A"']
    )
    current_density: CurrentDensityADm2 | None = Field(
        None, description="current for each dm² of the area", examples=['"0.3 A/dm²"']
    )
    ramp: RampS = Field(0.0, description="time to reach the current", examples=['"5 min"'])
    voltage_ceiling: VoltageV | None = Field(
        None, description="voltage that the supply never passes", examples=['"2.5 V"']
    )
    until: UntilTable = Field(
        UntilTable(), description="the stage's ends", examples=['{ duration = "40 min" }']
    )

    @model_validator(mode="after")
    def _one_current(self) -> "StageTable":
        self.current_a(area_dm2=1.0)
        return self

    def current_a(self, area_dm2: float) -> float:
        """Give the stage's current on an area, in A; ValueError unless it is given in one way."""
        match self.current, self.current_density:
            case float(current_a), None:
                return current_a
            case None, float(density_a_dm2):
                return density_a_dm2 * area_dm2
            case None, None:
                given = "neither is given"
            case _:
                given = "both are given"
        raise ValueError(
            'needs either current, such as "0.5 A", or current_density, such as "0.3 A/dm²";'
            f" {given}"
        )


class CapsTable(Table):
    """What the whole run never passes, whatever its stages say."""

    charge: ChargeAh = Field(
        description="charge that the run never passes", examples=['charge = "4.5 Ah"']
    )
    duration: DurationS = Field(
        description="running time that the run never passes", examples=['duration = "9 h"']
    )


def _more_than_even(confidence: float) -> float:
    if not 0.5 < confidence < 1:
        raise ValueError(f"must be above 50 % and below 100 %, got {confidence:.4g}")
    return confidence


class PlanFile(Table):
    """A whole plan. Its stages follow one another; the run is complete at the target."""

    title: Line = Field(description="what is plated", examples=['title = "Lamp foot, 25 µm"'])
    metal: MetalName = Field(
        metal_named("Cu"), description="metal and valence", examples=['"Cu(II)"']
    )
    density: DensityGCm3 | None = Field(
        None, description="the deposit's density, else that of the metal", examples=['"8.92 g/cm³"']
    )
    efficiency: Fraction | None = Field(
        None, description="cathode efficiency", examples=['"100 %"']
    )
    part: Line | None = Field(
        None, description="a part that was kept", examples=['part = "lamp foot"']
    )
    area: AreaDm2 | None = Field(
        None,
        validate_default=True,
        description="plated area of all parts together",
        examples=['area = "1.8 dm²", or part = "lamp foot" for a kept one'],
    )
    copies: Annotated[int, Field(strict=True, ge=1, le=MOST_COPIES)] | None = Field(
        None, description="how many of the part", examples=["copies = 4"]
    )
    target: ThicknessUm = Field(
        description="mean thickness at which the run is complete", examples=['target = "25 µm"']
    )
    voltage_ceiling: VoltageV | None = Field(
        None, description="ceiling of the stages that give none", examples=['"4 V"']
    )
    area_uncertainty: Share | None = Field(
        None,
        description="the area is within ± this of what is given, with 95 %",
        examples=['"5 %"'],
    )
    efficiency_uncertainty: Share | None = Field(
        None,
        description="the efficiency is within ± this of what is given, with 95 %",
        examples=['"1 %"'],
    )
    confidence: Annotated[Fraction, AfterValidator(_more_than_even)] | None = Field(
        None,
        description="how sure it has to be that the target is reached; else the best estimate",
        examples=['"95 %"'],
    )
    caps: CapsTable = Field(
        description="a table of what the run never passes",
        examples=['[caps] with charge = "4.5 Ah" and duration = "9 h"'],
    )
    stage: tuple[StageTable, ...] = Field(
        min_length=1, description="the stages in their order", examples=["[[stage]] tables"]
    )

    @field_validator("area")
    @classmethod
    def _one_area(cls, area: float | None, info: ValidationInfo) -> float | None:
        part = info.data.get("part")
        if area is None and part is None and "part" in info.data:
            raise PydanticCustomError("missing", "Field required")
        if area is not None and part is not None:
            raise ValueError("needs either area or part; both are given")
        return area

    @field_validator("copies")
    @classmethod
    def _copies_of_a_part(cls, copies: int | None, info: ValidationInfo) -> int | None:
        if copies is not None and info.data.get("area") is not None:
            raise ValueError("goes with part; area is that of all parts together")
        return copies

    @model_validator(mode="after")
    def _stages_make_sense(self) -> "PlanFile":
        self._check_ceilings()
        self._check_ends()
        self._check_thicknesses()
        return self

    def _check_ceilings(self) -> None:
        for number, stage in enumerate(self.stage, 1):
            ceiling_v = self._ceiling_v(number, stage)
            below_v = stage.until.cell_voltage_below
            if below_v is not None and below_v >= ceiling_v:
                raise ValueError(
                    f"stage[{number}].until.cell_voltage_below: must be below the stage's"
                    f" voltage_ceiling of {ceiling_v:g} V, got {below_v:g} V, which would end the"
                    " stage at once"
                )

    def _ceiling_v(self, number: int, stage: StageTable) -> float:
        for ceiling_v in (stage.voltage_ceiling, self.voltage_ceiling):
            if ceiling_v is not None:
                return ceiling_v
        raise ValueError(
            f"stage[{number}].voltage_ceiling is missing: give it there or once for the whole"
            ' plan, such as voltage_ceiling = "4 V"'
        )

    def _check_ends(self) -> None:
        for number, stage in enumerate(self.stage[:-1], 1):
            if not stage.until.surely_comes:
                raise ValueError(
                    f"stage[{number}].until: needs a charge, thickness or duration, since stages"
                    " follow it and the cell voltage alone may never fall, such as"
                    ' until = { cell_voltage_below = "0.9 V", duration = "40 min" }'
                )

    def _check_thicknesses(self) -> None:
        reached_um = 0.0
        for number, stage in enumerate(self.stage, 1):
            end_um = stage.until.thickness
            if end_um is None:
                continue
            key = f"stage[{number}].until.thickness"
            if end_um <= reached_um:
                raise ValueError(
                    f"{key}: must be above the {reached_um:g} µm at which an earlier stage ends,"
                    f" got {end_um:g} µm; thickness counts from the run's start"
                )
            if end_um >= self.target and number < len(self.stage):
                raise ValueError(
                    f"{key}: must be below the target of {self.target:g} µm, got {end_um:g} µm;"
                    f" stage[{number + 1}] would never run"
                )
            reached_um = end_um

    def plan(self, known: Known = NOTHING_KNOWN) -> Plan:
        """Give the plan in plain floats, current densities made into currents by the area.

        Raises NoSuchPartError for a part that is not `known`.
        """
        area = self._area(known)
        efficiency = self._efficiency(known)
        metal = self.metal
        if self.density is not None:
            metal = replace(metal, density_g_cm3=self.density)
        return Plan(
            title=self.title,
            metal=metal,
            area_dm2=area.value,
            efficiency=efficiency.value,
            target_um=self.target,
            charge_cap_ah=self.caps.charge,
            duration_cap_s=self.caps.duration,
            stages=tuple(
                self._stage(number, stage, area.value) for number, stage in enumerate(self.stage, 1)
            ),
            area_u=area.uncertainty / coverage_factor(CONFIDENCE),
            efficiency_u=efficiency.uncertainty / coverage_factor(CONFIDENCE),
            confidence=self.confidence,
        )

    def _area(self, known: Known) -> Sure:
        """The plated area, dm²; what the plan says of its uncertainty goes first."""
        if self.area is not None:
            found = Sure(self.area, AREA_UNCERTAINTY)
        else:
            found = known.part(self.part or "", self.copies or 1)
        return found if self.area_uncertainty is None else Sure(found.value, self.area_uncertainty)

    def _efficiency(self, known: Known) -> Sure:
        """The efficiency of the plan, else the one that was learned, else all of it."""
        found = Sure(1.0, EFFICIENCY_UNCERTAINTY)
        if self.efficiency is not None:
            found = Sure(self.efficiency, EFFICIENCY_UNCERTAINTY)
            known.given(self.metal, self.efficiency)
        elif (learned := known.efficiency(self.metal)) is not None:
            found = Sure(min(1.0, learned.value), learned.uncertainty)
        own = self.efficiency_uncertainty
        return found if own is None else Sure(found.value, own)

    def _stage(self, number: int, stage: StageTable, area_dm2: float) -> Stage:
        until = stage.until
        return Stage(
            name=stage.name,
            current_a=stage.current_a(area_dm2),
            voltage_ceiling_v=self._ceiling_v(number, stage),
            ramp_s=stage.ramp,
            until=Until(
                charge_ah=until.charge,
                thickness_um=until.thickness,
                duration_s=until.duration,
                cell_voltage_below_v=until.cell_voltage_below,
            ),
        )


def read_plan(text: str, where: str, known: Known = NOTHING_KNOWN) -> Plan:
    """Read a plan file's text; `where` names it in errors, `known` is what it may leave out.

    Raises `daemon.api.errors.InputError` with each problem's key, what came and what is allowed.
    """
    file = read_toml(text, where, PlanFile)
    try:
        return file.plan(known)
    except NoSuchPartError as error:
        raise InputError(where, (f"part: {error}",)) from error
