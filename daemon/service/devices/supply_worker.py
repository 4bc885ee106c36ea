"""The thread that owns a supply: reads it in time, and does what is demanded, newest first.

A supply that hangs holds up this thread and nothing else. What happens on the line is put into the
loop's mailbox: readings, replies that did not come, and troubles that no run survives.
"""

import math
import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from queue import Empty, SimpleQueue

from daemon.clock import Clock
from daemon.control.situation import OFF, Demand
from drivers.contracts import Rating, Reading, Supply
from drivers.errors import DriverError, LinkError, PortUnavailableError

REOPEN_FIRST_S = 0.5
REOPEN_MOST_S = 5.0
"""Waits between attempts to open a lost port: short for a loose plug, long enough to be quiet."""

QUIET_S = 60.0
"""A line that loses replies is told of once in this time: each loss alone changes nothing. So is a
trouble that stays the same while nothing is to flow anyway."""

STUCK_S = 20.0
"""Real seconds in one turn after which the thread counts as stuck: all limits on a line together
are far shorter, so something hangs that knows no limit."""

BRACKET = 0.1
"""A change of current is bracketed by two readings, so that the charge counted around it is exact:
the one before may be this share of a period old. Output off never waits for a reading."""

ON_SOMEHOW = Demand(output_on=True, current_a=math.nan, voltage_v=math.nan)
"""An output that is on, with set-points of which nobody knows: no demand is equal to it."""

LEND_LIMIT_S = 8.0
"""Real seconds that whoever borrows the line waits for all of it: the exchange under way, the use
of the line, and finding it again."""

STOP_LIMIT_S = 5.0
"""Real seconds that a thread may need to come to its end: the longest turn, with room."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """A device's failure that no run survives."""

    text: str


@dataclass(frozen=True, slots=True)
class Missed:
    """A reply that did not come in time or in form: the reading is missing, the run goes on."""

    text: str


News = Reading | Trouble | Missed


@dataclass(frozen=True, slots=True)
class _ReadAt:
    monotonic_s: float


@dataclass(frozen=True, slots=True)
class _Lend:
    use: Callable[[], str | None]
    result: Future[str | None]


class _Stop:
    """Tells the thread to end."""


_Message = Demand | _ReadAt | _Lend | _Stop


