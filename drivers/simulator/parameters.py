"""What can be set on the simulated bath, its parts and its supply: ranges, units and defaults.

The defaults are a 12 L bath of 200 g/L copper sulfate and 60 g/L sulfuric acid with one painted
part of 1.8 dm², on a supply of 30 V and 5 A.
"""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class Parameters(BaseModel):
    """Base of every described thing: frozen, no unknown keys, finite numbers only."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class BathParameters(Parameters):
    """The bath, its anode and its leads.

    `conductivity_ms_per_cm` at 25 °C; left out, it is estimated from the composition to ±30 %.
    `exchange_a_per_dm2` at 25 °C: teaching value 0.01 (DoITPoMS), 0.1 to 1 in strong sulfate
    baths, less with additives (from memory, not checked). `heat_j_per_l_k` is near water's.
    """

    volume_l: float = Field(default=12.0, gt=0, le=10_000)
    copper_sulfate_g_per_l: float = Field(default=200.0, ge=1, le=270)
    sulfuric_acid_g_per_l: float = Field(default=60.0, ge=0, le=400)
    conductivity_ms_per_cm: float | None = Field(default=None, gt=0, le=2000)
    conductivity_percent_per_k: float = Field(default=1.5, ge=0, le=5)
    temperature_c: float = Field(default=24.0, ge=0, le=80)
    ambient_c: float = Field(default=22.0, ge=-20, le=60)
    heat_j_per_l_k: float = Field(default=4000.0, gt=0, le=5000)
    heat_loss_w_per_k: float = Field(default=3.0, gt=0, le=10_000)
    electrode_gap_cm: float = Field(default=10.0, gt=0, le=100)
    anode_area_dm2: float = Field(default=3.0, gt=0, le=10_000)
    diffusion_layer_um: float = Field(default=50.0, gt=0, le=1000)
    exchange_a_per_dm2: float = Field(default=0.1, gt=0, le=100)
    lead_resistance_ohm: float = Field(default=0.03, ge=0, le=10)
    cathode_efficiency: float = Field(default=1.0, gt=0, le=1)


class PartParameters(Parameters):
    """One part, painted or bare.

    `paint_ohm_per_sq` 0 is bare metal; graphite paints have 10 to 1000, nickel 0.5 to 2, silver
    below 0.1 (common practice).
    `paint_squares` is the length over the width of the way from a contact to the far end;
    `start_coverage` the share of the area around the contacts that plates at once; `covering_um`
    the mean thickness over which the uncovered rest falls to 1/e (a chosen value: within the first
    micrometre).
    """

    name: str = Field(default="part", min_length=1, max_length=60)
    area_dm2: float = Field(default=1.8, gt=0, le=10_000)
    paint_ohm_per_sq: float = Field(default=10.0, ge=0, le=100_000)
    paint_squares: float = Field(default=3.0, gt=0, le=1000)
    contacts: int = Field(default=2, ge=1, le=1000)
    start_coverage: float = Field(default=0.05, gt=0, le=1)
    covering_um: float = Field(default=0.3, gt=0, le=100)


class SupplyParameters(Parameters):
    """The bench supply. Steps are resolutions, noises standard deviations of one measurement.

    `slew_a_per_s` is how fast a commanded change of the current goes; `decay_s` the time constant
    with which the current dies away once the output is off. `beyond_rating` says what becomes of
    a set-point above the rating.
    """

    current_a: float = Field(default=5.0, gt=0, le=10_000)
    voltage_v: float = Field(default=30.0, gt=0, le=1000)
    current_step_a: float = Field(default=0.001, gt=0, le=10)
    voltage_step_v: float = Field(default=0.01, gt=0, le=10)
    measured_current_step_a: float = Field(default=0.0001, gt=0, le=10)
    measured_voltage_step_v: float = Field(default=0.001, gt=0, le=10)
    current_noise_a: float = Field(default=0.0005, ge=0, le=10)
    voltage_noise_v: float = Field(default=0.001, ge=0, le=10)
    slew_a_per_s: float = Field(default=20.0, gt=0, le=1e6)
    decay_s: float = Field(default=0.02, gt=0, le=10)
    beyond_rating: Literal["refuse", "clip"] = "refuse"
