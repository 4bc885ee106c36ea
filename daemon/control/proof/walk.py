"""The walk through a proof test: what is wanted next, look by look, and what was found. Pure.

It is a generator: it gives a `Want`, is sent a `Look` at the tank as it is then, and returns its
findings. What is judged is what the meter that counts shows, by the readings' own moments, and not
what was commanded. How long the tank takes is on the daemon's clock, a person's patience real time.
"""

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass

from daemon.control.proof.steps import OPENED, UNDER_CURRENT, Kind, Step
from daemon.control.proof.wants import Deed, Finding, Look, ProofEndedError, Walk, Want, Way
from daemon.control.protection import alarms as life
from daemon.control.protection.alarms import BUTTON, Alarm
from daemon.control.protection.causes import INTERLOCK
from daemon.control.protection.effects import Stop
from daemon.control.situation import Limits, Situation
from daemon.control.states import ALLOWED, AT_REST, PLATING, Act, State

PATIENCE_S = 120.0
"""Real s that a person has for each thing to be done at the tank, while the current flows."""

ANSWER_S = 600.0
"""Real s that a person has to say what they see or hear, while none flows."""

AT_PUMP_S = 5.0
"""Real s beyond its time in which a pump that is run by hand comes to its end: it is never late."""

LATER, LATER_S = 2.0, 1.0
"""What is late is waited for until so many times its time, and so many s more, are over: how late
it comes is told."""

TOLD_S = 10.0
"""s that a detector may take to tell that the circuit is open, and the run to come to rest."""


@dataclass(frozen=True, slots=True)
class Over:
    """When waiting is over, by either clock."""

    now_s: float = float("inf")
    real_s: float = float("inf")

    def has_come(self, look: Look) -> bool:
        """Whether it is."""
        return look.now_s >= self.now_s or look.real_s >= self.real_s


def walk(steps: Sequence[Step], limits: Limits) -> Walk:
    """Walk through the steps.

    It begins at rest and leaves nothing energised behind if it comes to its end. Raises
    ProofEndedError, out of `send`; then whoever leads it sees to that.
    """
    return _Walker(steps, limits).through()


