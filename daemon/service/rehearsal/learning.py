"""What earlier runs' voltage and temperature teach of a tank: least squares with what is usual.

The figures of `supposed` are the unknowns, with what is usual of tanks as the first observation of
each; so no run is needed, and each makes them surer. What differs from run to run has an unknown
for each run besides, whose spread is learned too. Gauss-Newton on the logarithm of the voltage;
the covariance is that of the linear problem at its end (C. Rodgers, Inverse Methods for Atmospheric
Sounding, 2000, optimal estimation; from memory, not checked).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from daemon.service.rehearsal.supposed import (
    AMBIENT_C,
    AMBIENT_SD,
    LOSS_SD,
    USUAL,
    USUAL_SD,
    USUAL_VOLUME_L,
    VARIES,
    VARIES_SD,
    Cell,
    Facts,
    usual_loss_w_k,
)

Array = NDArray[np.float64]

ROUNDS = 6
"""Of Gauss-Newton; steps are below a thousandth by then, see the tests."""

DELTA = 0.02
"""By which a figure's logarithm is moved to see what it does."""

MODEL_SHARE = 0.01
"""Of the voltage: what the simulated tank leaves open of a real one (a choice)."""

METER_V = 0.003
"""V: steps and noise of a bench supply's voltmeter (common practice)."""

COVERING_UM, COVERING_SHARE = 1.5, 0.15
"""Below this thickness paint is being covered; by so much more the model is off (a choice)."""

POINTS_WORTH = 6.0
"""As many points of one run are worth, however many there are: they err together (a choice)."""

HUBER = 3.0
"""Standard deviations from which on a point pulls no harder (Huber)."""

PRIOR_RUNS = 3.0
"""Runs that the usual spread from run to run is worth (a choice)."""

GIVEN_SD = 0.003
"""How far current and set-point of a supply are apart, as a share, where no run tells (common
practice)."""

HEAT_J_L_K = 4000.0
"""Of a bath, near water's (common practice); the simulated tank's own."""

PATH_K = 0.3
"""K that a thermometer and the model are apart along a run (a choice)."""

AMBIENT_VARIES_K = 1.5
"""K by which the room differs from run to run (a choice)."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A span of an earlier run: its middle, s from the run's start, means in A, V and °C.

    deposited_g: the copper on the part by then. set_a: what was asked for. None was not read.
    """

    at_s: float
    current_a: float
    voltage_v: float
    deposited_g: float
    set_a: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class Past:
    """An earlier run of this bath: its parts' area and what was seen, in order."""

    run_id: int
    area_dm2: float
    seen: tuple[Seen, ...]
    deposited_um: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Learned:
    """What is believed of a tank, after so many runs.

    mean, covariance: of the figures of `supposed`; varies_sd: standard deviations from run to run
    of those in `VARIES`. given and given_sd: current counted for each ampere asked for. log_loss
    and its standard deviation: of the heat lost, W/K; ambient_c likewise. start_c: the bath's
    temperature when it was last seen, None where it never was.
    """

    mean: Array
    covariance: Array
    varies_sd: tuple[float, ...]
    given: float
    given_sd: float
    log_loss: float
    log_loss_sd: float
    ambient_c: float
    ambient_sd: float
    start_c: float | None
    runs: int
    warm_runs: int


def learn(facts: Facts, past: Sequence[Past]) -> Learned:
    """What the runs teach; what is usual where there are none."""
    volume_l = facts.volume_l or USUAL_VOLUME_L
    temperatures = [_temperatures(run, volume_l) for run in past]
    mean, covariance, varies_sd = _fit(facts, past, temperatures)
    given, given_sd = _given(past)
    log_loss, log_loss_sd, ambient_c, ambient_sd, warm = _heat(past, volume_l)
    last = [seen.temperature_c for run in past for seen in run.seen if seen.temperature_c]
    return Learned(
        mean, covariance, varies_sd, given, given_sd, log_loss, log_loss_sd,
        ambient_c, ambient_sd, last[-1] if last else None, len(past), warm,
    )  # fmt: skip


