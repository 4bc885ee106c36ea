"""The proof test (the term of IEC 61511): each way to stop is used once, and the meter is witness.

A person is led through it. A small current flows, by an ordinary run, while the run is held, each
interlock's loop is opened, and the contactor is let go; what is judged is what the meter that
counts shows, and not what was commanded. Pauses are real, times are the daemon's own.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from daemon.api.messages import (
    ActRequest,
    Answer,
    Request,
    StartRequest,
    Status,
    StatusRequest,
    WithholdRequest,
)
from daemon.api.sentence import utc_of
from daemon.chemistry.electrolysis import um_per_ah
from daemon.chemistry.metals import metal_named
from daemon.control.protection.causes import CONTACTOR_FAULT, INTERLOCK, OPEN_CIRCUIT
from daemon.record.entries import ProofStep

PATIENCE_S = 120.0
"""Real s that a person has for each thing to be done at the tank."""

LOOK_S = 0.05
"""Real s from look to look, and so how exactly times are told."""

TITLE = "Proof test"


LONGEST_H = 2.0
"""h after which the proof's run ends by itself, whatever becomes of whoever proves."""

PLAN = """\
title = "{title}"
area = "{area_dm2:.6g} dm²"
target = "10 µm"
voltage_ceiling = "{ceiling}"
caps = {{ charge = "{cap_ah:.6g} Ah", duration = "{cap_h:g} h" }}
[[stage]]
name = "proof"
current = "{current_a:.6g} A"
"""


def plan_of(current_a: float, ceiling: str) -> str:
    """A plan's text that keeps `current_a` flowing for `LONGEST_H`; `ceiling` such as "3 V"."""
    growth = um_per_ah(metal_named("Cu(II)"), 1.0, 1.0)
    return PLAN.format(
        title=TITLE,
        area_dm2=growth * current_a * LONGEST_H / 10.0,
        ceiling=ceiling,
        cap_ah=2 * current_a * LONGEST_H,
        cap_h=2 * LONGEST_H,
        current_a=current_a,
    )


class ProofEndedError(Exception):
    """It cannot go on: why, in one sentence."""


class Person(Protocol):
    """Whoever is at the tank."""

    def say(self, text: str) -> None:
        """Tell what is to be done."""

    def confirms(self, question: str) -> bool:
        """Ask what only a person can see or hear."""


@dataclass(frozen=True, slots=True)
class Cabinet:
    """What there is to be proved, by the settings.

    loops: each interlock's name, and whether its stop is an abort. gone_a: a current below this is
    none, A. off_s: within this it has to be gone after a stop, s. drop_out_s: within this after the
    heartbeat's end, s; None without a contactor. messages: each address' name, and what sends a
    test message there and gives None, or why it failed.
    """

    loops: tuple[tuple[str, bool], ...]
    gone_a: float
    off_s: float
    drop_out_s: float | None = None
    beacon: bool = False
    siren: bool = False
    button: bool = False
    messages: tuple[tuple[str, Callable[[], str | None]], ...] = ()


@dataclass(frozen=True, slots=True)
class Tank:
    """The daemon, asked as anybody asks it, and pauses in real seconds."""

    ask: Callable[[Request], Answer]
    pause: Callable[[float], None]
    who: str
    where: str

    def status(self) -> Status:
        """How it is. Raises ProofEndedError when it does not say."""
        answer = self.ask(StatusRequest())
        if answer.status is None:
            raise ProofEndedError(answer.error or "the daemon says nothing")
        return answer.status

    def act(self, request: Request) -> Status:
        """Do something. Raises ProofEndedError when it is refused."""
        answer = self.ask(request)
        if not answer.ok or answer.status is None:
            raise ProofEndedError(answer.error or "the daemon says nothing")
        return answer.status

    def until(self, holds: Callable[[Status], bool], patience_s: float) -> Status | None:
        """The first status for which `holds` is true; None if none came in time."""
        waited_s = 0.0
        while True:
            status = self.status()
            if holds(status):
                return status
            if waited_s >= patience_s:
                return None
            self.pause(LOOK_S)
            waited_s += LOOK_S


