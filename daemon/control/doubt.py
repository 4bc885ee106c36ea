"""How sure a run's charge and thickness are, and what it takes to be as sure as its plan wants."""

import math

from daemon.chemistry.uncertainty import (
    Budget,
    Counted,
    MeterDoubt,
    Shape,
    Share,
    between_readings_as,
    charge_budget,
    in_step_as,
    one_sided_factor,
    thickness_budget,
)
from daemon.control.charge import SECONDS_PER_HOUR, Count
from daemon.control.plan import Plan
from daemon.control.situation import Run

LARGEST_SHARE = 1 / 3
"""Of a thickness, by which it may have to lie above the target to be sure. More is no plan."""

ROUNDS = 4
"""Of a fixed point whose error shrinks to `LARGEST_SHARE` or, as a rule, to a tenth in each."""


def charge_doubt(run: Run, count: Count) -> Budget:
    """The run's charge, A·h, with what its uncertainty is made of.

    To the meter's doubt and the gaps' comes what nobody saw between two readings, where a step is
    by chance, and where a ramp's steps all are.
    """
    counted = Counted(
        count.charge_ah,
        count.covered_s,
        count.squares_s2,
        count.gap_least_ah,
        count.gap_greatest_ah,
    )
    charge = charge_budget(counted, run.doubt)
    between_as = between_readings_as(count.steps_a2s2, count.squares_s2, run.doubt.noise_a)
    between = Share("between readings", between_as / SECONDS_PER_HOUR)
    ramp = Share("ramps", in_step_as(count.steps_as, between_as) / SECONDS_PER_HOUR, Shape.FLAT)
    return Budget(charge.value, (*charge.shares, between, ramp))


def thickness_doubt(run: Run, count: Count) -> Budget:
    """The deposit's mean thickness, µm, with what its uncertainty is made of."""
    charge = charge_doubt(run, count)
    return thickness_budget(charge, run.um_per_ah, run.plan.area_u, run.plan.efficiency_u)


def wanted_ah(run: Run, count: Count) -> float:
    """The charge at which the run is complete, A·h.

    Without a confidence it is the target's. With one, the thickness has to be above the target by
    as many standard uncertainties as make it that sure; the uncertainty grows with the charge, so
    the charge is found by going round a few times.
    """
    confidence = run.plan.confidence
    if confidence is None:
        return run.target_ah
    factor = one_sided_factor(confidence)
    relative, fixed_ah = _two_parts(run, count)
    wanted = run.target_ah
    for _ in range(ROUNDS):
        wanted = run.target_ah + factor * math.hypot(relative * wanted, fixed_ah)
    return wanted


def sure_target_ah(plan: Plan, target_ah: float, doubt: MeterDoubt) -> float | None:
    """The least charge, A·h, that can make a plan as sure of its target as it wants to be.

    None if none can: when the doubt of a thickness is no small share of it, more copper makes the
    answer hardly surer. Offset, noise and gaps of the run to come are left out.
    """
    if plan.confidence is None:
        return target_ah
    short = one_sided_factor(plan.confidence) * _relative(plan, doubt)
    return target_ah / (1 - short) if short < LARGEST_SHARE else None


def _relative(plan: Plan, doubt: MeterDoubt) -> float:
    """The relative standard uncertainty of what is the same share of any charge."""
    return math.hypot(doubt.gain, doubt.reference, doubt.clock, plan.area_u, plan.efficiency_u)


def _two_parts(run: Run, count: Count) -> tuple[float, float]:
    """What grows with the charge, as a share of it, and what does not, A·h: standard uncertainties.

    What a calibration says of gain and offset together goes to the second, as of now.
    """
    of_charge = {"gain", "reference", "clock"}
    shares = charge_doubt(run, count).shares
    fixed = math.fsum(share.u**2 for share in shares if share.name not in of_charge)
    relative = _relative(run.plan, run.doubt)
    if run.doubt.covariance_a:
        relative = math.sqrt(max(0.0, relative**2 - run.doubt.gain**2))
    return relative, math.sqrt(fixed)
