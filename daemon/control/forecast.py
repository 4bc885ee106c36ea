"""What a plan does if the supply delivers what it is asked for: time, charge, and which end comes.

A stage's current is a ramp and then a constant, so its charge is a quadratic and then a line in
time; both are inverted in closed form. The end by cell voltage cannot be foreseen and is left out.
"""

import math
from dataclasses import dataclass

from daemon.control.charge import SECONDS_PER_HOUR
from daemon.control.plan import Stage


@dataclass(frozen=True, slots=True)
class Foreseen:
    """A walk through stages: s and A·h until its end, and whether the target was reached."""

    duration_s: float
    charge_ah: float
    reached: bool


def current_at(stage: Stage, from_a: float, elapsed_s: float) -> float:
    """The current a stage asks for, A, `elapsed_s` after it began at `from_a`."""
    if elapsed_s >= stage.ramp_s:
        return stage.current_a
    return from_a + (stage.current_a - from_a) * elapsed_s / stage.ramp_s


def charge_over(stage: Stage, from_a: float, elapsed_s: float, duration_s: float) -> float:
    """Charge in A·h that a stage asks for in `duration_s` from `elapsed_s` on."""
    end_s = elapsed_s + duration_s
    ramp_end_s = min(max(stage.ramp_s, elapsed_s), end_s)
    ramped_s = ramp_end_s - elapsed_s
    mean_a = (current_at(stage, from_a, elapsed_s) + current_at(stage, from_a, ramp_end_s)) / 2
    return (mean_a * ramped_s + stage.current_a * (end_s - ramp_end_s)) / SECONDS_PER_HOUR


def duration_for(stage: Stage, from_a: float, elapsed_s: float, charge_ah: float) -> float:
    """Seconds from `elapsed_s` on in which a stage delivers `charge_ah`; inf if it never does."""
    wanted_as = charge_ah * SECONDS_PER_HOUR
    if wanted_as <= 0:
        return 0.0
    ramp_left_s = max(0.0, stage.ramp_s - elapsed_s)
    in_ramp_as = charge_over(stage, from_a, elapsed_s, ramp_left_s) * SECONDS_PER_HOUR
    if wanted_as > in_ramp_as:
        if stage.current_a <= 0:
            return math.inf
        return ramp_left_s + (wanted_as - in_ramp_as) / stage.current_a
    start_a = current_at(stage, from_a, elapsed_s)
    slope = (stage.current_a - from_a) / stage.ramp_s
    # start·t + slope·t²/2 = wanted, solved in the form that does not cancel.
    root = math.sqrt(max(0.0, start_a * start_a + 2 * slope * wanted_as))
    return 2 * wanted_as / (start_a + root)


def walk(
    stages: tuple[Stage, ...],
    um_per_ah: float,
    target_ah: float,
    *,
    done_ah: float = 0.0,
    elapsed_s: float = 0.0,
    from_a: float = 0.0,
    stage_done_ah: float = 0.0,
) -> Foreseen:
    """Walk through `stages` until the charge `target_ah` or the last stage's end.

    The first stage may be under way: `elapsed_s` into it, begun at `from_a`, with `stage_done_ah`
    of its own charge done; `done_ah` is the whole run's charge so far. `um_per_ah` turns charge
    into thickness, µm per A·h.
    """
    total_s, charge_ah = 0.0, done_ah
    for stage in stages:
        needed_ah = target_ah - charge_ah
        span_s = duration_for(stage, from_a, elapsed_s, needed_ah)
        end_s = stage_span(stage, um_per_ah, charge_ah, elapsed_s, from_a, stage_done_ah)
        if span_s <= end_s:
            if math.isinf(span_s):
                ramp_left_s = max(0.0, stage.ramp_s - elapsed_s)
                charge_ah += charge_over(stage, from_a, elapsed_s, ramp_left_s)
                return Foreseen(math.inf, charge_ah, reached=False)
            return Foreseen(total_s + span_s, target_ah, reached=True)
        total_s += end_s
        charge_ah += charge_over(stage, from_a, elapsed_s, end_s)
        from_a = current_at(stage, from_a, elapsed_s + end_s)
        elapsed_s, stage_done_ah = 0.0, 0.0
    return Foreseen(total_s, charge_ah, reached=False)


def stage_span(
    stage: Stage,
    um_per_ah: float,
    charge_ah: float,
    elapsed_s: float,
    from_a: float,
    stage_done_ah: float,
) -> float:
    """Seconds until the first of the stage's foreseeable ends; inf if it has none."""
    until = stage.until
    spans = [math.inf]
    if until.duration_s is not None:
        spans.append(max(0.0, until.duration_s - elapsed_s))
    if until.charge_ah is not None:
        left_ah = until.charge_ah - stage_done_ah
        spans.append(duration_for(stage, from_a, elapsed_s, left_ah))
    if until.thickness_um is not None:
        left_ah = until.thickness_um / um_per_ah - charge_ah
        spans.append(duration_for(stage, from_a, elapsed_s, left_ah))
    return min(spans)