class SupplyWorker:
    """One supply on one line.

    `tell` receives the news, from the worker's thread. `period_s` is the time from one reading to
    the next; readings are taken on an absolute grid, so that lateness does not add up.
    """

    def __init__(
        self,
        supply: Supply,
        rating: Rating,
        clock: Clock,
        period_s: float,
        tell: Callable[[News], None],
    ) -> None:
        self._supply = supply
        self._rating = rating
        self._clock = clock
        self._period_s = period_s
        self._tell = tell
        self._inbox: SimpleQueue[_Message] = SimpleQueue()
        self._thread = threading.Thread(target=self._work, name="supply", daemon=True)
        self._wanted = OFF
        # What the supply is known to do; None when that is not known.
        self._applied: Demand | None = OFF
        # After a trouble nothing is switched on until the loop has said "off" once more, which it
        # does when it hears of it: a demand that was under way must not energise the tank again.
        self._locked = False
        self._open = False
        self._reopen_s = REOPEN_FIRST_S
        self._due_s = 0.0
        self._extra_s = math.inf
        self._read_s = -math.inf
        self._missed_quiet_until_s = -math.inf
        self._trouble_quiet_until_s = -math.inf
        self._told = ""
        self._began_s: float | None = None

    @property
    def well(self) -> bool:
        """Whether the thread lives and is not stuck: only then are demands still obeyed."""
        began_s = self._began_s
        if began_s is None:
            return self._thread.is_alive()
        busy_s = (self._clock.monotonic_s() - began_s) / self._clock.rate
        return self._thread.is_alive() and busy_s < STUCK_S

    def open(self) -> None:
        """Open the line, which switches the output off. Raises `DriverError` when it cannot."""
        self._supply.open()
        self._open = True
        self._due_s = self._clock.monotonic_s()

    def start(self) -> None:
        """Start the thread; the line has to be open."""
        self._thread.start()

    def demand(self, demand: Demand) -> None:
        """Have the supply do this as soon as the exchange under way is over."""
        self._inbox.put(demand)

    def read_at(self, monotonic_s: float) -> None:
        """Take a reading at this moment too, besides those of the period."""
        self._inbox.put(_ReadAt(monotonic_s))

    def lend(self, use: Callable[[], str | None]) -> str | None:
        """Have `use` called while the line is left alone; what it gives, or why it was not called.

        It is called in the worker's thread, only while the output is off and shall be so, and with
        the line closed; it may open the port itself, and has to be done with it when it returns.
        For any thread but the worker's; waits until a reading was taken again.
        """
        loan = _Lend(use, Future())
        self._inbox.put(loan)
        try:
            return loan.result.result(LEND_LIMIT_S)
        except TimeoutError:
            loan.result.cancel()
            return f"the supply's thread did not get to it within {LEND_LIMIT_S:g} s"

    def stop(self) -> None:
        """End the thread, switch the output off, and close the line. May be called twice.

        Raises `DriverError` if the thread does not end, or the supply does not say that it is off.
        """
        if self._thread.is_alive():
            self._inbox.put(_Stop())
            self._thread.join(STOP_LIMIT_S)
            if self._thread.is_alive():
                raise DriverError(f"the supply's thread did not end within {STOP_LIMIT_S:g} s")
        if not self._open:
            return
        self._open = False
        try:
            self._supply.output(False)
        finally:
            self._supply.close()

    def _work(self) -> None:
        while self.turn():
            pass

    def turn(self) -> bool:
        """Wait for what comes first, a message or the next reading, and see to it.

        The thread does nothing but this, again and again; False at the end.
        """
        messages = self._messages()
        for message in messages:
            if isinstance(message, _Stop):
                return False
            if not isinstance(message, _Lend):
                self._note(message)
        now_s = self._began_s = self._clock.monotonic_s()
        due = now_s >= min(self._due_s, self._extra_s)
        if not self._open:
            if due:
                self._reopen(now_s)
        elif self._wanted != self._applied and (due or (messages and self._cannot_wait())):
            if self._wanted.output_on and now_s - self._read_s > BRACKET * self._period_s:
                self._do(self._read)
            self._do(self._apply)
            self._do(self._read)
        elif due:
            self._do(self._read)
        for message in messages:
            if isinstance(message, _Lend) and message.result.set_running_or_notify_cancel():
                message.result.set_result(self._lend(message.use))
        self._began_s = None
        return True

    def _cannot_wait(self) -> bool:
        """Whether the demand is more than the next step of a ramp, which waits for its reading.

        Otherwise each reading would bring the next step and each step a reading, as fast as the
        line can; and many supplies store each set-point in a memory that wears out.
        """
        wanted, applied = self._wanted, self._applied
        return applied is None or wanted.output_on != applied.output_on or wanted.current_a == 0

    def _messages(self) -> list[_Message]:
        """All that is in the inbox; waits for something until the next reading is due."""
        messages: list[_Message] = []
        timeout_s = self._clock.real_seconds_until(min(self._due_s, self._extra_s))
        try:
            messages.append(self._inbox.get(timeout_s > 0, timeout_s))
            while True:
                messages.append(self._inbox.get_nowait())
        except Empty:
            return messages

    def _note(self, message: Demand | _ReadAt) -> None:
        if isinstance(message, _ReadAt):
            self._extra_s = message.monotonic_s
            return
        if not message.output_on:
            self._locked = False
            # What is said again is sent again: an output can come on by itself.
            self._applied = None
        if self._locked:
            return
        self._wanted = self._in_steps(message)
        if message.output_on and not self._open:
            self._give_up(self._told)

    def _in_steps(self, demand: Demand) -> Demand:
        """The demand in steps that the supply knows: what it cannot tell apart is not sent."""
        return Demand(
            demand.output_on,
            _rounded(demand.current_a, self._rating.current_step_a),
            _rounded(demand.voltage_v, self._rating.voltage_step_v),
        )

    def _do(self, exchange: Callable[[], None]) -> None:
        """Run one exchange; its failure becomes news, and the next turn tries again."""
        if not self._open:
            return
        try:
            exchange()
        except PortUnavailableError as error:
            self._lose(str(error))
        except LinkError as error:
            self._set_next_reading()
            now_s = self._clock.monotonic_s()
            if now_s >= self._missed_quiet_until_s:
                self._missed_quiet_until_s = now_s + QUIET_S
                self._tell(Missed(str(error)))
        except DriverError as error:
            self._set_next_reading()
            self._give_up(str(error))

    def _apply(self) -> None:
        wanted, applied = self._wanted, self._applied
        switches = applied is None or applied.output_on != wanted.output_on
        # "On" is not said again for set-points that did not get through: an output that went off
        # meanwhile, by itself or by hand, has to stay off until the loop has seen it.
        self._applied = None if switches else ON_SOMEHOW
        if wanted.output_on:
            self._supply.set_points(wanted.current_a, wanted.voltage_v)
        if switches:
            self._supply.output(wanted.output_on)
        self._applied = wanted

    def _read(self) -> None:
        reading = self._supply.read()
        self._read_s = reading.monotonic_s
        self._set_next_reading()
        self._tell(reading)

    def _lend(self, use: Callable[[], str | None]) -> str | None:
        if not self._open:
            return self._told
        if self._wanted.output_on or self._applied is None or self._applied.output_on:
            return "the supply's output is not known to be off"
        self._supply.close()
        result = use()
        try:
            # Finds the step anew, whatever was said, and switches the output off.
            self._supply.open()
        except DriverError as error:
            self._lose(str(error))
            return str(error)
        self._do(self._read)
        return result

    def _set_next_reading(self) -> None:
        now_s = self._clock.monotonic_s()
        if now_s >= self._extra_s:
            self._extra_s = math.inf
        if now_s >= self._due_s:
            missed = (now_s - self._due_s) // self._period_s if self._period_s > 0 else 0
            self._due_s += (missed + 1) * self._period_s

    def _give_up(self, why: str) -> None:
        """Want nothing but "off" from here on, and tell why, unless that was told already."""
        now_s = self._clock.monotonic_s()
        if why == self._told and not self._wanted.output_on and now_s < self._trouble_quiet_until_s:
            return
        self._told, self._trouble_quiet_until_s = why, now_s + QUIET_S
        self._wanted = OFF
        # Only what was told may lock: the loop's answer to it unlocks.
        self._locked = True
        self._tell(Trouble(why))

    def _lose(self, why: str) -> None:
        self._supply.close()
        self._open = False
        self._reopen_s = REOPEN_FIRST_S
        self._wait_to_reopen()
        self._give_up(why)

    def _reopen(self, now_s: float) -> None:
        try:
            self._supply.open()
        except DriverError:
            self._supply.close()
            self._reopen_s = min(self._reopen_s * 2, REOPEN_MOST_S)
            self._wait_to_reopen()
            return
        self._open = True
        self._applied = OFF
        self._due_s = now_s

    def _wait_to_reopen(self) -> None:
        self._extra_s = math.inf
        self._due_s = self._clock.monotonic_s() + self._reopen_s


def _rounded(value: float, step: float) -> float:
    return round(value / step) * step