class _Walker:
    def __init__(self, steps: Sequence[Step], limits: Limits) -> None:
        self._steps = steps
        self._limits = limits
        self._index = 0
        self._findings: tuple[Finding, ...] = ()
        self._look: Look
        self._doing = "The current is brought up."

    def through(self) -> Walk:
        ways = {
            Kind.SUPPLY: self._supply,
            Kind.LOOP: self._loop,
            Kind.CONTACTOR: self._contactor,
            Kind.BEACON: self._signal,
            Kind.SIREN: self._signal,
            Kind.BUTTON: self._button,
            Kind.PUMP: self._pump,
            Kind.MESSAGE: self._message,
        }
        self._look = yield self._want()
        for index, step in enumerate(self._steps):
            self._index, self._doing = index, ""
            if step.kind not in UNDER_CURRENT:
                yield from self._current_taken()
            seen, passed = yield from ways[step.kind](step)
            self._findings += (Finding(step.name, step.expected, seen, passed),)
        yield from self._current_taken()
        if self._state is State.ABORTED:
            # The walk has brought that about, with a person at the tank all the time.
            yield from self._done(Deed.RESET)
        return self._findings

    def _supply(self, step: Step) -> Way:
        yield from self._current_flows()
        began_s = self._look.now_s
        yield from self._done(Deed.HOLD)
        return (yield from self._seen_gone(step, began_s))

    def _loop(self, step: Step) -> Way:
        yield from self._current_flows()
        cause = INTERLOCK + step.subject
        before = _times(self._look, cause)
        opened = yield from self._person_does(step.todo, lambda look: _times(look, cause) != before)
        alarm = self._look.situation.alarms.of(cause)
        if alarm is None or not opened:
            seen, passed = f"no alarm within {PATIENCE_S:.0f} s", False
        elif step.stop is Stop.NOTHING:
            seen, passed = step.expected, True
        else:
            came_s = alarm.since_s if alarm.active else self._look.now_s
            seen, passed = yield from self._seen_gone(step, came_s)
        yield from self._closed_again(step, step.subject)
        return seen, passed

    def _contactor(self, step: Step) -> Way:
        yield from self._current_flows()
        self._doing = "The meter is watched: the contactor has to open."
        began_s = self._look.now_s
        yield from self._done(Deed.WITHHOLD)
        after_s = yield from self._gone_after(began_s, step.within_s)
        shown = self._shown(began_s)
        if after_s is not None:
            yield from self._waited(_is_at_rest, self._physically(self._look.now_s, TOLD_S))
        first = _first_out(self._look.situation)
        yield from self._current_taken()
        if after_s is None:
            return f"{shown} {self._look.now_s - began_s:.1f} s after it", False
        cause = "nothing has told of it" if first is None else first.cause
        good = after_s <= step.within_s and first is not None and first.cause in OPENED
        return f"{shown} after {after_s:.2f} s: {cause}", good

    def _signal(self, step: Step) -> Way:
        wanted = life.beacon if step.kind is Kind.BEACON else life.siren
        if not wanted(self._look.situation.alarms, self._limits.table):
            return "no alarm stands that wants it", False
        works = yield from self._answered(step.question)
        return ("it does" if works else "it does not"), works

    def _button(self, step: Step) -> Way:
        waiting = {a.number for a in _waiting(self._look.situation)}
        if not waiting:
            return "no alarm stands that waits for it", False
        heard = yield from self._person_does(
            step.todo, lambda look: not _waiting(look.situation), at_rest=True
        )
        if not heard:
            return f"nothing within {PATIENCE_S:.0f} s", False
        standing = self._look.situation.alarms.standing
        by = {a.acknowledged_by for a in standing if a.number in waiting}
        if BUTTON in by:
            return step.expected, True
        return f"acknowledged by {', '.join(sorted(filter(None, by))) or 'somebody else'}", False

    def _message(self, step: Step) -> Way:
        self._doing = "The test message is being sent."
        self._look = yield self._want(do=Deed.SEND)
        if self._look.refused is not None:
            return self._look.refused, False
        came = yield from self._answered(step.question)
        return ("it has arrived" if came else "sent, and not arrived"), came

    def _pump(self, step: Step) -> Way:
        """Twice into a glass, which a person sees: so much, and until its level's loop opens."""
        measured_s, trip_s = step.runs_s
        amount, ready, stands = step.questions
        if not (yield from self._answered(step.question)):
            return "its outlet hangs in no glass: it was not run", False
        cut_short = yield from self._pumped(step, measured_s)
        if cut_short is not None:
            return cut_short, False
        if not (yield from self._answered(amount)):
            return f"another amount in {measured_s:.3g} s: calibrate it", False
        if not (yield from self._answered(ready)):
            return "the amount is right, and the trip was not tried", False
        cut_short = yield from self._pumped(step, trip_s, todo=step.todo)
        tripped = cut_short is not None and step.loop in self._look.situation.open_loops
        if tripped and not (yield from self._answered(stands)):
            seen, passed = f"{cut_short}, and it did not stand still", False
        else:
            ran = f"it ran for {trip_s:.3g} s, and the loop stayed closed"
            seen, passed = (step.expected, True) if tripped else (cut_short or ran, False)
        yield from self._closed_again(step, step.loop)
        return seen, passed

    def _pumped(
        self, step: Step, for_s: float, *, todo: str = ""
    ) -> Generator[Want, Look, str | None]:
        """Have a pump run for so long; what kept it from that, None if nothing did."""
        self._doing = "The pump runs into the glass."
        self._look = yield self._want(do=Deed.RUN_PUMP, for_s=for_s)
        if self._look.refused is not None:
            return self._look.refused
        rests = yield from self._waited(
            lambda look: not look.pumps[step.subject].by_hand,
            self._really(for_s + AT_PUMP_S),
            todo=todo,
        )
        if not rests:
            self._look = yield self._want(do=Deed.STOP_PUMP)
            return "it did not come to its end"
        ran = self._look.pumps[step.subject].ran
        return "how it ended is not known" if ran is None else ran.cut_short

    # What the ways are made of.

    def _current_flows(self) -> Generator[Want, Look, None]:
        """See to it that the proof's current flows, by whatever act leads there."""
        self._doing = "The current is brought up."
        if not (self._state is State.RUNNING and self._runs(self._look)):
            yield from self._rested()
            if self._state is State.ABORTED:
                yield from self._done(Deed.RESET)
            yield from self._done(Deed.RESUME if self._state is State.HELD else Deed.START)
        flows = yield from self._waited(
            lambda look: self._runs(look) and not self._is_gone(look), self._really(PATIENCE_S)
        )
        if not flows:
            raise ProofEndedError("no current flows: nothing can be proved without one")

    def _runs(self, look: Look) -> bool:
        """Whether the run is running. Raises ProofEndedError when it is not even on its way."""
        situation = look.situation
        if situation.state not in PLATING or situation.wind_down is not None:
            why = f": {situation.reason}" if situation.reason else ""
            raise ProofEndedError(f"the run is {situation.state.value}{why}")
        return situation.state is State.RUNNING

    def _person_does(
        self, todo: str, holds: Callable[[Look], bool], *, at_rest: bool = False
    ) -> Generator[Want, Look, bool]:
        """Whether a person has done it in time; under current, as long as the run is there."""

        def done(look: Look) -> bool:
            return holds(look) or (not at_rest and not self._runs(look))

        return (yield from self._waited(done, self._really(PATIENCE_S), todo=todo))

    def _closed_again(self, step: Step, loop: str) -> Generator[Want, Look, None]:
        closed = yield from self._person_does(
            step.undo, lambda look: loop not in look.situation.open_loops, at_rest=True
        )
        if not closed:
            raise ProofEndedError(f"the loop of {loop!r} was not closed again")

    def _answered(self, question: str) -> Generator[Want, Look, bool]:
        over = self._really(ANSWER_S)
        said = yield from self._waited(
            lambda look: look.answer is not None, over, question=question
        )
        if not said:
            raise ProofEndedError(f"nobody has answered: {question}")
        return bool(self._look.answer)

    def _seen_gone(self, step: Step, began_s: float) -> Way:
        """What the meter showed of a stop that began then, and where it led the run."""
        self._doing = "The meter is watched: the current has to go."
        after_s = yield from self._gone_after(began_s, step.within_s)
        shown = self._shown(began_s)
        if after_s is None:
            return f"{shown} after {self._look.now_s - began_s:.1f} s", False
        yield from self._waited(_is_at_rest, self._physically(self._look.now_s, step.within_s))
        led = self._state is step.stop.goal
        return (
            f"{shown} after {after_s:.2f} s, then {self._state.value}",
            led and after_s <= step.within_s,
        )

    def _gone_after(self, began_s: float, within_s: float) -> Generator[Want, Look, float | None]:
        """How long after `began_s` the first reading without current was taken, s; None if none.

        It is waited for beyond what is good, to tell by how much.
        """

        def gone(look: Look) -> bool:
            reading = look.situation.reading
            return reading is not None and reading.monotonic_s > began_s and self._is_gone(look)

        came = yield from self._waited(gone, self._physically(began_s, within_s))
        reading = self._look.situation.reading
        return None if reading is None or not came else reading.monotonic_s - began_s

    def _current_taken(self) -> Generator[Want, Look, None]:
        """End the run that is under way, and wait until its current is seen gone."""
        if self._state in ALLOWED[Act.STOP]:
            self._doing = "The current is taken away."
            yield from self._done(Deed.STOP)
        yield from self._rested()

    def _rested(self) -> Generator[Want, Look, None]:
        rested = yield from self._waited(_is_at_rest, self._really(PATIENCE_S))
        if not rested:
            raise ProofEndedError(
                f"the run is {self._state.value}, and its current was not seen gone"
            )

    def _done(self, deed: Deed) -> Generator[Want, Look, None]:
        self._look = yield self._want(do=deed)
        if self._look.refused is not None:
            raise ProofEndedError(f"{deed.value}: {self._look.refused}")

    def _waited(
        self, holds: Callable[[Look], bool], over: Over, *, todo: str = "", question: str = ""
    ) -> Generator[Want, Look, bool]:
        """Whether it holds before the time is over; looks at least once more."""
        until_s = over.real_s if todo or question else None
        while True:
            self._look = yield self._want(todo=todo, question=question, until_s=until_s)
            if holds(self._look):
                return True
            if over.has_come(self._look):
                return False

    def _want(
        self, *, do: Deed | None = None, for_s: float = 0.0, todo: str = "", question: str = "",
        until_s: float | None = None,
    ) -> Want:  # fmt: skip
        return Want(self._index, self._findings, do, for_s, todo, question, until_s, self._doing)

    def _really(self, seconds: float) -> Over:
        return Over(real_s=self._look.real_s + seconds)

    def _physically(self, from_s: float, within_s: float) -> Over:
        return Over(now_s=from_s + LATER * within_s + LATER_S)

    @property
    def _state(self) -> State:
        return self._look.situation.state

    def _is_gone(self, look: Look) -> bool:
        reading = look.situation.reading
        if reading is None or reading.current_a is None:
            return False
        return abs(reading.current_a) < self._limits.gone_a

    def _shown(self, since_s: float) -> str:
        """What the meter shows, if it has shown anything since then."""
        reading = self._look.situation.reading
        if reading is None or reading.current_a is None or reading.monotonic_s <= since_s:
            return "no reading"
        return f"{reading.current_a:z.3f} A"


def _is_at_rest(look: Look) -> bool:
    return look.situation.state in AT_REST and look.situation.wind_down is None


def _times(look: Look, cause: str) -> tuple[int, int] | None:
    """What changes whenever a cause comes."""
    alarm = look.situation.alarms.of(cause)
    return None if alarm is None else (alarm.number, alarm.times)


def _first_out(situation: Situation) -> Alarm | None:
    return next((alarm for alarm in situation.alarms.standing if alarm.first_out), None)


def _waiting(situation: Situation) -> list[Alarm]:
    return [a for a in situation.alarms.standing if a.acknowledged_by is None]
