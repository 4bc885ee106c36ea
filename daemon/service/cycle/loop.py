"""The loop's one cycle: what came in goes through `step`, what comes out goes to its places."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from daemon.chemistry.uncertainty import MeterDoubt
from daemon.clock import Clock
from daemon.control.obey import refusals
from daemon.control.panel import Panel
from daemon.control.protection.alarms import BUTTON, NO_ALARMS, Alarms, Change, Sign
from daemon.control.protection.causes import OUTPUT_DID_NOT_STOP
from daemon.control.protection.watch import Watch
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
    Situation,
)
from daemon.control.states import OPEN, Act, State
from daemon.control.step import step
from daemon.service.cycle.lookout import Lookout, in_the_bath
from daemon.service.cycle.scribe import Scribe, Start
from daemon.service.cycle.wall import WallWatch
from daemon.service.devices.device_settings import SUPPLY
from daemon.service.devices.meter_worker import Seen, Unread
from daemon.service.devices.pins import Pins
from daemon.service.devices.ripples import RippleSeen
from daemon.service.devices.supply_worker import Missed, News, Trouble
from daemon.service.pumps.doser import Doser, PumpAct
from daemon.service.rehearsal.foreteller import Foretold
from daemon.service.rehearsal.held_against import HeldAgainst
from daemon.service.telling.tank import tank_of
from daemon.service.telling.teller import Teller
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

    `panel` brings the meters together. `scribe` hands entries to the record and never waits.
    `watch` looks at each reading that counts, `lookout` around the cell. `bath_charge_ah` is what
    the record knows of the bath at the start, A·h. `pins` are the contactor and the interlocks, if
    there are any. `alarms` know the number of the next. `teller` tells people, if anybody is told.
    `doser` has the dosing pumps, if there are any.
    """

    def __init__(
        self,
        clock: Clock,
        link: SupplyLink,
        panel: Panel,
        scribe: Scribe,
        limits: Limits,
        bath_charge_ah: float,
        watch: Watch,
        lookout: Lookout,
        pins: Pins | None = None,
        alarms: Alarms = NO_ALARMS,
        teller: Teller | None = None,
        doser: Doser | None = None,
    ) -> None:
        self._doser = doser
        self._pins = Pins() if pins is None else pins
        self._clock = clock
        self._link = link
        self._panel = panel
        self._temperatures: dict[str, Temperature] = {}
        self._ripples: dict[str, RippleSeen] = {}
        self._scribe = scribe
        self._teller = teller
        self._watch = watch
        self._lookout = lookout
        self._around: tuple[Sign, ...] = ()
        self._limits = limits
        self._wall = WallWatch()
        self._look_at_s = 0.0
        self._demand = OFF
        self._trouble: str | None = None
        self._once: list[Sign] = []
        self._foretold = HeldAgainst()
        first = Situation(State.IDLE, clock.monotonic_s(), alarms=alarms)
        self.view = View(first, bath_charge_ah, None)
        self.wake_at_s: float | None = None

    @property
    def situation(self) -> Situation:
        """The situation after the last cycle."""
        return self.view.situation

    def note(self, event: Event) -> None:
        """Put an event into the record that happened outside of any run."""
        self._scribe.happened(event, self.situation, None, self._clock.utc())

    def raise_once(self, sign: Sign) -> None:
        """Raise an alarm for what was there, and is not there any more."""
        self._once.append(sign)

    def asked(self, who: str, where: str, what: str, detail: str, refused: str | None) -> None:
        """Put into the record who asked for what, from where, and why it was refused if it was."""
        self._scribe.asked(who, where, what, detail, refused, self._clock.utc())

    def withhold(self) -> str | None:
        """Withhold the contactor's heartbeat, as `Pins.withhold`."""
        return self._pins.withhold()

    def pump_refusal(self, act: PumpAct) -> str | None:
        """Why a person's act on a pump is not possible now; None if it is."""
        if self._doser is None:
            return "there is no [[pump]] in the settings"
        return self._doser.refusal(act, self.situation)

    def pump(self, act: PumpAct, who: str) -> None:
        """Do what a person asks of a pump and `pump_refusal` does not refuse."""
        if self._doser is not None:
            self._doser.act(act, who, self._clock.monotonic_s())
        self.cycle()

    def foretold(self, told: Foretold) -> None:
        """The run under way was foretold, or could not be; what came too late is nobody's."""
        run = self._foretold.take(told, self.situation)
        if run is not None:
            self._scribe.happened(told.event, self.situation, run, self._clock.utc())

    @property
    def bath_c(self) -> float | None:
        """The bath's temperature now, °C; None where no thermometer tells."""
        return self._temperature_c(self._clock.monotonic_s())

    @property
    def off_rehearsal(self) -> str | None:
        """What of the run under way is outside of what was foretold; None while nothing is."""
        return self._foretold.words(self.situation)

    def settled(self, added_ah: float) -> None:
        """The bath's account has got this besides what runs post to it, A·h."""
        view = self.view
        self.view = View(view.situation, view.bath_charge_ah + added_ah, view.started)

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
        return self._ripples

    def refusal(self, act: Act) -> str | None:
        """Why a person's act is not possible now; None if it is."""
        return next(iter(self.refusals(act)), None)

    def refusals(self, act: Act) -> tuple[str, ...]:
        """Each reason why a person's act is not possible now. In any thread."""
        now_s = self._clock.monotonic_s()
        found = refusals(self.situation, act, now_s, self._limits)
        why = self._trouble or self._silence(now_s)
        return (*found, why) if why and act in (Act.START, Act.RESUME) else found

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
        if self._doser is not None:
            run_ah = own_charge_ah(situation) if situation.state in OPEN else 0.0
            self._doser.turn(now_s, utc, situation, self.view.bath_charge_ah + run_ah)
        started, run = self.view.started, situation.run
        if isinstance(command, Start) and run is not None and run is not before.run:
            started = utc
            self._scribe.started(run, command, utc)
        bath_charge_ah = self.view.bath_charge_ah
        if before.state in OPEN and situation.state not in OPEN and situation.count is not None:
            # As the ledger does: what was counted. The gaps' bounds stand beside it there.
            bath_charge_ah += own_charge_ah(situation)
        self.view = View(situation, bath_charge_ah, started)
        # A reading that `step` passed over is none.
        if before.state in OPEN and reading is not None and situation.reading is reading:
            warm_c = self._temperature_c(reading.monotonic_s)
            self._scribe.counted(situation, reading, before.demand.current_a, warm_c)
        happenings += _told(news)
        if now_s >= self._look_at_s:
            self._look_at_s = now_s + LOOK_EVERY_S
            self._scribe.looked(now_s)
            happenings.extend(self._seen_now_and_then(now_s, utc))
            self._tell(situation, happenings)
        elif situation.state is not before.state or situation.alarms is not before.alarms:
            self._tell(situation, happenings)
        under_way = before.state in OPEN or situation.state in OPEN
        for happening in happenings:
            self._scribe.happened(happening, situation, run if under_way else None, utc)
        if not under_way:
            self._panel.settle()
        # Last of all: only a cycle that was complete is worth a beat.
        if outputs.contactor_closed:
            self._pins.beat()
        if self._doser is not None:
            self._doser.beat()

    def _tell(self, situation: Situation, happenings: list[Happening]) -> None:
        if self._teller is None:
            return
        changes = [each for each in happenings if isinstance(each, Change)]
        kept = () if self._doser is None else self._doser.kept
        tank = tank_of(situation, self._limits.lost_s, kept)
        self._teller.hear(changes, situation.alarms.standing, tank)

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
        bare = act is None and attend is None
        pins = self._pins.look(now_s) if bare else self._pins.seen
        if pins.acknowledge_pressed:
            attend = AlarmAct("acknowledge", BUTTON)
            self.asked(BUTTON, BUTTON, attend.what, "all alarms", None)
        seen = self._watch.look(self.situation, reading)
        signs = (*seen, *self._around, *self._once) if self._around or self._once else seen
        self._once = []
        return Inputs(
            now_s, reading, act, trouble, pins.open_loops, pins.auxiliary_closed, signs, attend
        )

    def _is_new_trouble(self, news: Heard | None, inputs: Inputs) -> bool:
        return isinstance(news, Trouble) or (inputs.trouble is not None and self._trouble is None)

    def _drive(self, outputs: Outputs, *, again: bool) -> None:
        """Hand on what has changed; "off" `again` after trouble, and while the output is still on.

        A worker that has met with trouble switches nothing on before it has heard that.
        """
        if not outputs.contactor_closed:
            self._pins.rest()
        self._pins.show(outputs.beacon, outputs.siren)
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
            counted = self._panel.take(SUPPLY, news)
            self._scribe.heard(SUPPLY, self._panel.newest[SUPPLY], self._demand.current_a)
            return counted or self._stand_in()
        if isinstance(news, RippleSeen):
            self._ripples[news.name] = news
            self._panel.saw_ripple(news.name, news.rms_share)
        if not isinstance(news, Seen):
            return None
        if isinstance(news.value, Temperature):
            self._temperatures[news.name] = news.value
            return None
        counted = self._panel.take(news.name, news.value)
        self._scribe.heard(news.name, self._panel.newest[news.name], None)
        return counted

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
        """What need not be looked for in each cycle."""
        stepped_s = self._wall.stepped_s(now_s, utc)
        in_run = self.situation.state in OPEN
        self._around = self._lookout.look(
            now_s, stepped_s, in_run, self._temperatures, self.ripples
        )
        found = self._foretold.look(self.situation, self._temperature_c(now_s))
        if stepped_s is not None:
            text = f"the wall clock was set by {stepped_s:+.1f} s"
            found.append(Event("clock stepped", text, {"stepped_s": stepped_s}))
        return found

    def _temperature_c(self, now_s: float) -> float | None:
        """The bath's temperature, °C: of several thermometers in it the first."""
        names = in_the_bath(list(self._temperatures))
        if not names or now_s - self._temperatures[names[0]].monotonic_s > TEMPERATURE_OLD_S:
            return None
        return self._temperatures[names[0]].temperature_c


def own_charge_ah(situation: Situation) -> float:
    """The charge that the run itself has passed through the bath, A·h; 0 without one."""
    run, count = situation.run, situation.count
    return 0.0 if run is None or count is None else count.charge_ah - run.carried.charge_ah


def _told(news: Heard | None) -> list[Event]:
    """What a device has told besides readings."""
    match news:
        case Trouble():
            return [Event("trouble", news.text)]
        case Missed():
            return [Event("reply missing", news.text)]
        case Unread():
            return [Event("meter unread", news.text, {"meter": news.name})]
        case _:
            return []


def _still_on(happenings: list[Happening]) -> bool:
    return any(isinstance(h, Event) and h.kind == OUTPUT_DID_NOT_STOP for h in happenings)
