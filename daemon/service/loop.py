"""The loop's one cycle: what came in goes through `step`, what comes out goes to its places."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from daemon.chemistry.electrolysis import mass_g
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.clock import Clock
from daemon.control.obey import refusal
from daemon.control.panel import Panel
from daemon.control.protection.alarms import Change
from daemon.control.situation import (
    OFF,
    AlarmAct,
    Command,
    Demand,
    Event,
    Happening,
    Inputs,
    Limits,
    Outputs,
    Run,
    RunOver,
    Situation,
    StageOver,
)
from daemon.control.states import OPEN, Act, State
from daemon.control.step import step
from daemon.control.wind_down import OUTPUT_DID_NOT_STOP
from daemon.record.entries import CountedBy, Entry, Noted, RunEnded, RunOpened, Sample, StageEnded
from daemon.service.devices.meter_worker import Seen, Unread
from daemon.service.devices.pins import Pins
from daemon.service.devices.ripples import Ripples, RippleSeen
from daemon.service.devices.supply_worker import Missed, News, Trouble
from daemon.service.settings import SUPPLY
from daemon.service.wall import WallWatch
from drivers.contracts import Reading, Temperature

TEMPERATURE_OLD_S = 60.0
"""s after which a temperature is not recorded any more. A bath takes longer to change by 0.1 °C."""

LOOK_EVERY_S = 1.0
"""s. How often the wall clock is looked at, and whether the meters agree."""

Heard = News | Seen | Unread | RippleSeen
"""All that devices tell."""


class SupplyLink(Protocol):
    """What the loop needs of a supply's worker."""

    def demand(self, demand: Demand) -> None:
        """Have the supply do this."""

    def read_at(self, monotonic_s: float) -> None:
        """Take a reading at this moment too."""


@dataclass(frozen=True, slots=True)
class Start:
    """What a start needs besides the person's act: the text of the plan goes into the record."""

    command: Command
    text: str


@dataclass(frozen=True, slots=True)
class Origin:
    """What this daemon's runs come from: its bath, the machine's boot, and how its clock is set."""

    bath: str
    boot_id: str
    clock_synchronised: Callable[[], bool | None]


@dataclass(frozen=True, slots=True)
class View:
    """What the loop lets others see, after each cycle.

    bath_charge_ah: the bath's charge without the run under way, A·h. started: the wall time at
    which the run began.
    """

    situation: Situation
    bath_charge_ah: float
    started: datetime | None


