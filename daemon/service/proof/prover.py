"""Leads a proof test: looks at the tank, asks for acts as anybody would, keeps what was found.

The walk lives here, in the loop's process, and not with whoever follows it: a page that dies or a
terminal that is closed leaves nothing energised, since the walk's own patience ends it; and when
the daemon dies, the output is off and the walk is gone.
"""

import secrets
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from sqlalchemy.exc import DatabaseError

from daemon.api.errors import InputError
from daemon.api.plans.proof import proof_plan
from daemon.api.socket.messages import ActRequest, Answer, StartRequest, WithholdRequest
from daemon.api.socket.proof import (
    AnswerProofRequest,
    BeginProofRequest,
    EndProofRequest,
    ProofEnd,
    ProofStatus,
    ProofStepStatus,
    ProofWalkStatus,
)
from daemon.api.socket.pumps import PumpRequest
from daemon.clock import Clock
from daemon.control.dosing_pump import HandSeen
from daemon.control.proof.steps import Cabinet, Step, not_proved, steps_of
from daemon.control.proof.walk import walk
from daemon.control.proof.wants import Deed, Finding, Look, ProofEndedError, Walk, Want
from daemon.control.situation import Limits, Situation
from daemon.control.states import ALLOWED, OPEN, Act
from daemon.record.entries import ProofStep
from daemon.record.store import refusal
from daemon.service.proof.due import Due

LOOK_S = 0.05
"""Real s from look to look. Times are told by the readings' own moments."""

OFF_S = 30.0
"""Real s that the current may take to be gone at a walk's end; then the run is aborted."""

GIVE_UP_S = 8.0
"""Real s that whoever gives a walk up waits for its end."""

ABOUT = "proof test"
"""Where refusals say that they come from."""

Asked = StartRequest | ActRequest | WithholdRequest | PumpRequest


_FIRST = Want(0, ())


@dataclass(slots=True)
class _Led:
    """A walk: whose, what it wants now, and what came of it. Guarded by the prover's lock.

    stop: why it is to end, None while it may go on.
    """

    id: str
    asked: BeginProofRequest
    began: datetime
    ask: Callable[[Asked], Answer]
    send: Mapping[str, Callable[[], str | None]]
    want: Want = _FIRST
    findings: tuple[Finding, ...] = ()
    answer: bool | None = None
    stop: str | None = None
    ended: ProofEnd | None = None
    over: threading.Event = field(default_factory=threading.Event)


@dataclass(frozen=True, slots=True)
class Tank:
    """What the prover knows of the tank: its situation, and why no run can start, None if one can.

    due: how it is with the proof test. keep: keeps one in the record and gives its number. pumps:
    what is seen of each dosing pump, by its additive.
    """

    situation: Callable[[], Situation]
    refusal: Callable[[], str | None]
    due: Callable[[], Due]
    keep: Callable[[str, tuple[ProofStep, ...]], int]
    pumps: Callable[[], Mapping[str, HandSeen]]


