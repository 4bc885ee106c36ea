"""What hangs on the Pi's pins, as the loop sees it: looked at in each cycle, renewed after it.

The heartbeat is moved here and nowhere else, by the loop's own thread, once a cycle is complete and
nothing is found wrong. There is no timer and no thread that could go on without the loop.
"""

import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass

from daemon.control.debounce import Debounced
from daemon.service.settings import Settings
from drivers.contracts import Contact, Switch
from drivers.errors import DriverError

CYCLE_S = 0.05
"""Real s. The longest that a loop with pins rests between two cycles, and so between two edges of
the heartbeat: 20 edges a second, a square wave of 10 Hz. Published circuits of this kind ask for no
less (common practice)."""

LEAST_EDGE_S = 0.02
"""Real s between two edges at least, however fast cycles follow each other: what a circuit gets is
always between 10 and 25 Hz."""

AUXILIARY_DEBOUNCE_S = 0.05
"""s. Contacts of contactors bounce for a few milliseconds (common practice)."""


@dataclass(frozen=True, slots=True)
class InterlockLoop:
    """An interlock's loop: its contact, and for how long, in s, a change has to be seen."""

    name: str
    contact: Contact
    debounce_s: float


@dataclass(frozen=True, slots=True)
class Seen:
    """What a look at the pins showed, free of bouncing."""

    open_loops: tuple[str, ...] = ()
    auxiliary_closed: bool | None = None


def _never_unwell() -> str | None:
    return None


class Pins:
    """The contactor's line and auxiliary contact and the interlocks' loops; any may be missing.

    `unwell`, which may be set once there is something to ask, says in words what forbids another
    beat, None while nothing does. Used by the loop's thread alone.
    """

    def __init__(
        self,
        line: Switch | None = None,
        auxiliary: Contact | None = None,
        loops: Sequence[InterlockLoop] = (),
        real_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._line = line
        self._auxiliary = auxiliary
        self._loops = tuple(loops)
        self._real_s = real_s
        self.unwell: Callable[[], str | None] = _never_unwell
        self._believed: dict[str, Debounced] = {}
        self._auxiliary_believed: Debounced | None = None
        self._next_edge_s = 0.0
        self._beats = False
        self._fault: str | None = None
        self.seen = Seen()

    def look(self, now_s: float) -> Seen:
        """Look at every contact. A loop that cannot be read counts as open."""
        open_loops = tuple(loop.name for loop in self._loops if not self._is_closed(loop, now_s))
        self.seen = Seen(open_loops, self._auxiliary_closed(now_s))
        return self.seen

    def beat(self) -> None:
        """Renew the contactor's permission. To be called after a complete cycle only."""
        self._beats = True
        now_s = self._real_s()
        if self._line is None or now_s < self._next_edge_s or self.trouble() is not None:
            return
        self._next_edge_s = now_s + LEAST_EDGE_S
        try:
            self._line.beat()
        except DriverError as error:
            self._fault = f"the contactor's heartbeat cannot be given: {error}"

    def rest(self) -> None:
        """Let the contactor open now."""
        self._beats, self._fault = False, None
        if self._line is not None:
            # A line that cannot be driven does not move, and that is all it takes.
            with suppress(DriverError):
                self._line.rest()

    def trouble(self) -> str | None:
        """Why a contactor that should be closed gets no beat; None if it gets it."""
        if self._line is None or not self._beats:
            return None
        return self._fault or self.unwell()

    def close(self) -> None:
        """Let the contactor open, and give all pins back. May be called twice."""
        self.rest()
        with ExitStack() as stack:
            for loop in self._loops:
                stack.callback(loop.contact.close)
            if self._auxiliary is not None:
                stack.callback(self._auxiliary.close)
            if self._line is not None:
                stack.callback(self._line.close)

    def _is_closed(self, loop: InterlockLoop, now_s: float) -> bool:
        name = loop.name
        try:
            closed = loop.contact.closed()
        except DriverError:
            self._believed[name] = Debounced(closed=False)
            return False
        believed = self._believed.get(name, Debounced(closed))
        self._believed[name] = believed.seen(closed, now_s, loop.debounce_s)
        return self._believed[name].closed

    def _auxiliary_closed(self, now_s: float) -> bool | None:
        """None without an auxiliary contact; one that cannot be read shows what should not be."""
        if self._auxiliary is None:
            return None
        try:
            closed = self._auxiliary.closed()
        except DriverError:
            return not self._beats
        believed = self._auxiliary_believed or Debounced(closed)
        self._auxiliary_believed = believed.seen(closed, now_s, AUXILIARY_DEBOUNCE_S)
        return self._auxiliary_believed.closed


def make_pins(settings: Settings) -> Pins:
    """The pins of the settings, claimed, the heartbeat's low first. Raises `PinError`.

    Without any in the settings no library is loaded and no pin touched.
    """
    table = settings.contactor
    if table is None and not settings.interlock:
        return Pins()
    from drivers.pins.lines import ContactInput, HeartbeatLine, pi_factory

    factory = pi_factory()
    line = auxiliary = None
    if table is not None:
        line = HeartbeatLine(table.heartbeat_pin, factory)
        if table.auxiliary_pin is not None:
            auxiliary = ContactInput(table.auxiliary_pin, "auxiliary contact", factory)
    loops = [
        InterlockLoop(each.name, ContactInput(each.pin, each.name, factory), each.debounce)
        for each in settings.interlock
    ]
    return Pins(line, auxiliary, loops)