class Loop:
    """Holds the situation between cycles. One thread calls `cycle`; any may look at `view`.

    `panel` brings the meters together. `put` hands an entry to the record and never waits.
    `bath_charge_ah` is what the record knows of the bath at the start, A·h. `pins` are the
    contactor and the interlocks, if there are any.
    """

    def __init__(
        self,
        clock: Clock,
        link: SupplyLink,
        panel: Panel,
        put: Callable[[Entry], None],
        limits: Limits,
        origin: Origin,
        bath_charge_ah: float,
        pins: Pins | None = None,
    ) -> None:
        self._pins = Pins() if pins is None else pins
        self._clock = clock
        self._link = link
        self._panel = panel
        self._temperatures: dict[str, Temperature] = {}
        self._ripples = Ripples()
        self._put = put
        self._limits = limits
        self._origin = origin
        self._wall = WallWatch()
        self._look_at_s = 0.0
        self._demand = OFF
        self._trouble: str | None = None
        self.view = View(Situation(State.IDLE, clock.monotonic_s()), bath_charge_ah, None)
        self.wake_at_s: float | None = None

    @property
    def situation(self) -> Situation:
        """The situation after the last cycle."""
        return self.view.situation

    def note(self, event: Event) -> None:
        """Put an event into the record that happened outside of any run."""
        self._record(event, None, self._clock.utc(), self._clock.monotonic_s())

    @property
    def doubt(self) -> MeterDoubt:
        """What is not known of the meter that counts."""
        return self._panel.facts.doubt

    @property
    def temperatures(self) -> Mapping[str, Temperature]:
        """The newest reading of each thermometer."""
        return self._temperatures

    @property
    def ripples(self) -> Mapping[str, RippleSeen]:
        """The newest look at each meter's ripple."""
        return self._ripples.newest

    def refusal(self, act: Act) -> str | None:
        """Why a person's act is not possible now; None if it is."""
        now_s = self._clock.monotonic_s()
        refused = refusal(self.situation, act, now_s, self._limits)
        if refused is None and act in (Act.START, Act.RESUME):
            refused = self._trouble or self._silence(now_s)
        return refused

    def cycle(
        self,
        news: Heard | None = None,
        command: Command | Start | None = None,
        attend: AlarmAct | None = None,
    ) -> None:
        """One complete cycle with what has come in since the last."""
        now_s, utc = self._clock.monotonic_s(), self._clock.utc()
        act = command.command if isinstance(command, Start) else command
        reading = self._reading(news)
        before = self.situation
        inputs = self._inputs(now_s, news, reading, act, attend)
        situation, outputs, happenings = step(before, inputs, self._limits)
        self._drive(outputs, again=self._is_new_trouble(news, inputs) or _still_on(happenings))
        started = self.view.started
        if isinstance(command, Start) and situation.run is not before.run:
            started = utc
            self._record_start(command, situation.run, utc)
        bath_charge_ah = self.view.bath_charge_ah
        if before.state in OPEN and situation.state not in OPEN and situation.count is not None:
            # As the ledger does: what was counted. The gaps' bounds stand beside it there.
            bath_charge_ah += own_charge_ah(situation)
        self.view = View(situation, bath_charge_ah, started)
        # A reading that `step` passed over is none.
        if before.state in OPEN and reading is not None and situation.reading is reading:
            self._record_reading(reading, before.demand.current_a)
        if isinstance(news, Trouble):
            happenings.append(Event("trouble", news.text))
        if isinstance(news, Missed):
            happenings.append(Event("reply missing", news.text))
        if isinstance(news, Unread):
            happenings.append(Event("meter unread", news.text, {"meter": news.name}))
        if isinstance(news, RippleSeen):
            high = self._ripples.take(news, running=situation.state is State.RUNNING)
            happenings += [high] if high is not None else []
        if now_s >= self._look_at_s:
            self._look_at_s = now_s + LOOK_EVERY_S
            happenings.extend(self._seen_now_and_then(now_s, utc))
        under_way = before.state in OPEN or situation.state in OPEN
        for happening in happenings:
            self._record(happening, situation.run if under_way else None, utc, now_s)
        if not under_way:
            self._panel.settle()
        if outputs.contactor_closed:
            self._pins.beat()  # last of all: only a cycle that was complete is worth a beat

    def _inputs(
        self,
        now_s: float,
        news: Heard | None,
        reading: Reading | None,
        act: Command | None,
        attend: AlarmAct | None,
    ) -> Inputs:
        """All that `step` is to know. An act meets the loops as its `refusal` has seen them."""
        if isinstance(news, Trouble):
            self._trouble = news.text
        elif isinstance(news, Reading):
            self._trouble = None
        trouble = self._trouble or self._silence_under_current(now_s) or self._pins.trouble()
        pins = self._pins.look(now_s) if act is None else self._pins.seen
        return Inputs(
            now_s,
            reading,
            act,
            trouble,
            pins.open_loops,
            pins.auxiliary_closed,
            alarm_act=attend,
        )

    def _is_new_trouble(self, news: Heard | None, inputs: Inputs) -> bool:
        return isinstance(news, Trouble) or (inputs.trouble is not None and self._trouble is None)

    def _drive(self, outputs: Outputs, *, again: bool) -> None:
        """Hand on what has changed; "off" `again` after trouble, and while the output is still on.

        A worker that has met with trouble switches nothing on before it has heard that.
        """
        if not outputs.contactor_closed:
            self._pins.rest()
        if again or outputs.demand != self._demand:
            self._demand = outputs.demand
            self._link.demand(outputs.demand)
        if outputs.wake_at_s != self.wake_at_s:
            self.wake_at_s = outputs.wake_at_s
            if outputs.wake_at_s is not None:
                self._link.read_at(outputs.wake_at_s)

    def _reading(self, news: Heard | None) -> Reading | None:
        """The reading to count that the news brings, if it does."""
        if isinstance(news, Reading):
            return self._panel.take(SUPPLY, news) or self._stand_in()
        if not isinstance(news, Seen):
            return None
        if isinstance(news.value, Temperature):
            self._temperatures[news.name] = news.value
            return None
        return self._panel.take(news.name, news.value)

    def _stand_in(self) -> Reading | None:
        """The supply's own reading where the counting meter is lost and the current has to go.

        Nothing is counted by it but a gap; it may show that the current is gone.
        """
        situation, counting = self.situation, self._panel.newest.get(self._panel.counting)
        if counting is None or situation.wind_down is None or situation.demand.output_on:
            return None
        supply = self._panel.newest[SUPPLY]
        age_s = supply.monotonic_s - counting.monotonic_s
        return supply if age_s > self._limits.lost_s else None

    def _silence_under_current(self, now_s: float) -> str | None:
        """Why a supply that shall give current is lost while another meter counts; None if not.

        Nobody could stop such a run. Where the supply's own meter counts, `step` sees to it.
        """
        if self._panel.counting == SUPPLY or not self._demand.output_on:
            return None
        return self._silence(now_s)

    def _silence(self, now_s: float) -> str | None:
        """Say that the supply has fallen silent; None if it has not."""
        supply = self._panel.newest.get(SUPPLY)
        if supply is None:
            return "the supply is silent: nothing was read from it yet"
        age_s = now_s - supply.monotonic_s
        if age_s <= self._limits.lost_s:
            return None
        return f"the supply is silent: its newest reading is {age_s:.1f} s old"

    def _seen_now_and_then(self, now_s: float, utc: datetime) -> list[Event]:
        """What need not be looked for in each cycle: clock steps, and meters that disagree."""
        events = []
        for apart in self._panel.disagreements():
            figures = {apart.counting: apart.counting_a, apart.other: apart.other_a}
            events.append(Event("meters disagree", str(apart), {**figures, "u_a": apart.u_a}))
        stepped_s = self._wall.stepped_s(now_s, utc)
        if stepped_s is not None:
            text = f"the wall clock was set by {stepped_s:+.1f} s"
            events.append(Event("clock stepped", text, {"stepped_s": stepped_s}))
        return events

    def _record_start(self, start: Start, run: Run | None, utc: datetime) -> None:
        if run is None:
            return
        self._put(
            RunOpened(
                run_id=run.run_id,
                bath=self._origin.bath,
                title=run.plan.title,
                plan=start.text,
                metal=run.plan.metal.symbol,
                area_dm2=run.plan.area_dm2,
                target_um=run.plan.target_um,
                who=start.command.who,
                utc_ms=_ms(utc),
                monotonic_s=run.started_s,
                boot_id=self._origin.boot_id,
                clock_synchronised=self._origin.clock_synchronised(),
                counted_by=self._counted_by(),
            )
        )

    def _counted_by(self) -> CountedBy:
        facts = self._panel.facts
        correction = facts.correction
        return CountedBy(
            self._panel.counting,
            correction.gain,
            correction.offset_a,
            facts.calibration_id,
            facts.doubt,
        )

    def _record_reading(self, reading: Reading, set_current_a: float) -> None:
        run, count = self.situation.run, self.situation.count
        if run is None or count is None or reading.monotonic_s < run.started_s:
            return
        self._put(
            Sample(
                run.run_id,
                reading.monotonic_s - run.started_s,
                reading.current_a,
                reading.voltage_v,
                set_current_a,
                count.charge_ah - run.carried.charge_ah,
                self._temperature_c(reading.monotonic_s),
            )
        )

    def _temperature_c(self, now_s: float) -> float | None:
        """The bath's temperature, °C: of several thermometers the one whose name says so."""
        names = sorted(self._temperatures, key=lambda name: "bath" not in name)
        if not names or now_s - self._temperatures[names[0]].monotonic_s > TEMPERATURE_OLD_S:
            return None
        return self._temperatures[names[0]].temperature_c

    def _record(self, happening: Happening, run: Run | None, utc: datetime, now_s: float) -> None:
        if isinstance(happening, Event):
            run_id = run.run_id if run is not None else None
            entry: Entry = Noted(
                run_id, happening.kind, happening.text, _ms(utc), now_s, happening.data
            )
        elif isinstance(happening, Change):
            entry = _alarm_entry(happening, run, utc, now_s)
        elif run is None:
            return
        elif isinstance(happening, StageOver):
            entry = _stage_entry(happening, run, now_s)
        else:
            entry = _end_entry(happening, run, self.situation, utc, now_s)
        self._put(entry)


