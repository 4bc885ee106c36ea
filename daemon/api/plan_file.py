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
    model_validator,
)

from daemon.api.explain import read_toml
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
    efficiency: Fraction = Field(1.0, description="cathode efficiency", examples=['"100 %"'])
    area: AreaDm2 = Field(
        description="plated area of all parts together", examples=['area = "1.8 dm²"']
    )
    target: ThicknessUm = Field(
        description="mean thickness at which the run is complete", examples=['target = "25 µm"']
    )
    voltage_ceiling: VoltageV | None = Field(
        None, description="ceiling of the stages that give none", examples=['"4 V"']
    )
    area_uncertainty: Share = Field(
        0.05,
        description="the area is within ± this of what is given, with 95 %",
        examples=['"5 %"'],
    )
    efficiency_uncertainty: Share = Field(
        0.01,
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

    def plan(self) -> Plan:
        """Give the plan in plain floats, current densities made into currents by the area."""
        metal = self.metal
        if self.density is not None:
            metal = replace(metal, density_g_cm3=self.density)
        return Plan(
            title=self.title,
            metal=metal,
            area_dm2=self.area,
            efficiency=self.efficiency,
            target_um=self.target,
            charge_cap_ah=self.caps.charge,
            duration_cap_s=self.caps.duration,
            stages=tuple(self._stage(number, stage) for number, stage in enumerate(self.stage, 1)),
            area_u=self.area_uncertainty / coverage_factor(0.95),
            efficiency_u=self.efficiency_uncertainty / coverage_factor(0.95),
            confidence=self.confidence,
        )

    def _stage(self, number: int, stage: StageTable) -> Stage:
        until = stage.until
        return Stage(
            name=stage.name,
            current_a=stage.current_a(self.area),
            voltage_ceiling_v=self._ceiling_v(number, stage),
            ramp_s=stage.ramp,
            until=Until(
                charge_ah=until.charge,
                thickness_um=until.thickness,
                duration_s=until.duration,
                cell_voltage_below_v=until.cell_voltage_below,
            ),
        )


def read_plan(text: str, where: str) -> Plan:
    """Read a plan file's text; `where` names it in errors.

    Raises `daemon.api.errors.InputError` with each problem's key, what came and what is allowed.
    """
    return read_toml(text, where, PlanFile).plan()
