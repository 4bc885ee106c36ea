"""One plan on one simulated tank, from the start to rest, through `step`, on no clock.

Ticks are as far apart as little changes: close while the current ramps or the voltage moves,
minutes apart on the way in between. `step` is told so by its limits, and says when an end comes, so
that no end is late.
"""

from dataclasses import dataclass, field, replace

from daemon.chemistry.electrolysis import mass_g
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.control.forecast import current_at
from daemon.control.plan import Plan
from daemon.control.protection.alarms import Change, Sign
from daemon.control.protection.causes import BATH_HOT
from daemon.control.protection.detectors.circuit import NoCurrent, Short, VoltageCeiling
from daemon.control.protection.detectors.current import OffPlan
from daemon.control.protection.detectors.thresholds import Thresholds
from daemon.control.protection.surroundings import Level
from daemon.control.protection.watch import Watch
from daemon.control.situation import (
    NOTHING_CARRIED,
    OFF,
    Carried,
    Command,
    Happening,
    Inputs,
    Limits,
    Outputs,
    Situation,
    StageOver,
)
from daemon.control.states import OPEN, Act, State
from daemon.control.step import step
from drivers.contracts import Reading
from drivers.simulator.inline import SimulatedSupply
from drivers.simulator.scenario import Scenario

COARSE_S = 600.0
"""s between two ticks at most: a bath of litres takes an hour to change by some K."""

NEAR_K, NEAR_S = 1.0, 150.0
"""Within so many K of what is too hot, s between two ticks at most: an alarm waits for the second
tick above it."""

FINE_S = 0.5
"""s between two ticks at least."""

CALM, RESTLESS = 0.006, 0.02
"""Changes of voltage or current from tick to tick, as a share: with less than the first the next
tick is twice as far, with more than the second half as far."""

RAMP_TICKS = 10
"""Ticks of a ramp."""

STALLED_S = 4 * 3600.0
"""s without a plan's end beyond its cap on time: more is a mistake."""

MOST_TICKS = 20_000


@dataclass(frozen=True, slots=True)
class Point:
    """A moment of the run: s from its start, the stage's index, A·h, A, V and °C.

    ramping: the current was on its way, or had only just come to rest.
    """

    at_s: float
    stage: int
    charge_ah: float
    current_a: float
    voltage_v: float
    temperature_c: float
    ramping: bool


@dataclass(slots=True)
class Walked:
    """How it went. `stages` are the stages that came to an end, with the moment, s from the start.

    raised: the alarms, each with its moment. energy_wh: what the cell took. true_ah and
    deposited_g: what the simulated tank itself counted.
    """

    points: list[Point] = field(default_factory=list)
    stages: list[tuple[float, StageOver]] = field(default_factory=list)
    raised: list[tuple[float, Change]] = field(default_factory=list)
    state: State = State.IDLE
    reason: str = ""
    energy_wh: float = 0.0
    true_ah: float = 0.0
    deposited_g: float = 0.0

    @property
    def duration_s(self) -> float:
        """From the start to rest, s."""
        return self.points[-1].at_s if self.points else 0.0

    @property
    def charge_ah(self) -> float:
        """What was counted in the end, A·h."""
        return self.points[-1].charge_ah if self.points else 0.0


@dataclass(frozen=True, slots=True)
class Rules:
    """What a rehearsal takes over from the tank's settings.

    given: the current that the counting meter sees for each ampere that is asked for.
    """

    limits: Limits
    thresholds: Thresholds
    doubt: MeterDoubt
    given: float = 1.0


def walk(
    plan: Plan, scenario: Scenario, rules: Rules, carried: Carried = NOTHING_CARRIED
) -> Walked:
    """Rehearse the plan; what is `carried` lies on the part, and has covered it."""
    return Walk(plan, scenario, rules, carried).to_rest()


