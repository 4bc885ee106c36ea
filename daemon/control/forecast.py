"""What a plan does if the supply delivers what it is asked for: time, charge, and which end comes.

A stage's current is a ramp and then a constant, so its charge is a quadratic and then a line in
time; both are inverted in closed form. The end by cell voltage cannot be foreseen and is left out.
"""

import math
from dataclasses import dataclass

from daemon.control.charge import SECONDS_PER_HOUR
from daemon.control.end_names import STAGE_CHARGE, STAGE_DURATION, STAGE_THICKNESS, TARGET
from daemon.control.plan import Stage

RAMP_POINTS = 12
"""Points of a ramp that are drawn; so many chords are not told from its parabola of charge."""


@dataclass(frozen=True, slots=True)
class Foreseen:
    """A walk through stages: s and A·h until its end, and whether the target was reached."""

    duration_s: float
    charge_ah: float
    reached: bool


@dataclass(frozen=True, slots=True)
class Stretch:
    """What is foreseen of one stage, from now or from its beginning on.

    begins_s: since the walk's beginning, s. lasts_s: until its first end, s; inf where none comes.
    elapsed_s: how far into the stage it begins, s. from_a: the current at the stage's start, A.
    from_ah, to_ah: the whole run's charge at both ends, A·h; of a stage without an end, that at the
    end of its ramp. ended_by: the end as `end_names` has it; None where none comes.
    """

    stage: Stage
    begins_s: float
    lasts_s: float
    elapsed_s: float
    from_a: float
    from_ah: float
    to_ah: float
    ended_by: str | None

    def points(self) -> tuple[tuple[float, float, float], ...]:
        """Its corners, and some of its ramp, over which the charge is a parabola.

        Each is s from the walk's beginning, the current, A, and the run's charge by then, A·h. Only
        for one that ends.
        """
        ramp_s = min(max(0.0, self.stage.ramp_s - self.elapsed_s), self.lasts_s)
        inner = [k / RAMP_POINTS * ramp_s for k in range(RAMP_POINTS)] if ramp_s else []
        return tuple(
            (
                self.begins_s + at_s,
                current_at(self.stage, self.from_a, self.elapsed_s + at_s),
                self.from_ah + charge_over(self.stage, self.from_a, self.elapsed_s, at_s),
            )
            for at_s in (*inner, ramp_s, self.lasts_s)
        )


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
    found = stretches(
        stages, um_per_ah, target_ah,
        done_ah=done_ah, elapsed_s=elapsed_s, from_a=from_a, stage_done_ah=stage_done_ah,
    )  # fmt: skip
    if not found:
        return Foreseen(0.0, done_ah, reached=False)
    last = found[-1]
    return Foreseen(last.begins_s + last.lasts_s, last.to_ah, reached=last.ended_by == TARGET)


def stretches(
    stages: tuple[Stage, ...],
    um_per_ah: float,
    target_ah: float,
    *,
    done_ah: float = 0.0,
    elapsed_s: float = 0.0,
    from_a: float = 0.0,
    stage_done_ah: float = 0.0,
) -> tuple[Stretch, ...]:
    """The same walk stage by stage; those that it does not come to are left out."""
    begins_s, charge_ah = 0.0, done_ah
    found: list[Stretch] = []
    for stage in stages:
        lasts_s, ended_by = _first_end(
            stage, um_per_ah, target_ah, charge_ah, elapsed_s, from_a, stage_done_ah
        )
        if ended_by == TARGET:
            to_ah = target_ah
        else:
            known_s = max(0.0, stage.ramp_s - elapsed_s) if ended_by is None else lasts_s
            to_ah = charge_ah + charge_over(stage, from_a, elapsed_s, known_s)
        found.append(
            Stretch(stage, begins_s, lasts_s, elapsed_s, from_a, charge_ah, to_ah, ended_by)
        )
        if ended_by in (TARGET, None):
            break
        begins_s += lasts_s
        charge_ah = to_ah
        from_a = current_at(stage, from_a, elapsed_s + lasts_s)
        elapsed_s, stage_done_ah = 0.0, 0.0
    return tuple(found)


def _first_end(
    stage: Stage,
    um_per_ah: float,
    target_ah: float,
    charge_ah: float,
    elapsed_s: float,
    from_a: float,
    stage_done_ah: float,
) -> tuple[float, str | None]:
    """Seconds until the first end that can be foreseen, and which; inf and None if none comes.

    Of those at the same moment it is the first of target, charge, thickness and duration.
    """
    until = stage.until
    lasts_s, ended_by = duration_for(stage, from_a, elapsed_s, target_ah - charge_ah), TARGET
    if until.charge_ah is not None:
        span_s = duration_for(stage, from_a, elapsed_s, until.charge_ah - stage_done_ah)
        if span_s < lasts_s:
            lasts_s, ended_by = span_s, STAGE_CHARGE
    if until.thickness_um is not None:
        span_s = duration_for(stage, from_a, elapsed_s, until.thickness_um / um_per_ah - charge_ah)
        if span_s < lasts_s:
            lasts_s, ended_by = span_s, STAGE_THICKNESS
    if until.duration_s is not None:
        span_s = max(0.0, until.duration_s - elapsed_s)
        if span_s < lasts_s:
            lasts_s, ended_by = span_s, STAGE_DURATION
    return (lasts_s, None) if math.isinf(lasts_s) else (lasts_s, ended_by)