class Walk:
    """One proof test. `plan` is a plan file's text with a small current, for a scrap part."""

    def __init__(self, tank: Tank, person: Person, cabinet: Cabinet, plan: str) -> None:
        self._tank = tank
        self._person = person
        self._cabinet = cabinet
        self._plan = plan
        self._steps: list[ProofStep] = []

    def run(self) -> tuple[ProofStep, ...]:
        """Walk through everything; the steps, passed or not.

        Raises ProofEndedError when it cannot go on; the run that was under way is ended then.
        """
        try:
            self._prove_hold()
            for name, aborts in self._cabinet.loops:
                self._prove_loop(name, aborts=aborts)
            if self._cabinet.drop_out_s is not None:
                self._prove_contactor(self._cabinet.drop_out_s)
            self._prove_signals()
            self._prove_messages()
        finally:
            self._end()
        return tuple(self._steps)

    def _prove_hold(self) -> None:
        self._have_current()
        began = self._act("hold")
        self._judge("supply off by command", began, self._gone(began), self._cabinet.off_s)

    def _prove_loop(self, name: str, *, aborts: bool) -> None:
        self._have_current()
        self._person.say(f"Open the loop of the interlock {name!r} now.")
        cause = INTERLOCK + name
        opened = self._tank.until(
            lambda status: any(alarm.cause == cause for alarm in status.alarms), PATIENCE_S
        )
        where = f"interlock {name}"
        if opened is None:
            self._add(where, "an alarm", f"no alarm within {PATIENCE_S:.0f} s", passed=False)
        else:
            gone = self._gone(opened)
            self._judge(where, opened, gone, self._cabinet.off_s)
            wanted = ("aborted",) if aborts else ("held", "stopped")
            rest = self._tank.until(lambda status: status.state in wanted, PATIENCE_S)
            seen = self._tank.status().state
            self._add(f"{where}, the run", " or ".join(wanted), seen, passed=rest is not None)
        self._person.say(f"Close the loop of {name!r} again.")
        if self._tank.until(lambda status: f"open: {name}" not in _notice(status), PATIENCE_S):
            return
        raise ProofEndedError(f"the loop of {name!r} was not closed again")

    def _prove_contactor(self, drop_out_s: float) -> None:
        self._have_current()
        began = self._tank.act(WithholdRequest(who=self._tank.who, where=self._tank.where))
        opened = (CONTACTOR_FAULT, OPEN_CIRCUIT)
        told = self._tank.until(
            lambda status: any(a.first_out and a.cause in opened for a in status.alarms),
            self._real(drop_out_s),
        )
        where, expected = "contactor without its heartbeat", f"open within {drop_out_s:.1f} s"
        if told is None:
            self._add(where, expected, "no sign of its opening", passed=False)
            return
        first = next(alarm for alarm in told.alarms if alarm.first_out)
        after_s = (utc_of(first.raised_utc) - utc_of(began.utc)).total_seconds()
        seen = f"{first.cause} after {after_s:.2f} s"
        self._add(where, expected, seen, passed=after_s <= drop_out_s)

    def _prove_signals(self) -> None:
        """With the alarms that stand from before; one is made if none does."""
        cabinet = self._cabinet
        if not (cabinet.beacon or cabinet.siren or cabinet.button):
            return
        if not any(alarm.acknowledged_by is None for alarm in self._tank.status().alarms):
            raise ProofEndedError("no alarm stands to prove beacon, siren and button with")
        signals = (("beacon", cabinet.beacon, "light"), ("siren", cabinet.siren, "sound"))
        for name, there, verb in signals:
            if there:
                works = self._person.confirms(f"Does the {name} {verb}?")
                seen = "it does" if works else "it does not"
                self._add(name, f"it {verb}s", seen, passed=works)
        if cabinet.button:
            self._person.say("Press the acknowledge button at the tank now.")
            heard = self._tank.until(
                lambda status: all(alarm.acknowledged_by for alarm in status.alarms), PATIENCE_S
            )
            what = "all alarms acknowledged"
            seen = what if heard else f"nothing within {PATIENCE_S:.0f} s"
            self._add("acknowledge button", what, seen, passed=heard is not None)

    def _prove_messages(self) -> None:
        for name, send in self._cabinet.messages:
            failed = send()
            if failed is not None:
                self._add(f"message to {name}", "sent", failed, passed=False)
                continue
            came = self._person.confirms(f"Has the test message to {name!r} arrived?")
            seen = "it has arrived" if came else "sent, and not arrived"
            self._add(f"message to {name}", "it arrives", seen, passed=came)

    def _have_current(self) -> None:
        """See to it that the proof's current flows, by whatever act leads there."""
        status = self._tank.status()
        if status.state == "aborted":
            status = self._act("reset")
        if status.state == "held":
            self._act("resume")
        elif status.state in ("idle", "stopped", "complete"):
            self._tank.act(
                StartRequest(
                    plan=self._plan, who=self._tank.who, where=self._tank.where, for_proof=True
                )
            )
        flows = self._tank.until(
            lambda status: (
                status.state == "running" and abs(status.current_a or 0.0) > self._cabinet.gone_a
            ),
            PATIENCE_S,
        )
        if flows is None:
            raise ProofEndedError("no current flows: nothing can be proved without one")

    def _gone(self, since: Status) -> Status | None:
        """The first status after `since` without current; None if none came in time."""
        limit_s = self._real(3 * self._cabinet.off_s)
        return self._tank.until(
            lambda status: (
                status.monotonic_s > since.monotonic_s
                and status.current_a is not None
                and abs(status.current_a) < self._cabinet.gone_a
            ),
            limit_s,
        )

    def _judge(self, name: str, began: Status, gone: Status | None, limit_s: float) -> None:
        expected = f"below {self._cabinet.gone_a:.3f} A within {limit_s:.1f} s"
        if gone is None:
            now_a = self._tank.status().current_a
            shown = "no reading" if now_a is None else f"{now_a:.3f} A"
            self._add(name, expected, f"{shown} after {3 * limit_s:.1f} s", passed=False)
            return
        after_s = gone.monotonic_s - began.monotonic_s
        seen = f"{gone.current_a or 0.0:.3f} A after {after_s:.2f} s"
        self._add(name, expected, seen, passed=after_s <= limit_s)

    def _real(self, seconds: float) -> float:
        """Patience in real seconds for what takes so long on the daemon's clock, with room."""
        return max(1.0, 2 * seconds)

    def _add(self, name: str, expected: str, seen: str, *, passed: bool) -> None:
        self._steps.append(ProofStep(name, expected, seen, passed))
        self._person.say(f"{'passed' if passed else 'FAILED'}  {name}: {seen}")

    def _act(self, name: str) -> Status:
        request = {"ask": name, "who": self._tank.who, "where": self._tank.where}
        return self._tank.act(ActRequest.model_validate(request))

    def _end(self) -> None:
        """Leave nothing energised behind, whatever has happened."""
        status = self._tank.status()
        if status.state in ("running", "held", "restarting", "holding"):
            self._act("stop")


def _notice(status: Status) -> str:
    return status.notice or ""
