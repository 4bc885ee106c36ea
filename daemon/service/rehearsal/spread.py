"""A plan on many tanks, each as likely as what is known: how far apart they come out.

A further tank lies between the least and the greatest of n that were drawn alike with a
probability of (n - 1)/(n + 1), whatever the distribution: of 39, 95 %.
"""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import exp

import numpy as np

from daemon.control.plan import Plan
from daemon.control.situation import Carried
from daemon.service.rehearsal.learning import Learned
from daemon.service.rehearsal.supposed import VARIES, Facts, Heat, scenario
from daemon.service.rehearsal.walked import Point, Rules, Walked, walk
from drivers.simulator.parameters import SupplyParameters
from drivers.simulator.scenario import Scenario

DRAWS = 39

SEED = 20261125
"""The same plan on the same tank is rehearsed alike each time."""

START_SD = 2.0
"""K. How far the bath may be from where it was seen last."""

READ_SD = 0.3
"""K. How far from what a thermometer shows now."""


@dataclass(frozen=True, slots=True)
class Range:
    """The middle one of the draws, the least and the greatest."""

    least: float
    middle: float
    greatest: float


def range_of(values: Sequence[float]) -> Range:
    """The range of at least one value."""
    ordered = sorted(values)
    return Range(ordered[0], ordered[len(ordered) // 2], ordered[-1])


@dataclass(frozen=True, slots=True)
class Draw:
    """A tank, and what its supply gives for each ampere asked for."""

    scenario: Scenario
    given: float


@dataclass(frozen=True, slots=True)
class Spread:
    """The walk on the likeliest tank, and those on the tanks that were drawn."""

    nominal: Walked
    walks: tuple[Walked, ...]

    def range(self, value: Callable[[Walked], float]) -> Range:
        """The range of what is made of each walk."""
        return range_of([value(each) for each in self.walks])


def walk_on(plan: Plan, rules: Rules, carried: Carried, tank: Draw) -> Walked:
    """Rehearse the plan on one of the tanks."""
    return walk(plan, tank.scenario, replace(rules, given=tank.given), carried)


def drawn(
    plan: Plan,
    copies: int,
    facts: Facts,
    learned: Learned,
    supply: SupplyParameters,
    read_c: float | None = None,
    draws: int = DRAWS,
) -> list[Draw]:
    """The likeliest tank, then so many others; `read_c` is the bath's °C now."""
    chance = np.random.default_rng(SEED)
    size = len(learned.mean)
    root = np.linalg.cholesky(learned.covariance + 1e-12 * np.eye(size))
    start_c, start_sd = _start(learned, read_c)
    found = []
    for number in range(draws + 1):
        a, b, c = (chance.standard_normal(n) if number else np.zeros(n) for n in (size, 3, 4))
        figures = learned.mean + root @ a
        for k, place in enumerate(VARIES):
            figures[place] += learned.varies_sd[k] * b[k]
        heat = Heat(
            exp(learned.log_loss + learned.log_loss_sd * c[0]),
            learned.ambient_c + learned.ambient_sd * c[1],
            start_c + start_sd * c[2],
        )
        made = scenario(
            facts, tuple(float(each) for each in figures), plan.area_dm2, copies, heat, supply
        )
        found.append(Draw(made, learned.given + learned.given_sd * float(c[3])))
    return found


def _start(learned: Learned, read_c: float | None) -> tuple[float, float]:
    """The bath's temperature at the start, °C, and how far it may be off."""
    if read_c is not None:
        return read_c, READ_SD
    if learned.start_c is not None:
        return learned.start_c, START_SD
    return learned.ambient_c, learned.ambient_sd


def at_times(
    walks: Sequence[Walked], times_s: Sequence[float], value: Callable[[Point], float]
) -> list[Range | None]:
    """The range over those walks that are under way at each time; None where none is."""
    columns = [_sampled(each.points, times_s, lambda p: p.at_s, value) for each in walks]
    found: list[Range | None] = []
    for place in range(len(times_s)):
        there = [column[place] for column in columns if column[place] is not None]
        found.append(range_of(there) if there else None)  # type: ignore[arg-type]
    return found


def by_charge(
    walks: Sequence[Walked],
    stage: int,
    charges_ah: Sequence[float],
    value: Callable[[Point], float],
) -> list[Range | None]:
    """The range at each charge within a stage, once its current is there; beyond, None.

    A walk whose stage ended earlier goes on with its last value.
    """
    columns = []
    for each in walks:
        own = [point for point in each.points if point.stage == stage]
        steady = [point for point in own if not point.ramping and point.current_a > 0.0]
        if not steady:
            continue
        from_ah = own[0].charge_ah
        xs = [point.charge_ah - from_ah for point in steady]
        ys = [value(point) for point in steady]
        columns.append([float(np.interp(charge, xs, ys)) for charge in charges_ah])
    if not columns:
        return [None] * len(charges_ah)
    return [range_of([column[place] for column in columns]) for place in range(len(charges_ah))]


def _sampled(
    points: Sequence[Point],
    at: Sequence[float],
    key: Callable[[Point], float],
    value: Callable[[Point], float],
) -> list[float | None]:
    """Straight lines between points; None before the first and after the last."""
    keys = [key(point) for point in points]
    found: list[float | None] = []
    for each in at:
        right = bisect_right(keys, each)
        if right == 0 or (right == len(keys) and each > keys[-1]):
            found.append(None)
            continue
        right = min(right, len(keys) - 1)
        left = max(0, right - 1)
        share = (
            0.0 if keys[right] == keys[left] else (each - keys[left]) / (keys[right] - keys[left])
        )
        before, after = value(points[left]), value(points[right])
        found.append(before + (after - before) * share)
    return found
