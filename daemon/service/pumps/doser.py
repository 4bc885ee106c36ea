"""The dosing pumps' part in a cycle of the loop: whether each runs, and what is told of it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from daemon.bath.dosing import DoseKept
from daemon.bath.due import Dues
from daemon.clock import to_ms
from daemon.control import kept_dose
from daemon.control.dosing_pump import (
    AT_REST,
    DAY_S,
    LONGEST_BY_HAND_S,
    Dosed,
    Given,
    HandRun,
    HandRunOver,
    Hindrance,
    PumpLook,
    PumpRules,
    PumpState,
    PumpTurn,
    is_owed,
    run_by_hand,
    run_pump,
)
from daemon.control.kept_dose import Keeping, KeptDose, KeptLook
from daemon.control.protection.effects import Table
from daemon.control.situation import Situation
from daemon.control.states import OPEN
from daemon.record import pump_doses
from daemon.record.entries import Entry, Figures, Noted
from daemon.service.devices.pins import Pins
from daemon.service.pumps import forbidding
from daemon.service.pumps.dose_entries import entry_of

BY_HAND = "pump run by hand"
"""Kind of the event that tells of a person's run of a pump."""

NOT_LOOKED = Hindrance("the daemon has just started")
RUN_IS_OPEN = "a run is under way: it doses by the charge, and nobody doses beside it"


@dataclass(frozen=True, slots=True)
class PumpAct:
    """A person's act on a pump: to run it for so long, s, or, with None, to stop such a run."""

    additive: str
    for_s: float | None

    @property
    def what(self) -> str:
        """The act in words, for the record."""
        return "stop a pump" if self.for_s is None else "run a pump"


@dataclass(frozen=True, slots=True)
class PumpSeen:
    """A pump as the loop lets others see it.

    runs: its line moves. owed_ml: what charge has used up and nothing has answered. day_ml: what
    was given in the last 24 h. hindrance: why no dose is under way. by_hand: a person's run is
    under way; ran: how the last one ended. kept: a dose that somebody has to see to.
    """

    rules: PumpRules
    runs: bool = False
    owed_ml: float = 0.0
    day_ml: float = 0.0
    hindrance: Hindrance | None = None
    by_hand: bool = False
    ran: HandRunOver | None = None
    last: DoseKept | None = None
    kept: KeptDose | None = None

    @property
    def due(self) -> bool:
        """Whether a whole dose is owed."""
        return is_owed(self.rules, self.owed_ml)


@dataclass(frozen=True, slots=True)
class _Now:
    """The moment of a cycle, and what holds for every pump then."""

    now_s: float
    utc_ms: int
    situation: Situation
    charge_ah: float
    dues: Dues
    forbidden: Hindrance | None


@dataclass(frozen=True, slots=True)
class Ways:
    """What a doser tells and asks: none of it ever waits.

    put hands an entry to the record; promise gives what says whether all that was put by then is on
    the disk. dues is what the bath's account says.
    """

    put: Callable[[Entry], None]
    promise: Callable[[], Callable[[], bool]]
    dues: Callable[[], Dues]


def _never_busy() -> str | None:
    return None


class Doser:
    """All pumps of a bath. For the loop's thread; `seen` and `dues` may be asked by any.

    `pumps` are by additive the rules of each, and the name of its level's interlock. `busy`, which
    may be set once there is something to ask, says in words what else keeps all of them still.
    """

    def __init__(
        self,
        bath: str,
        pumps: Mapping[str, tuple[PumpRules, str]],
        pins: Pins,
        table: Table,
        ways: Ways,
    ) -> None:
        self._table = table
        self._pins = pins
        self._ways = ways
        self._pumps = {
            name: _Pump(bath, rules, level, pins, ways) for name, (rules, level) in pumps.items()
        }
        self.busy: Callable[[], str | None] = _never_busy

    @property
    def seen(self) -> tuple[PumpSeen, ...]:
        """The pumps as of the last cycle."""
        return tuple(pump.seen for pump in self._pumps.values())

    @property
    def kept(self) -> tuple[KeptDose, ...]:
        """The doses that pumps are kept from as of the last cycle, once they have been told."""
        return tuple(seen.kept for seen in self.seen if seen.kept is not None)

    def dues(self) -> Dues:
        """What falls due, with the doses that the account may not have yet."""
        dues = self._ways.dues()
        fresh = [dose for pump in self._pumps.values() for dose in pump.not_in(dues)]
        return dues.after(fresh) if fresh else dues

    def turn(self, now_s: float, utc: datetime, situation: Situation, charge_ah: float) -> None:
        """Have each pump do what it should by the situation; what is to stop, stops here.

        `charge_ah` is all that the bath has seen.
        """
        if not self._pumps:
            return
        keeps = forbidding.every_pump(situation, self._table, self._pins.unwell, self.busy)
        now = _Now(now_s, to_ms(utc), situation, charge_ah, self._ways.dues(), keeps)
        for pump in self._pumps.values():
            pump.turn(now)

    def beat(self) -> None:
        """Renew the permission of those that run. To be called after a complete cycle only."""
        for pump in self._pumps.values():
            pump.beat()

    def refusal(self, act: PumpAct, situation: Situation) -> str | None:
        """Why a person's act on a pump is not possible now; None if it is."""
        pump = self._pumps.get(act.additive)
        if pump is None:
            known = ", ".join(self._pumps) or "there is none in the settings"
            return f"{act.additive!r} has no pump; pumps: {known}"
        if act.for_s is None:
            return None if pump.seen.by_hand else f"the pump of {act.additive} is not run by hand"
        if not self._least_s(pump) <= act.for_s <= LONGEST_BY_HAND_S:
            return (
                f"a pump is run for {self._least_s(pump):g} to {LONGEST_BY_HAND_S:g} s, "
                f"got {act.for_s:g} s"
            )
        if pump.seen.by_hand:
            return f"the pump of {act.additive} is run by hand already"
        return pump.forbidden_by_hand(situation) or self._pins.unwell()

    def act(self, act: PumpAct, who: str, now_s: float) -> None:
        """Do what `refusal` does not refuse; the next turn begins or ends it."""
        self._pumps[act.additive].act(act, who, now_s)

    @staticmethod
    def _least_s(pump: "_Pump") -> float:
        return 4 * pump.seen.rules.drop_out_s