def own_charge_ah(situation: Situation) -> float:
    """The charge that the run itself has passed through the bath, A·h; 0 without one."""
    run, count = situation.run, situation.count
    return 0.0 if run is None or count is None else count.charge_ah - run.carried.charge_ah


def _alarm_entry(change: Change, run: Run | None, utc: datetime, now_s: float) -> Noted:
    alarm = change.alarm
    text = f"alarm {alarm.number} {change.what}: {alarm.cause}: {alarm.seen}"
    run_id = None if run is None else run.run_id
    return Noted(run_id, "alarm", text, _ms(utc), now_s, alarm.figures)


def _stage_entry(stage: StageOver, run: Run, now_s: float) -> StageEnded:
    return StageEnded(
        run_id=run.run_id,
        index=stage.index,
        name=stage.name,
        started_s=stage.started_s - run.started_s,
        ended_s=now_s - run.started_s,
        charge_ah=stage.charge_ah,
        ended_by=stage.ended_by,
    )


def _end_entry(
    over: RunOver, run: Run, situation: Situation, utc: datetime, now_s: float
) -> RunEnded:
    count, progress = situation.count, situation.progress
    if count is None or progress is None:
        raise ValueError("a run that ends has a count and a progress")
    best_ah, carried = count.best_ah, run.carried
    return RunEnded(
        run_id=run.run_id,
        state=over.state.value,
        reason=over.reason,
        utc_ms=_ms(utc),
        elapsed_s=now_s - run.started_s,
        running_s=progress.running_s,
        charge_ah=count.charge_ah - carried.charge_ah,
        gap_least_ah=count.gap_least_ah - carried.gap_least_ah,
        gap_greatest_ah=count.gap_greatest_ah - carried.gap_greatest_ah,
        mass_g=mass_g(run.plan.metal, best_ah, run.plan.efficiency),
        thickness_um=best_ah * run.um_per_ah,
    )


def _still_on(happenings: list[Happening]) -> bool:
    return any(isinstance(h, Event) and h.kind == OUTPUT_DID_NOT_STOP for h in happenings)


def _ms(utc: datetime) -> int:
    return round(utc.timestamp() * 1000)