class _Problem:
    """The unknowns: the figures, then for each run what differs in it."""

    def __init__(
        self, facts: Facts, past: Sequence[Past], temperatures: Sequence[tuple[float, ...]]
    ) -> None:
        self._facts = facts
        self._past = past
        self._temperatures = temperatures
        self.figures = len(USUAL)
        self.unknowns = self.figures + len(VARIES) * len(past)

    def of_run(self, x: Array, place: int) -> Array:
        """The figures of one run."""
        found: Array = x[: self.figures].copy()
        for k, figure in enumerate(VARIES):
            found[figure] += x[self.figures + len(VARIES) * place + k]
        return found

    def log_volts(self, figures: Array, place: int) -> Array:
        """What the model says of a run: the logarithm of its voltages."""
        run = self._past[place]
        cell = Cell(self._facts, tuple(float(each) for each in figures), run.area_dm2)
        found = []
        for seen, temperature_c in zip(run.seen, self._temperatures[place], strict=True):
            cell.deposit_to(seen.deposited_g)
            found.append(log(cell.voltage_v(seen.current_a, temperature_c)))
        return np.array(found)

    def normal(self, x: Array) -> tuple[Array, Array]:
        """Normal matrix and right side of the data alone, about `x`."""
        matrix = np.zeros((self.unknowns, self.unknowns))
        right = np.zeros(self.unknowns)
        for place, run in enumerate(self._past):
            figures = self.of_run(x, place)
            there = self.log_volts(figures, place)
            jacobian = np.zeros((len(run.seen), self.unknowns))
            for k in range(self.figures):
                moved = figures.copy()
                moved[k] += DELTA
                column = (self.log_volts(moved, place) - there) / DELTA
                jacobian[:, k] = column
                if k in VARIES:
                    at = self.figures + len(VARIES) * place + VARIES.index(k)
                    jacobian[:, at] = column
            misses = np.array([log(seen.voltage_v) for seen in run.seen]) - there
            weights = _weights(run)
            # A fit that is still far off is not to be led by a few points (Huber's weights).
            far = np.maximum(1e-9, np.abs(misses) * np.sqrt(weights))
            weights = weights * np.minimum(1.0, HUBER / far)
            matrix += jacobian.T @ (weights[:, None] * jacobian)
            right += jacobian.T @ (weights * misses)
        return matrix, right


def _weights(run: Past) -> Array:
    worth = min(1.0, POINTS_WORTH / len(run.seen))
    found = []
    for seen, um in zip(run.seen, run.deposited_um, strict=True):
        variance = MODEL_SHARE**2 + (METER_V / seen.voltage_v) ** 2
        if um < COVERING_UM:
            variance += COVERING_SHARE**2
        found.append(worth / variance)
    return np.array(found)


def _fit(
    facts: Facts, past: Sequence[Past], temperatures: Sequence[tuple[float, ...]]
) -> tuple[Array, Array, tuple[float, ...]]:
    """Figures, their covariance, and how much those in `VARIES` differ from run to run."""
    figures = len(USUAL)
    varies_sd: Array = np.array(VARIES_SD, dtype=np.float64)
    if not past:
        return np.array(USUAL), np.diag(np.square(USUAL_SD)), VARIES_SD
    problem = _Problem(facts, past, temperatures)
    x: Array = np.zeros(problem.unknowns)
    x[:figures] = USUAL
    covariance: Array = np.zeros((problem.unknowns, problem.unknowns))
    for _ in range(ROUNDS):
        prior_sd = np.concatenate([USUAL_SD, *([varies_sd] * len(past))])
        prior = np.concatenate([np.array(USUAL), np.zeros(problem.unknowns - figures)])
        matrix, right = problem.normal(x)
        matrix += np.diag(prior_sd**-2.0)
        right += (prior - x) / prior_sd**2
        covariance = np.asarray(np.linalg.inv(matrix), dtype=np.float64)
        x = x + np.clip(covariance @ right, -1.0, 1.0)
        varies_sd = _varies_sd(x, covariance, len(past))
    return x[:figures], covariance[:figures, :figures], tuple(float(each) for each in varies_sd)


def _varies_sd(x: Array, covariance: Array, runs: int) -> Array:
    """How much runs differ, by the runs and by what is usual."""
    figures, number = len(USUAL), len(VARIES)
    found = []
    for k, usual in enumerate(VARIES_SD):
        at = [figures + number * place + k for place in range(runs)]
        squares = float(np.sum(x[at] ** 2 + np.diag(covariance)[at]))
        found.append(sqrt((PRIOR_RUNS * usual**2 + squares) / (PRIOR_RUNS + runs)))
    return np.array(found)


