"""A plan: the stages a run goes through, its target and its hard caps. Plain floats, checked shape.

The file that people write becomes a `Plan` in `daemon.api.plans.file`; whether a plan can work on a
given supply is told by `daemon.control.feasibility`.
"""

from dataclasses import dataclass

from daemon.chemistry.metals import Metal


@dataclass(frozen=True, slots=True)
class Until:
    """What ends a stage, the first of these; None means "not by this".

    At least one end other than the voltage is given, except in the last stage, which may have
    none: it ends at the plan's target.

    charge_ah: counted within the stage, A·h. thickness_um: mean thickness of the whole deposit so
    far, µm. duration_s: time in the running state within the stage, s. cell_voltage_below_v: the
    cell's voltage has fallen below this, V.
    """

    charge_ah: float | None = None
    thickness_um: float | None = None
    duration_s: float | None = None
    cell_voltage_below_v: float | None = None


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage: the current it aims at in A, how long it takes to get there in s, and its ends.

    The ramp is linear in time from the current at the stage's start. `voltage_ceiling_v` is the
    supply's voltage set-point during the stage, V.
    """

    name: str
    current_a: float
    voltage_ceiling_v: float
    ramp_s: float = 0.0
    until: Until = Until()


@dataclass(frozen=True, slots=True)
class Plan:
    """What a run shall do.

    area_dm2: the part's area, dm². target_um: mean thickness at which the run is complete, µm.
    efficiency: cathode efficiency, 0 < efficiency <= 1. charge_cap_ah and duration_cap_s: what the
    whole run never passes, A·h and s of running time. area_u and efficiency_u: their relative
    standard uncertainties. confidence: how sure it has to be that the target is reached, above 0.5
    and below 1; None stops at the best estimate.
    """

    title: str
    metal: Metal
    area_dm2: float
    efficiency: float
    target_um: float
    charge_cap_ah: float
    duration_cap_s: float
    stages: tuple[Stage, ...]
    area_u: float = 0.0
    efficiency_u: float = 0.0
    confidence: float | None = None