class Walk:
    """A run under way. `situation` is that of `step`, `supply` the simulated one."""

    def __init__(
        self,
        plan: Plan,
        scenario: Scenario,
        rules: Rules,
        carried: Carried = NOTHING_CARRIED,
        seed: int = 1,
    ) -> None:
        self._rules = rules
        self._plan = plan
        self.now_s = 0.0
        self._dt_s = FINE_S
        self.supply = SimulatedSupply(lambda: self.now_s, scenario, seed, COARSE_S)
        self.supply.open()
        _cover(self.supply, plan, carried)
        self.situation = Situation(State.IDLE, 0.0)
        self.demand = OFF
        self._ramps = self._close = False
        self.watch = coarse_watch(rules.thresholds)
        self._hot = _BathHot(rules.thresholds)
        self.walked = Walked()
        self._last: Point | None = None
        # Noise is no part of the doubt here: ticks that are far apart would make much of it.
        self._start = Command(
            Act.START, "rehearsal", 1, plan, replace(rules.doubt, noise_a=0.0), carried
        )
        limits = rules.limits
        # With the longest period `step` says when an end comes, however far the next tick is.
        self._limits = replace(
            limits,
            period_s=COARSE_S,
            gap_s=3 * COARSE_S,
            lost_s=4 * COARSE_S,
            pull_in_s=0.0,
            drop_out_s=0.0,
        )
        self.tick(None)
        self._started_s = self.now_s
        self.tick(self._start)

    def closely(self, watch: Watch) -> None:
        """From now on tick as closely as it goes, with these detectors in place of the others."""
        self.watch = watch
        self._close = True
        self._dt_s = FINE_S

    @property
    def elapsed_s(self) -> float:
        """S since the start."""
        return self.now_s - self._started_s

    def to_rest(self) -> Walked:
        """Go on until nothing is under way, and say how it went."""
        self.go_on_until(self._plan.duration_cap_s + STALLED_S)
        return self.ended()

    def ended(self) -> Walked:
        """How it went until now."""
        truth, walked = self.supply.truth(), self.walked
        walked.true_ah, walked.deposited_g = truth.charge_ah, truth.deposited_g
        walked.state, walked.reason = self.situation.state, self.situation.reason or ""
        return walked

    def go_on_until(self, elapsed_s: float) -> None:
        """Go on until so long after the start, or until nothing is under way."""
        for _ in range(MOST_TICKS):
            if self.situation.state not in OPEN or self.situation.state is State.HELD:
                return
            if self.elapsed_s >= elapsed_s:
                return
            self.tick(None, by_s=elapsed_s + self._started_s)

    def tick(self, command: Command | None, by_s: float | None = None) -> list[Happening]:
        """One tick, and the moment of the next, which is not after `by_s`."""
        reading = self._reading()
        signs = self.watch.look(self.situation, reading) + self._hot.look(
            self.supply.tank.temperature_c, self.now_s
        )
        before = self.situation
        self.situation, outputs, happenings = step(
            before,
            Inputs(self.now_s, reading, command, signs=signs),
            self._limits,
        )
        self._note(before, reading, happenings)
        self._dt_s = self._next_dt_s(reading, moved=outputs.demand != self.demand)
        self._drive(outputs)
        next_s = self.now_s + self._dt_s
        if outputs.wake_at_s is not None and outputs.wake_at_s > self.now_s:
            next_s = min(next_s, outputs.wake_at_s)
        if by_s is not None and by_s > self.now_s:
            next_s = min(next_s, by_s)
        self.now_s = next_s
        return happenings

    def _reading(self) -> Reading:
        return self.supply.read()

    def _drive(self, outputs: Outputs) -> None:
        """Hand the demand on to the supply.

        A ramp is a stair of very small steps in the daemon. Here, where steps are far apart, the
        supply moves evenly to where the ramp is at the next tick.
        """
        before, demand = self.demand, outputs.demand
        self.demand = demand
        supply, ahead_a = self.supply, self._ramp_ahead_a()
        if ahead_a is not None:
            self._ramps = True
            reached_a = supply.bench.supply.current_a
            supply.bench.supply.slew_a_per_s = max(1e-9, abs(ahead_a - reached_a) / self._dt_s)
            supply.set_points(ahead_a, demand.voltage_v)
        elif demand != before or self._ramps:
            self._ramps = False
            supply.bench.supply.slew_a_per_s = supply.bench.supply.parameters.slew_a_per_s
            if demand.output_on:
                supply.set_points(demand.current_a * self._rules.given, demand.voltage_v)
        if demand.output_on is not before.output_on:
            supply.output(demand.output_on)

    def _ramp_ahead_a(self) -> float | None:
        """What the stage's ramp asks the supply for at the next tick, A; None without a ramp."""
        situation, progress = self.situation, self.situation.progress
        if progress is None or situation.wind_down is not None or not self.demand.output_on:
            return None
        stage = self._plan.stages[progress.stage]
        if progress.stage_elapsed_s >= stage.ramp_s:
            return None
        then_s = progress.stage_elapsed_s + self._dt_s
        return current_at(stage, progress.stage_from_a, then_s) * self._rules.given

    def _note(self, before: Situation, reading: Reading, happenings: list[Happening]) -> None:
        walked, situation = self.walked, self.situation
        for happening in happenings:
            if isinstance(happening, StageOver):
                walked.stages.append((self.elapsed_s, happening))
            elif isinstance(happening, Change) and happening.what == "raised":
                walked.raised.append((self.elapsed_s, happening))
        count, progress = situation.count, situation.progress
        if count is None or progress is None or reading.current_a is None:
            return
        if before.state not in OPEN:
            return
        stage = self._plan.stages[progress.stage]
        point = Point(
            self.elapsed_s,
            progress.stage,
            count.charge_ah,
            reading.current_a,
            reading.voltage_v or 0.0,
            self.supply.tank.temperature_c,
            progress.stage_elapsed_s <= stage.ramp_s + 2 * FINE_S,
        )
        last = self._last
        if last is not None:
            mean_w = (last.current_a * last.voltage_v + point.current_a * point.voltage_v) / 2
            walked.energy_wh += mean_w * (point.at_s - last.at_s) / 3600.0
        self._last = point
        walked.points.append(point)

    def _next_dt_s(self, reading: Reading, *, moved: bool) -> float:
        """How far the next tick may be, by what has changed since the last one."""
        situation, progress = self.situation, self.situation.progress
        if self._close or progress is None or situation.wind_down is not None:
            return FINE_S
        stage = self._plan.stages[progress.stage]
        if progress.stage_elapsed_s < stage.ramp_s:
            left_s = stage.ramp_s - progress.stage_elapsed_s
            return max(FINE_S, min(stage.ramp_s / RAMP_TICKS, left_s, COARSE_S))
        points = self.walked.points
        if moved or len(points) < 2:
            return FINE_S
        last_v, voltage_v = points[-2].voltage_v, points[-1].voltage_v
        changed = abs(voltage_v - last_v) / max(voltage_v, 1e-3)
        last_a, current_a = points[-2].current_a, points[-1].current_a
        changed = max(changed, abs(current_a - last_a) / max(current_a, 1e-3))
        dt_s = self._dt_s
        if changed > RESTLESS:
            dt_s = max(FINE_S, dt_s / 2)
        elif changed < CALM:
            dt_s = min(COARSE_S, 2 * dt_s)
        if self.supply.tank.temperature_c > self._rules.thresholds.bath_hot_c - NEAR_K:
            dt_s = min(NEAR_S, dt_s)
        below_v = stage.until.cell_voltage_below_v
        if below_v is None or reading.voltage_v is None:
            return dt_s
        return min(dt_s, self._until_below_s(below_v, voltage_v, last_v - voltage_v))

    def _until_below_s(self, below_v: float, voltage_v: float, fell_v: float) -> float:
        """Half the time until the voltage meets the stage's limit, as it falls; 1 s below it."""
        if voltage_v < below_v:
            return 1.0
        if fell_v <= 0.0:
            return COARSE_S
        points = self.walked.points
        passed_s = points[-1].at_s - points[-2].at_s
        return max(1.0, 0.5 * passed_s * (voltage_v - below_v) / fell_v)