class Prover:
    """Leads one walk at a time through `cabinet`. Any thread may call.

    `senders` gives, for whoever proves, what sends a test message to each address: None when it is
    taken, else why not. `make_walk`, `look_s` and `real_s` are the walk and the time.
    """

    def __init__(
        self,
        tank: Tank,
        cabinet: Cabinet,
        senders: Callable[[str], Mapping[str, Callable[[], str | None]]],
        clock: Clock,
        *,
        make_walk: Callable[[tuple[Step, ...], Limits], Walk] = walk,
        look_s: float = LOOK_S,
        real_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._tank = tank
        self._cabinet = cabinet
        self._steps = steps_of(cabinet)
        self._senders = senders
        self._clock = clock
        self._make_walk = make_walk
        self._look_s = look_s
        self._real_s = real_s
        self._lock = threading.Lock()
        self._led: _Led | None = None

    @property
    def under_way(self) -> str | None:
        """What the walk under way is at, in words; None while there is none."""
        with self._lock:
            led = self._led
            if led is None or led.ended is not None:
                return None
            number, step = led.want.step + 1, self._steps[led.want.step]
            return f"step {number} of {len(self._steps)}, {step.name}"

    @property
    def pumps(self) -> bool:
        """Whether a walk has a dosing pump run."""
        running = any(seen.by_hand for seen in self._tank.pumps().values())
        return running and self.under_way is not None

    def plan(self, asked: BeginProofRequest) -> StartRequest:
        """The start that a walk begins with."""
        text = proof_plan(asked.current_a, asked.ceiling_v)
        return StartRequest(plan=text, who=asked.who, where=_where(asked))

    def begin(self, asked: BeginProofRequest, ask: Callable[[Asked], Answer]) -> None:
        """Begin a walk; `ask` hands in what it wants done. Raises InputError: why none can begin.

        Its plan was found to be one that can work.
        """
        refused = self._tank.refusal()
        led = _Led(secrets.token_hex(4), asked, self._clock.utc(), ask, self._senders(asked.who))
        with self._lock:
            before = self._led
            if before is not None and before.ended is None:
                raise InputError(ABOUT, (f"one is under way, begun by {before.asked.who}",))
            if refused is not None:
                raise InputError(ABOUT, (refused,))
            self._led = led
        threading.Thread(target=self._lead, args=(led,), name=ABOUT, daemon=True).start()

    def answer(self, said: AnswerProofRequest) -> None:
        """Take a person's answer. Raises InputError for a question that is not asked now."""
        with self._lock:
            led = self._led
            is_asked = (
                led is not None
                and led.ended is None
                and led.id == said.walk
                and led.want.step == said.step
                and led.want.question != ""
            )
            if led is None or not is_asked:
                raise InputError(ABOUT, ("that question is not asked any more",))
            led.answer = said.yes

    def give_up(self, asked: EndProofRequest) -> None:
        """End the walk, and wait until the current is gone. Raises InputError if it is over."""
        with self._lock:
            led = self._led
            if led is None or led.id != asked.walk or led.ended is not None:
                raise InputError(ABOUT, ("it is over already",))
        self._end(led, f"given up by {asked.who}")
        led.over.wait(GIVE_UP_S)

    def interrupt(self, why: str) -> None:
        """End the walk under way, if there is one, since somebody else has taken the current."""
        with self._lock:
            led = self._led
        if led is not None:
            self._end(led, why)

    def stop(self) -> None:
        """The daemon ends."""
        with self._lock:
            led = self._led
        if led is not None and led.ended is None:
            self._end(led, "the daemon ends")
            led.over.wait(GIVE_UP_S)

    def status(self) -> ProofStatus:
        """How it is."""
        due, refused = self._tank.due(), self._tank.refusal()
        with self._lock:
            shown = None if self._led is None else self._walk_status(self._led)
        return ProofStatus(
            wanted=due.wanted,
            required=due.required,
            every_s=due.every_s,
            due_utc=None if due.at is None else due.at.isoformat(),
            overdue=due.overdue,
            steps=tuple(_planned(step) for step in self._steps),
            not_proved=not_proved(self._cabinet),
            refusal=refused,
            walk=shown,
        )

    def _walk_status(self, led: _Led) -> ProofWalkStatus:
        want, ended = led.want, led.ended is not None
        left_s = None
        if want.until_s is not None and not ended:
            left_s = max(0.0, want.until_s - self._real_s())
        return ProofWalkStatus(
            id=led.id,
            who=led.asked.who,
            began_utc=led.began.isoformat(),
            step=want.step,
            steps=tuple(
                _planned(step).model_copy(update=_came_of(index, led))
                for index, step in enumerate(self._steps)
            ),
            todo="" if ended else want.todo,
            question="" if ended else want.question,
            doing="" if ended or want.todo or want.question else want.doing,
            left_s=left_s,
            ended=led.ended,
        )

    def _end(self, led: _Led, why: str) -> None:
        with self._lock:
            if led.stop is None:
                led.stop = why

    # What the thread does.

    def _lead(self, led: _Led) -> None:
        why = None
        try:
            self._through(led)
        except ProofEndedError as error:
            why = str(error)
        except Exception as error:  # whatever it is, the current goes and people are told
            why = f"{type(error).__name__}: {error}"
        self._take_current(led)
        end = self._kept(led, why)
        with self._lock:
            led.ended = end
        led.over.set()

    def _through(self, led: _Led) -> None:
        walked = self._make_walk(self._steps, self._cabinet.limits)
        want = next(walked)
        while True:
            with self._lock:
                if want.question != led.want.question or want.step != led.want.step:
                    led.answer = None
                led.want, led.findings = want, want.findings
                if led.stop is not None:
                    raise ProofEndedError(led.stop)
            refused = None if want.do is None else self._done(led, want.do, want.for_s)
            if want.do is None:
                time.sleep(self._look_s)
            try:
                want = walked.send(self._looked(led, refused))
            except StopIteration as end:
                led.findings = end.value
                return

    def _looked(self, led: _Led, refused: str | None) -> Look:
        situation, now_s = self._tank.situation(), self._clock.monotonic_s()
        pumps = self._tank.pumps()
        return Look(situation, now_s, self._real_s(), refused, led.answer, pumps)

    def _done(self, led: _Led, deed: Deed, for_s: float) -> str | None:
        """Have it done; why it is not, None if it is."""
        if deed is Deed.SEND:
            return led.send[self._steps[led.want.step].subject]()
        if deed is Deed.START:
            return _refused(led.ask(self.plan(led.asked)))
        if deed is Deed.WITHHOLD:
            return _refused(led.ask(WithholdRequest(who=led.asked.who, where=_where(led.asked))))
        if deed in (Deed.RUN_PUMP, Deed.STOP_PUMP):
            return self._pump(led, deed, self._steps[led.want.step].subject, for_s)
        return self._act(led, deed.value)

    def _pump(self, led: _Led, deed: Deed, additive: str, for_s: float = 0.0) -> str | None:
        act = {"ask": deed.value, "who": led.asked.who, "where": _where(led.asked)}
        told = {"additive": additive, "for_s": for_s}
        return _refused(led.ask(PumpRequest.model_validate(act | told)))

    def _act(self, led: _Led, name: str) -> str | None:
        act = {"ask": name, "who": led.asked.who, "where": _where(led.asked)}
        return _refused(led.ask(ActRequest.model_validate(act)))

    def _take_current(self, led: _Led) -> None:
        """Leave nothing energised behind, and no pump running, whatever has happened."""
        for additive, seen in self._tank.pumps().items():
            if seen.by_hand:
                self._pump(led, Deed.STOP_PUMP, additive)
        for act in (Act.STOP, Act.ABORT):
            if self._tank.situation().state in ALLOWED[act]:
                self._act(led, act.value)
            until_s = self._real_s() + OFF_S
            while self._tank.situation().state in OPEN and self._real_s() < until_s:
                time.sleep(self._look_s)

    def _kept(self, led: _Led, why: str | None) -> ProofEnd:
        """Keep what was found. What nothing failed in and did not come to its end is not kept."""
        findings = led.findings
        if why is not None:
            if all(each.passed for each in findings):
                return ProofEnd(how="given up", why=why)
            rest = f"from {self._steps[led.want.step].name} on"
            findings = (*findings, Finding(rest, "every step", why, passed=False))
        steps = tuple(ProofStep(f.name, f.expected, f.seen, f.passed) for f in findings)
        passed = all(each.passed for each in findings)
        try:
            number = self._tank.keep(led.asked.who, steps)
        except DatabaseError as error:
            lost = f"the record does not take it: {refusal(error)}"
            return ProofEnd(how="given up", why=lost)
        return ProofEnd(how="passed" if passed else "failed", why=why or "", kept=number)


def _where(asked: BeginProofRequest) -> str:
    return f"{ABOUT}, {asked.where}"[:120]


def _refused(answer: Answer) -> str | None:
    return None if answer.ok else answer.error or "refused"


def _planned(step: Step) -> ProofStepStatus:
    todo = step.todo or step.question
    return ProofStepStatus(name=step.name, happens=step.happens, todo=todo, expected=step.expected)


def _came_of(index: int, led: _Led) -> dict[str, str]:
    """What became of a step of a walk."""
    if index < len(led.findings):
        found = led.findings[index]
        return {"state": "passed" if found.passed else "failed", "seen": found.seen}
    if led.ended is not None:
        return {"state": "not reached"}
    return {"state": "under way" if index == led.want.step else "to come"}
