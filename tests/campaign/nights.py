"""Nights of the detection campaign: each is drawn from its kind and its seed, and run at once.

A night is a run on the simulated tank with everything random that differs between workshops, and,
but for the fault-free kind, one fault at a random moment. It goes through the real `Watch` and
`step` on a virtual clock. `Night(kind, seed)` is the whole of it: the same two give the same night.
"""

from dataclasses import dataclass, field, replace
from math import exp, sqrt
from random import Random

from daemon.chemistry.metals import metal_named
from daemon.control.plan import Plan, Stage, Until
from daemon.control.protection import causes as c
from daemon.control.protection.alarms import Change
from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.electrical import electrical_detectors
from daemon.control.protection.detectors.learned_cell import LearnedCell
from daemon.control.protection.detectors.thresholds import Thresholds
from daemon.control.protection.effects import DEFAULT_TABLE, Stop
from daemon.control.protection.watch import Watch
from daemon.control.situation import OFF, Command, Inputs, Limits, Situation
from daemon.control.states import OPEN, Act, State
from daemon.control.step import step
from drivers.contracts import Reading
from drivers.simulator.inline import SimulatedSupply
from drivers.simulator.parameters import BathParameters, PartParameters, SupplyParameters
from drivers.simulator.scenario import Scenario, parse_event
from drivers.simulator.tank import Tank

COPPER = metal_named("Cu(II)")
START_S = 1000.0
STEADY_S = 30.0
PLAIN_V = 0.02
"""V: two of the last digits of the coarsest meter that is drawn."""
SOUND, FROZEN, SPIKE = "fault-free", "frozen readings", "spike"


@dataclass(frozen=True)
class Kind:
    """A kind of fault: the causes that tell it rightly, and how long they may take, s."""

    causes: frozenset[str]
    patience_s: float
    parts: int | None = None


KINDS = {
    "short": Kind(frozenset({c.SHORT}), 20.0),
    "open load": Kind(frozenset({c.OPEN_CIRCUIT}), 20.0),
    SPIKE: Kind(frozenset({c.SPIKE, c.OVER_CURRENT}), 20.0),
    "lost reading": Kind(frozenset({c.READING_LOST}), 30.0),
    "output drop": Kind(frozenset({c.OUTPUT_DROPPED}), 20.0),
    FROZEN: Kind(frozenset({c.READING_FROZEN}), 1200.0),
    "part lost, 1 of 2": Kind(frozenset({c.PART_LOST}), 60.0, 2),
    "part lost, 1 of 4": Kind(frozenset({c.PART_LOST}), 60.0, 4),
    "part lost, 1 of 8": Kind(frozenset({c.PART_LOST}), 60.0, 8),
    "part lost, 1 of 20": Kind(frozenset({c.PART_LOST}), 60.0, 20),
    "whisker": Kind(frozenset({c.WHISKER}), 120.0),
    "bad contact": Kind(frozenset({c.BAD_CONTACT}), 120.0),
    "drift": Kind(frozenset({c.VOLTAGE_DRIFT}), 3 * 3600.0),
    SOUND: Kind(frozenset(), 0.0),
}

SLOW = {"drift", SOUND}
"""Kinds that take hours, with a reading a second or less."""


@dataclass
class Outcome:
    """How a night ended: what was raised before the fault, what first after it, and when.

    before: moments from the start in s, causes, and what was seen. after_s: from the fault to
    output off where the cause stops the run, else to the alarm. steady: the set-point did not move
    from half a minute before the fault on. step_v: the fault's step of the voltage at the
    same current, V. stopped: the run was stopped before the fault. came: what the fault does came
    about; a spike does not where the voltage ceiling lets less than half of it flow.
    """

    kind: str
    seed: int
    before: list[tuple[float, str, str]] = field(default_factory=list)
    first: str | None = None
    seen: str = ""
    after_s: float | None = None
    hours: float = 0.0
    ticks: int = 0
    steady: bool = True
    stopped: bool = False
    came: bool = True
    event: dict[str, object] = field(default_factory=dict)
    step_v: float = 0.0

    @property
    def is_plain(self) -> bool:
        """Whether nothing hides the fault: a set-point at rest, and a step that meters can show."""
        steps = self.kind.startswith("part lost") or self.kind in ("whisker", "bad contact")
        return self.steady and (not steps or abs(self.step_v) >= PLAIN_V)

    @property
    def is_right(self) -> bool:
        """Whether the first alarm after the fault named it."""
        return self.first in KINDS[self.kind].causes