def _given(past: Sequence[Past]) -> tuple[float, float]:
    """Current for each ampere asked for, and how much that differs; what the ceiling held apart."""
    ratios = []
    for run in past:
        own = [s.current_a / s.set_a for s in run.seen if s.set_a and s.current_a > 0.95 * s.set_a]
        if own:
            ratios.append(float(np.median(own)))
    usual = PRIOR_RUNS * GIVEN_SD**2
    weight = 1.0 / len(ratios) if ratios else 1.0
    mean = sum(ratios) * weight if ratios else 1.0
    squares = sum((ratio - mean) ** 2 for ratio in ratios)
    sd = sqrt((usual + squares) / (PRIOR_RUNS + max(0, len(ratios) - 1)))
    return mean, sd


def _temperatures(run: Past, volume_l: float) -> tuple[float, ...]:
    """The bath's temperature at each point: as read, else as its own heat makes it from 22 °C."""
    found, now_c, last_s = [], AMBIENT_C, 0.0
    loss, capacity = usual_loss_w_k(volume_l), HEAT_J_L_K * volume_l
    for seen in run.seen:
        heat_w = seen.current_a * seen.voltage_v
        rate = (heat_w - loss * (now_c - AMBIENT_C)) / capacity
        now_c += rate * min(seen.at_s - last_s, 3600.0)
        last_s = seen.at_s
        if seen.temperature_c is not None:
            now_c = seen.temperature_c
        found.append(round(now_c, 1))
    return tuple(found)


def _heat(past: Sequence[Past], volume_l: float) -> tuple[float, float, float, float, int]:
    """Logarithm of the heat lost and its deviation, the room and its own, and runs that told."""
    usual = np.array([log(usual_loss_w_k(volume_l)), AMBIENT_C])
    usual_sd = np.array([LOSS_SD, AMBIENT_SD])
    warm = [run for run in past if sum(s.temperature_c is not None for s in run.seen) > 2]
    rooms = len(warm)
    x = np.concatenate([usual, np.zeros(rooms)])
    prior, prior_sd = x.copy(), np.concatenate([usual_sd, np.full(rooms, AMBIENT_VARIES_K)])
    covariance = np.diag(prior_sd**2)
    for _ in range(ROUNDS if warm else 0):
        matrix, right = np.diag(prior_sd**-2.0), (prior - x) / prior_sd**2
        for place, run in enumerate(warm):
            room = x[1] + x[2 + place]
            there, seen = _path(run, x[0], room, volume_l)
            jacobian = np.zeros((len(seen), len(x)))
            jacobian[:, 0] = (_path(run, x[0] + DELTA, room, volume_l)[0] - there) / DELTA
            jacobian[:, 1] = (_path(run, x[0], room + 1.0, volume_l)[0] - there) / 1.0
            jacobian[:, 2 + place] = jacobian[:, 1]
            weight = min(1.0, POINTS_WORTH / len(seen)) / PATH_K**2
            matrix = matrix + weight * jacobian.T @ jacobian
            right = right + weight * jacobian.T @ (seen - there)
        covariance = np.linalg.inv(matrix)
        x = x + np.clip(covariance @ right, -2.0, 2.0)
    sd = np.sqrt(np.diag(covariance))
    return float(x[0]), float(sd[0]), float(x[1]), float(np.hypot(sd[1], AMBIENT_VARIES_K)), rooms


def _path(run: Past, log_loss: float, ambient_c: float, volume_l: float) -> tuple[Array, Array]:
    """A run's temperature as its heat makes it from the first one read on, and as it was read."""
    loss, capacity = float(np.exp(log_loss)), HEAT_J_L_K * volume_l
    made, read = [], []
    now_c = last_s = None
    for seen in run.seen:
        if now_c is None or last_s is None:
            now_c, last_s = seen.temperature_c, seen.at_s
            continue
        settled_c = ambient_c + seen.current_a * seen.voltage_v / loss
        now_c = settled_c + (now_c - settled_c) * float(
            np.exp(-(seen.at_s - last_s) * loss / capacity)
        )
        last_s = seen.at_s
        if seen.temperature_c is not None:
            made.append(now_c)
            read.append(seen.temperature_c)
    return np.array(made), np.array(read)