class _Pump:
    """One pump: what it is about, and what it has given since the daemon started."""

    def __init__(self, bath: str, rules: PumpRules, level: str, pins: Pins, ways: Ways) -> None:
        self._bath = bath
        self._rules = rules
        self._level = level
        self._pins = pins
        self._line = pins.pumps[rules.additive]
        self._ways = ways
        self._state: PumpState = AT_REST
        self._hand: HandRun | None = None
        self._hand_ends: str | None = None
        self._hand_who = ""
        self._kept: Callable[[], bool] = lambda: False
        self._begun: tuple[int, int | None] = (0, None)
        self._own: tuple[tuple[float, DoseKept], ...] = ()
        self._known: Dues | None = None
        self._fresh: tuple[DoseKept, ...] = ()
        self._given: tuple[Given, ...] = ()
        self._last: DoseKept | None = None
        self._keeping = Keeping()
        self.seen = PumpSeen(rules, hindrance=NOT_LOOKED)

    def not_in(self, dues: Dues) -> tuple[DoseKept, ...]:
        """What it has given and this account does not have yet."""
        known = {dose.begun_utc_ms for dose in dues.doses if dose.name == self._rules.additive}
        return tuple(dose for _, dose in self._own if dose.begun_utc_ms not in known)

    def turn(self, now: _Now) -> None:
        if now.dues is not self._known:
            self._learn(now)
        owed_ml = self._owed_ml(now)
        if self._hand is not None:
            ran = self._turn_by_hand(self._hand, now)
            self._see(now, self._hand is not None, owed_ml, self.seen.hindrance, ran)
            return
        forbidden = self._forbidden(now)
        look = PumpLook(now.now_s, owed_ml, self._given, forbidden, kept=self._kept())
        turn = run_pump(self._state, self._rules, look)
        if not turn.runs:
            self._line.rest()
        self._state = turn.state
        if turn.begins:
            self._tell_begun(now)
        if turn.over is not None:
            self._tell_over(turn.over, now)
        self._keep_watch(turn, owed_ml, now)
        self._see(now, turn.runs, owed_ml, turn.hindrance, self.seen.ran)

    def beat(self) -> None:
        if self.seen.runs:
            self._line.beat()

    def forbidden_by_hand(self, situation: Situation) -> str | None:
        """Why nobody may run it now; None if somebody may."""
        if situation.state in OPEN:
            return RUN_IS_OPEN
        level = self._level_low()
        return self._line.fault or (None if level is None else level.words)

    def act(self, act: PumpAct, who: str, now_s: float) -> None:
        if act.for_s is None:
            self._hand_ends = f"stopped by {who}"
            return
        self._hand, self._hand_ends, self._hand_who = HandRun(act.for_s, now_s), None, who
        self.seen = replace(self.seen, by_hand=True, ran=None)

    def _turn_by_hand(self, run: HandRun, now: _Now) -> HandRunOver | None:
        forbidden = self._hand_ends or self.forbidden_by_hand(now.situation) or self._pins.unwell()
        self._hand, over = run_by_hand(run, self._rules, now.now_s, forbidden)
        if over is None:
            return None
        self._line.rest()
        cut = "" if over.cut_short is None else f", and was cut short: {over.cut_short}"
        text = (
            f"the pump of {self._rules.additive} ran for {over.ran_s:.1f} s, "
            f"asked for by {self._hand_who}{cut}"
        )
        self._note(None, BY_HAND, text, now, {"ran_s": over.ran_s})
        return over

    def _forbidden(self, now: _Now) -> Hindrance | None:
        fault = self._line.fault
        if fault is not None:
            return forbidding.line_fails(fault)
        return self._level_low() or now.forbidden

    def _level_low(self) -> Hindrance | None:
        return None if self._pins.is_closed(self._level) else forbidding.level_low(self._level)

    def _owed_ml(self, now: _Now) -> float:
        tally = now.dues.tally(self._rules.additive)
        if tally is None:
            return 0.0
        fresh_ml = sum(dose.volume_ml for dose in self._fresh)
        return tally.open_at_ml(now.charge_ah) - fresh_ml

    def _learn(self, now: _Now) -> None:
        """Hold what it has given against an account that is new, and take over what it lacks.

        What was given since the daemon's start is timed by the clock that never steps.
        """
        self._known, self._fresh = now.dues, self.not_in(now.dues)
        self._own = tuple(
            (at_s, dose)
            for at_s, dose in self._own
            if now.now_s - at_s < DAY_S or dose in self._fresh
        )
        own = {dose.begun_utc_ms for _, dose in self._own}
        others = [
            (now.now_s - max(0.0, (now.utc_ms - dose.at_utc_ms) / 1000), dose)
            for dose in now.dues.doses
            if dose.name == self._rules.additive
            and (dose.begun_utc_ms is None or dose.begun_utc_ms not in own)
        ]
        recent = [
            (at_s, dose)
            for at_s, dose in (*others, *self._own)
            if now.now_s - at_s < DAY_S and dose.volume_ml > 0
        ]
        self._given = tuple(Given(at_s, dose.volume_ml) for at_s, dose in recent)
        by_pump = [dose for _, dose in (*others, *self._own) if dose.begun_utc_ms is not None]
        self._last = max(by_pump, key=lambda dose: dose.at_utc_ms, default=None)

    def _tell_begun(self, now: _Now) -> None:
        run = now.situation.run
        self._begun = (now.utc_ms, None if run is None else run.run_id)
        text = f"the pump begins to give {self._rules.dose_ml:.4g} mL of {self._rules.additive}"
        self._note(self._begun[1], pump_doses.BEGUN, text, now, self._figures(self._rules.dose_ml))
        self._kept = self._ways.promise()

    def _tell_over(self, over: Dosed, now: _Now) -> None:
        begun_ms, run_id = self._begun
        name, volume_ml = self._rules.additive, over.volume_ml
        if volume_ml > 0:
            dose = DoseKept(name, now.utc_ms, volume_ml, begun_ms, over.cut_short)
            self._own = (*self._own, (now.now_s, dose))
            self._learn(now)
            self._ways.put(entry_of(self._bath, dose, now.utc_ms, run_id))
        cut = "" if over.cut_short is None else f", and was cut short: {over.cut_short}"
        text = f"the pump has given {volume_ml:.4g} mL of {name}{cut}"
        self._note(run_id, pump_doses.OVER, text, now, self._figures(volume_ml))

    def _keep_watch(self, turn: PumpTurn, owed_ml: float, now: _Now) -> None:
        """Tell, once, that it is kept from a dose."""
        whole = turn.over is not None and turn.over.cut_short is None
        look = KeptLook(
            now.now_s,
            now.utc_ms,
            owed_ml,
            turn.hindrance,
            answered=whole or not is_owed(self._rules, owed_ml),
            run=now.situation.state in OPEN or forbidding.stopped_by(now.situation) is not None,
        )
        self._keeping, event = kept_dose.look(self._keeping, self._rules.additive, look)
        if event is not None:
            run = now.situation.run
            run_id = None if run is None else run.run_id
            self._note(run_id, event.kind, event.text, now, event.data)

    def _figures(self, volume_ml: float) -> Figures:
        return pump_doses.figures(self._bath, self._rules.additive, volume_ml, self._begun[0])

    def _note(self, run_id: int | None, kind: str, text: str, now: _Now, figures: Figures) -> None:
        self._ways.put(Noted(run_id, kind, text, now.utc_ms, now.now_s, figures))

    def _see(
        self,
        now: _Now,
        runs: bool,
        owed_ml: float,
        hindrance: Hindrance | None,
        ran: HandRunOver | None,
    ) -> None:
        look = PumpLook(now.now_s, owed_ml, self._given)
        self.seen = PumpSeen(
            self._rules,
            runs,
            owed_ml,
            look.in_a_day_ml(),
            hindrance,
            by_hand=self._hand is not None,
            ran=ran,
            last=self._last,
            kept=self._keeping.kept,
        )
