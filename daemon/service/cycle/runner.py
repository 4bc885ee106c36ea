"""The loop's thread: takes what comes into the mailbox, runs a cycle with it, gives its beat."""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from queue import Empty, SimpleQueue

from daemon.clock import Clock
from daemon.control import protect
from daemon.control.plan import Plan
from daemon.control.situation import NOTHING_CARRIED, AlarmAct, Carried, Command
from daemon.control.states import OPEN, Act
from daemon.service.cycle.loop import Heard, Loop
from daemon.service.cycle.scribe import Start
from daemon.service.pumps.doser import PumpAct
from daemon.service.rehearsal.foreteller import Foretold

LATE = 1.5
LATE_LEAST_S = 0.05
"""Periods without news after which the loop runs a cycle all the same, to see what is missing; and
the least time, s, as a period may be shorter than an exchange, to read without a pause."""

REST_S = 0.1
"""Real s after which it does so too, since the guard waits for its beat and knows no periods."""

QUIT_LIMIT_S = 10.0
"""Real s that a run which is stopped because the daemon ends has to see its current gone; then the
worker switches the output off once more and the daemon ends all the same."""


@dataclass(frozen=True, slots=True)
class Withhold:
    """A proof test's act: the contactor's heartbeat ends, and nothing else does."""


@dataclass(slots=True)
class Order:
    """A person's act on its way to the loop, and the way back: `answered` is set with `error`.

    Either the loop takes it or the asker withdraws it, whoever is first: an act that its asker has
    given up is not done later. `after_run` is the newest run that the asker of a start knew of; a
    newer one refuses it, so that the same question starts no second run. `unproven` says what is
    wrong with the guard's way to output off.
    """

    act: Act | AlarmAct | Withhold | PumpAct
    who: str
    plan: Plan | None = None
    text: str = ""
    where: str = ""
    goes_on_from: int | None = None
    carried: Carried = NOTHING_CARRIED
    after_run: int | None = None
    unproven: str | None = None
    error: str | None = None
    answered: threading.Event = field(default_factory=threading.Event)
    _claim: threading.Lock = field(default_factory=threading.Lock)

    def take(self) -> bool:
        """Take it to do it, or to withdraw it; False when the other side has taken it already."""
        return self._claim.acquire(blocking=False)

    def answer(self, error: str | None) -> None:
        """Tell whoever waits: done, or why not."""
        self.error = error
        self.answered.set()


@dataclass(frozen=True, slots=True)
class Settled:
    """The bath's account has got this from a person, A·h; it may be less than nothing."""

    added_ah: float


@dataclass(frozen=True, slots=True)
class Quit:
    """End the daemon: a run under way is stopped first."""

    why: str


Mail = Heard | Order | Settled | Foretold | Quit


class Runner:
    """Runs `loop` until a `Quit` has come and the current is gone.

    `rest_s` is the longest rest between two cycles, real s.
    """

    def __init__(
        self,
        loop: Loop,
        clock: Clock,
        period_s: float,
        mailbox: SimpleQueue[Mail],
        beat: Callable[[], None],
        next_run_id: int,
        rest_s: float = REST_S,
    ) -> None:
        self._rest_s = rest_s
        self._loop = loop
        self._clock = clock
        self._period_s = period_s
        self._mailbox = mailbox
        self._beat = beat
        self._next_run_id = next_run_id
        self._quit_by_s: float | None = None

    def run(self) -> bool:
        """Run until the end; True when the current was seen gone before it."""
        while True:
            self._turn()
            self._beat()
            if self._quit_by_s is not None:
                situation = self._loop.situation
                if situation.state not in OPEN and situation.wind_down is None:
                    return True
                if self._clock.monotonic_s() >= self._quit_by_s:
                    return False

    def _turn(self) -> None:
        """One cycle: with the next piece of mail, or without when none comes in time."""
        due_s = self._clock.monotonic_s() + max(LATE * self._period_s, LATE_LEAST_S)
        if self._loop.wake_at_s is not None:
            due_s = min(due_s, self._loop.wake_at_s)
        try:
            mail = self._mailbox.get(
                timeout=min(self._rest_s, self._clock.real_seconds_until(due_s))
            )
        except Empty:
            self._loop.cycle()
            return
        if isinstance(mail, Order):
            self._obey(mail)
        elif isinstance(mail, Settled):
            self._loop.settled(mail.added_ah)
        elif isinstance(mail, Foretold):
            self._loop.foretold(mail)
        elif isinstance(mail, Quit):
            self._begin_to_quit(mail)
        else:
            self._loop.cycle(mail)

    def _obey(self, order: Order) -> None:
        if not order.take():
            return
        if isinstance(order.act, AlarmAct):
            self._attend(order, order.act)
            return
        if isinstance(order.act, Withhold):
            refused = self._loop.withhold()
            self._loop.asked(order.who, order.where, "withhold the heartbeat", "", refused)
            order.answer(refused)
            return
        if isinstance(order.act, PumpAct):
            self._run_pump(order, order.act)
            return
        refused = self._loop.refusal(order.act)
        if refused is None and order.act is Act.START and self._quit_by_s is not None:
            refused = "the daemon is about to end"
        newest = self._next_run_id - 1
        if order.after_run not in (None, newest):
            refused = f"run {newest} has been started since this was asked: look at it first"
        refused = refused or order.unproven
        detail = "" if order.plan is None else order.plan.title
        self._loop.asked(order.who, order.where, order.act.value, detail, refused)
        if refused is not None:
            order.answer(refused)
            return
        if order.act is Act.START:
            command = Command(
                order.act,
                order.who,
                self._next_run_id,
                order.plan,
                self._loop.doubt,
                order.carried,
            )
            self._next_run_id += 1
            self._loop.cycle(command=Start(command, order.text, order.goes_on_from))
        else:
            self._loop.cycle(command=Command(order.act, order.who))
        order.answer(None)

    def _attend(self, order: Order, act: AlarmAct) -> None:
        refused = protect.refusal(self._loop.situation.alarms, act)
        detail = "all alarms" if act.number is None else f"alarm {act.number}"
        self._loop.asked(order.who, order.where, act.what, detail, refused)
        if refused is None:
            self._loop.cycle(attend=act)
        order.answer(refused)

    def _run_pump(self, order: Order, act: PumpAct) -> None:
        refused = self._loop.pump_refusal(act)
        lasting = "" if act.for_s is None else f" for {act.for_s:g} s"
        self._loop.asked(order.who, order.where, act.what, act.additive + lasting, refused)
        if refused is None:
            self._loop.pump(act, order.who)
        order.answer(refused)

    def _begin_to_quit(self, mail: Quit) -> None:
        if self._quit_by_s is None:
            self._quit_by_s = self._clock.monotonic_s() + QUIT_LIMIT_S * self._clock.rate
        if self._loop.refusal(Act.STOP) is None:
            self._loop.cycle(command=Command(Act.STOP, mail.why))