class Unsteady:
    """What a meter sees besides the tank's mean: ripple, and the voltage's slow restlessness.

    Ripple beats against the readings, so that each has a random phase of it; current and voltage
    have it together. Bubbles and moving parts make the voltage wander, with a memory of seconds.
    """

    def __init__(self, noise: Random, ripple: float, wander: float, memory_s: float):
        self._noise = noise
        self._ripple, self._wander, self._memory_s = sqrt(2.0) * ripple, wander, memory_s
        self._away = 0.0
        self._last_s = START_S

    def on(self, reading: Reading, step_v: float, step_a: float) -> Reading:
        current_a, voltage_v = reading.current_a, reading.voltage_v
        if current_a is None or voltage_v is None or current_a < 0.02:
            return reading
        left = exp((self._last_s - reading.monotonic_s) / self._memory_s)
        self._last_s = reading.monotonic_s
        fresh = self._noise.gauss(0.0, self._wander)
        self._away = left * self._away + sqrt(1.0 - left * left) * fresh
        swing = self._ripple * self._noise.uniform(-1.0, 1.0)
        voltage_v *= 1.0 + 0.8 * swing + self._away
        current_a *= 1.0 + swing
        return Reading(
            reading.monotonic_s,
            round(round(current_a / step_a) * step_a, 9),
            round(round(voltage_v / step_v) * step_v, 9),
            reading.mode,
            reading.output_on,
        )