def coarse_watch(thresholds: Thresholds) -> Watch:
    """The detectors whose judgement holds however far apart readings are.

    What the cell learns, and a meter that repeats itself, are judged by readings close together.
    """
    return Watch(
        (
            Short(thresholds),
            NoCurrent(thresholds),
            OffPlan(thresholds),
            VoltageCeiling(thresholds),
        )
    )


class _BathHot:
    """The bath too hot, as a thermometer in it would tell, whether there is one or not."""

    def __init__(self, thresholds: Thresholds) -> None:
        self._most_c = thresholds.bath_hot_c
        self._level = Level(
            thresholds.bath_hot_c,
            thresholds.bath_hot_c - thresholds.bath_deadband_k,
            thresholds.bath_on_s,
            thresholds.bath_on_s,
        )

    def look(self, temperature_c: float, now_s: float) -> tuple[Sign, ...]:
        if not self._level.seen(temperature_c, now_s):
            return ()
        seen = f"{temperature_c:.1f} °C; at most {self._most_c:.1f} °C is wanted"
        return (Sign(BATH_HOT, seen, {"temperature_c": temperature_c}),)


def _cover(supply: SimulatedSupply, plan: Plan, carried: Carried) -> None:
    """Put on the parts what an earlier run has put there."""
    done_ah = carried.charge_ah + (carried.gap_least_ah + carried.gap_greatest_ah) / 2
    if done_ah <= 0.0:
        return
    parts = supply.tank.parts
    copper_g = mass_g(plan.metal, done_ah)
    for part in parts:
        part.deposit(copper_g * part.area_dm2 / sum(each.area_dm2 for each in parts))