class Night:
    """One night, drawn and ready to run."""

    def __init__(self, kind: str, seed: int):
        self.kind, self.seed = kind, seed
        self.rule = KINDS[kind]
        draw = self.draw = Random(f"{kind} {seed}")
        slow = kind in SLOW
        self.period_s = draw.choice((1.0, 1.0, 2.0) if slow else (0.05, 0.1, 0.2, 0.5, 1.0, 1.0))
        self.scenario = self._scenario()
        self.plan = self._plan()
        if slow:
            self.fault_s = draw.uniform(300.0, 3600.0)
            self.end_s = draw.uniform(3600.0, 3 * 3600.0)
        else:
            self.fault_s = draw.uniform(90.0, 120.0 + 700.0 * self.period_s)
            self.end_s = self.fault_s + self.rule.patience_s
        if kind == "drift":
            self.end_s = self.fault_s + self.rule.patience_s

    def _between(self, low: float, high: float) -> float:
        """A value between two, each power of ten as likely as the next."""
        return low * (high / low) ** self.draw.random()

    def _scenario(self) -> Scenario:
        draw = self.draw
        count = self.rule.parts or draw.choice((1, 1, 2, 4, 8, 20))
        area_dm2 = self._between(0.5, 6.0)
        self.density = draw.uniform(1.0, 3.0)
        self.current_a = self.density * area_dm2
        self.painted = draw.random() < 0.6
        bath = BathParameters(
            volume_l=draw.uniform(5.0, 50.0),
            conductivity_ms_per_cm=draw.uniform(120.0, 300.0),
            conductivity_percent_per_k=draw.uniform(1.0, 2.0),
            temperature_c=draw.uniform(19.0, 29.0),
            ambient_c=draw.uniform(16.0, 28.0),
            electrode_gap_cm=draw.uniform(8.0, 20.0),
            anode_area_dm2=area_dm2 * draw.uniform(1.0, 2.0),
            diffusion_layer_um=draw.uniform(15.0, 60.0),
            exchange_a_per_dm2=self._between(0.03, 1.0),
            lead_resistance_ohm=draw.uniform(0.01, 0.05) / max(1.0, area_dm2),
        )
        paint = self._between(0.1, 60.0) if self.painted else 0.0
        self.covering_um = [draw.uniform(0.1, 0.5) for _ in range(count)]
        parts = tuple(
            PartParameters(
                area_dm2=area_dm2 / count * draw.uniform(0.8, 1.2),
                paint_ohm_per_sq=paint,
                paint_squares=draw.uniform(1.0, 4.0),
                covering_um=covering_um,
            )
            for covering_um in self.covering_um
        )
        noise_a = self.current_a * self._between(2e-4, 5e-3)
        step_a, step_v = draw.choice((0.001, 0.01)), draw.choice((0.001, 0.01))
        supply = SupplyParameters(
            current_a=40.0,
            voltage_v=60.0,
            measured_current_step_a=step_a,
            measured_voltage_step_v=step_v,
            current_noise_a=noise_a,
            voltage_noise_v=self._between(3e-4, 1e-2),
            slew_a_per_s=self._between(1.0, 50.0),
        )
        self.gone_a = max(0.02, 6.0 * noise_a + step_a)
        self.unsteady = Unsteady(
            Random(f"unsteady {self.kind} {self.seed}"),
            self._between(1e-4, 1e-2),
            self._between(1e-4, 5e-3),
            draw.uniform(0.5, 5.0),
        )
        bare = tuple(part.model_copy(update={"paint_ohm_per_sq": 0.0}) for part in parts)
        self.full_v = Tank(bath, bare).voltage_at(self.current_a)
        return Scenario(bath=bath, parts=parts, supply=supply)

    def _plan(self) -> Plan:
        draw, full_a = self.draw, self.current_a
        self.tight = self.kind != SPIKE and draw.random() < 0.15
        ceiling_v = self.full_v * draw.uniform(*((0.7, 0.95) if self.tight else (1.6, 3.0)))
        if self.kind == SPIKE:
            ceiling_v = min(20.0 * self.full_v, 40.0)
        stages = []
        if self.painted:
            low_a = full_a * draw.uniform(0.15, 0.4)
            covered = Until(thickness_um=3.0 * max(self.covering_um))
            stages.append(Stage("start", low_a, max(ceiling_v, 4.0), 60.0, covered))
        ramp_s = draw.choice((0.0, 10.0, 60.0, 300.0))
        until = Until()
        if draw.random() < 0.4:
            until = Until(duration_s=ramp_s + draw.uniform(200.0, 3600.0))
        stages.append(Stage("plate", full_a, ceiling_v, ramp_s, until))
        if until.duration_s is not None:
            other_a = full_a * draw.uniform(0.5, 1.2)
            stages.append(Stage("finish", other_a, 1.5 * ceiling_v, draw.choice((0.0, 30.0))))
        area_dm2 = sum(part.area_dm2 for part in self.scenario.parts)
        return Plan("night", COPPER, area_dm2, 1.0, 1e6, 1e6, 1e9, tuple(stages))

    def fault(self, cell_ohm: float) -> dict[str, object] | None:
        """The event in the simulator's words; None for a fault of the line to the meter.

        `cell_ohm` is the cell's voltage over its current at that moment: whiskers and contacts are
        drawn as shares of it.
        """
        draw, parts = self.draw, len(self.scenario.parts)
        if self.kind.startswith("part lost"):
            return {"do": "lose_part", "part": draw.randint(1, parts)}
        share = draw.uniform(0.05, 0.30)
        contact = self._between(0.08, 0.6)
        events: dict[str, dict[str, object]] = {
            "short": {"do": "short", "resistance_ohm": cell_ohm * draw.uniform(0.005, 0.05)},
            "open load": {"do": "open_load"},
            SPIKE: {"do": "surge", "current_a": 0.6 + self.current_a * draw.uniform(0.9, 3.0)},
            "output drop": {"do": "output_drop"},
            FROZEN: {"do": "freeze_readings"},
            "whisker": {"do": "whisker", "resistance_ohm": cell_ohm * (1.0 - share) / share},
            "bad contact": {"do": "bad_contact", "resistance_ohm": cell_ohm * contact},
            "drift": {
                "do": "drift",
                "rate_v_per_h": self.full_v * self._between(0.25, 3.0),
                "limit_v": 3.0 * self.full_v,
            },
        }
        return events.get(self.kind)

    def run(self) -> Outcome:
        """The night from start to end, or to the first alarm after the fault."""
        return _Run(self).outcome


class _Run:
    """What a night needs while it runs."""

    def __init__(self, night: Night):
        self.night, period_s = night, night.period_s
        self.limits = Limits(
            period_s=period_s,
            gap_s=max(1.0, 2.5 * period_s),
            lost_s=max(3.0, 5.0 * period_s),
            gone_a=night.gone_a,
        )
        self.now_s = START_S
        self.supply = SimulatedSupply(lambda: self.now_s, night.scenario, night.seed)
        self.supply.open()
        thresholds = Thresholds().of_meter(night.gone_a)
        cell = LearnedCell(CellThresholds().of_meter(night.gone_a))
        self.watch = Watch((*electrical_detectors(thresholds), cell))
        self.situation = Situation(State.IDLE, self.now_s)
        self.demand = OFF
        self.ticks = 0
        self.fault_at_s: float | None = None
        self.moved_s = START_S
        self.silent = False
        self.last: Reading | None = None
        self.outcome = Outcome(night.kind, night.seed)
        self._tick(None)
        self._tick(Act.START)
        while self._goes_on():
            self._tick(None)
        self.outcome.hours = (self.now_s - START_S) / 3600.0
        self.outcome.ticks = self.ticks

    def _goes_on(self) -> bool:
        outcome = self.outcome
        if self.now_s - START_S >= self.night.end_s or self.situation.state not in OPEN:
            return False
        return outcome.after_s is None

    def _tick(self, act: Act | None) -> None:
        night = self.night
        due = night.kind != SOUND and self.now_s - START_S >= night.fault_s
        if due and self.fault_at_s is None:
            self._begin_fault()
        reading = self._reading()
        signs = self.watch.look(self.situation, reading)
        command = None if act is None else Command(act, "Ann", 1, night.plan)
        self.situation, outputs, happenings = step(
            self.situation, Inputs(self.now_s, reading, command, signs=signs), self.limits
        )
        for happening in happenings:
            if isinstance(happening, Change) and happening.what == "raised":
                self._raised(happening)
        if outputs.demand != self.demand:
            before, self.demand = self.demand, outputs.demand
            self._note_move()
            if self.demand.output_on:
                self.supply.set_points(self.demand.current_a, self.demand.voltage_v)
            if self.demand.output_on is not before.output_on:
                self.supply.output(self.demand.output_on)
        self._note_off()
        self.ticks += 1
        self.now_s = START_S + self.ticks * night.period_s

    def _note_move(self) -> None:
        """The set-point has moved by the plan; what a fault brings about is not meant."""
        self.moved_s = self.now_s
        if self.fault_at_s is not None and self.outcome.first is None:
            self.outcome.steady = False

    def _reading(self) -> Reading | None:
        night = self.night
        if self.silent:
            return None
        reading = self.supply.read()
        if self.fault_at_s is not None and night.kind == FROZEN and self.last is not None:
            return replace(self.last, monotonic_s=self.now_s, output_on=reading.output_on)
        supply = night.scenario.supply
        self.last = night.unsteady.on(
            reading, supply.measured_voltage_step_v, supply.measured_current_step_a
        )
        return self.last

    def _begin_fault(self) -> None:
        """Let it happen between the last reading and this one."""
        night = self.night
        self.fault_at_s = self.now_s - night.period_s * night.draw.random()
        self.outcome.steady = self.fault_at_s - self.moved_s >= STEADY_S
        bench = self.supply.bench
        bench.advance_to(self.fault_at_s)
        current_a = max(bench.supply.current_a, 1e-3)
        before_v = bench.tank.voltage_at(current_a)
        event = night.fault(before_v / current_a)
        if event is None:
            self.silent = True
            return
        bench.inject(parse_event(event))
        self.outcome.event = event
        if night.kind == SPIKE:
            half_a = self.demand.current_a + 0.5 * float(str(event["current_a"]))
            self.outcome.came = bench.tank.voltage_at(half_a) <= self.demand.voltage_v
        if not bench.tank.is_open:
            self.outcome.step_v = bench.tank.voltage_at(current_a) - before_v

    def _raised(self, change: Change) -> None:
        outcome, alarm = self.outcome, change.alarm
        if self.night.tight and alarm.cause == c.VOLTAGE_CEILING:
            return  # rightly told: this plan's ceiling holds the current below the plan's
        if self.fault_at_s is None:
            outcome.before.append((self.now_s - START_S, alarm.cause, alarm.seen))
            if DEFAULT_TABLE.row(alarm.cause).stop is not Stop.NOTHING:
                outcome.stopped = True
        elif outcome.first is None:
            outcome.first, outcome.seen = alarm.cause, alarm.seen
            if DEFAULT_TABLE.row(alarm.cause).stop is Stop.NOTHING:
                outcome.after_s = self.now_s - self.fault_at_s

    def _note_off(self) -> None:
        if (
            self.fault_at_s is None
            or self.outcome.first is None
            or self.outcome.after_s is not None
        ):
            return
        if not self.demand.output_on:
            self.outcome.after_s = self.now_s - self.fault_at_s
