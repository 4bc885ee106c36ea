"""What hangs on the Pi's pins, as the loop sees it: looked at in each cycle, renewed after it.

The heartbeat is moved here and nowhere else, by the loop's own thread, once a cycle is complete and
nothing is found wrong. There is no timer and no thread that could go on without the loop.
"""

import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass, replace

from daemon.control.debounce import Debounced
from daemon.service.devices.pin_settings import SignalTable
from daemon.service.settings.file import Settings
from drivers.contracts import Contact, Signal, Switch
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

BUTTON_DEBOUNCE_S = 0.03
"""s. Less than a cycle: two looks one after the other have to show a press, so that a spark on a
long wire acknowledges nothing, and a finger is on a button for longer than that."""

RENEW_S = 1.0
"""Real s after which a beacon or siren is told again what it is, in case its pin was moved."""


@dataclass(frozen=True, slots=True)
class InterlockLoop:
    """An interlock's loop: its contact, and for how long, in s, a change has to be seen."""

    name: str
    contact: Contact
    debounce_s: float


@dataclass(frozen=True, slots=True)
class Seen:
    """What a look at the pins showed, free of bouncing.

    acknowledge_pressed: somebody has just pressed the button; the one look tells of it that saw it.
    """

    open_loops: tuple[str, ...] = ()
    auxiliary_closed: bool | None = None
    acknowledge_pressed: bool = False


def _never_unwell() -> str | None:
    return None


class Pins:
    """The contactor's line and auxiliary contact, loops, signals and button; any may be missing.

    `pumps` are the lines of dosing pumps, by additive. `unwell`, which may be set once there is
    something to ask, says in words what forbids another beat, None while nothing does. Used by the
    loop's thread alone.
    """

    def __init__(
        self,
        line: Switch | None = None,
        auxiliary: Contact | None = None,
        loops: Sequence[InterlockLoop] = (),
        real_s: Callable[[], float] = time.monotonic,
        *,
        beacon: Signal | None = None,
        siren: Signal | None = None,
        button: Contact | None = None,
        pumps: Mapping[str, Switch] | None = None,
    ) -> None:
        self._line = line
        self.pumps = {name: PumpLine(each, real_s) for name, each in (pumps or {}).items()}
        self._auxiliary = auxiliary
        self._loops = tuple(loops)
        self._beacon, self._siren = _Shown(beacon), _Shown(siren)
        self._button = button
        self._button_believed: Debounced | None = None
        self._real_s = real_s
        self.unwell: Callable[[], str | None] = _never_unwell
        self._believed: dict[str, Debounced] = {}
        self._auxiliary_believed: Debounced | None = None
        self._next_edge_s = 0.0
        self._beats = self._withheld = False
        self._fault: str | None = None
        self.seen = Seen()

    def look(self, now_s: float) -> Seen:
        """Look at every contact. A loop that cannot be read counts as open."""
        open_loops = tuple(loop.name for loop in self._loops if not self._is_closed(loop, now_s))
        self.seen = Seen(open_loops, self._auxiliary_closed(now_s))
        # Whoever asks again for what was seen is not told of the same press again.
        return replace(self.seen, acknowledge_pressed=True) if self._pressed(now_s) else self.seen

    def show(self, beacon: bool, siren: bool) -> None:
        """Switch beacon and siren on or off, where there are any. A failure is `signal_fault`."""
        now_s = self._real_s()
        self._beacon.show(beacon, now_s)
        self._siren.show(siren, now_s)

    @property
    def signal_fault(self) -> str | None:
        """Why beacon or siren may not show what they should; None if nothing is known."""
        return "; ".join(each.fault for each in (self._beacon, self._siren) if each.fault) or None

    def beat(self) -> None:
        """Renew the contactor's permission. To be called after a complete cycle only."""
        self._beats = True
        now_s = self._real_s()
        if self._line is None or now_s < self._next_edge_s or self.trouble() is not None:
            return
        if self._withheld:
            return
        self._next_edge_s = now_s + LEAST_EDGE_S
        try:
            self._line.beat()
        except DriverError as error:
            self._fault = f"the contactor's heartbeat cannot be given: {error}"

    def withhold(self) -> str | None:
        """Give no beat until the contactor is told to open; why that is not possible, or None."""
        if self._line is None:
            return "there is no contactor in the settings"
        if not self._beats:
            return "the contactor is not closed: its heartbeat rests already"
        self._withheld = True
        return None

    def rest(self) -> None:
        """Let the contactor open now."""
        self._beats, self._withheld, self._fault = False, False, None
        if self._line is not None:
            # A line that cannot be driven does not move, and that is all it takes.
            with suppress(DriverError):
                self._line.rest()

    def trouble(self) -> str | None:
        """Why a contactor that should be closed gets no beat; None if it gets it."""
        if self._line is None or not self._beats:
            return None
        return self._fault or self.unwell()

    def is_closed(self, name: str) -> bool:
        """Whether a loop was closed at the last look; one that was never looked at is not."""
        believed = self._believed.get(name)
        return believed is not None and believed.closed

    def close(self) -> None:
        """Contactor and pumps let go, signals off, all pins given back. May be called twice."""
        self.rest()
        with ExitStack() as stack:
            for pump in self.pumps.values():
                stack.callback(pump.close)
            for each in (self._beacon.device, self._siren.device, self._button):
                if each is not None:
                    stack.callback(each.close)
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

    def _pressed(self, now_s: float) -> bool:
        """Whether the button has gone down. One that cannot be read, or stays down, is not pressed.

        Nor is one that was down already at the first look.
        """
        if self._button is None:
            return False
        try:
            closed = self._button.closed()
        except DriverError:
            return False
        before = self._button_believed or Debounced(closed)
        self._button_believed = before.seen(closed, now_s, BUTTON_DEBOUNCE_S)
        return self._button_believed.closed and not before.closed


class PumpLine:
    """The line of a dosing pump, which runs as long as the line moves, as a contactor's does.

    `fault` says why it could not be moved once; there is no second try without another start.
    """

    def __init__(self, line: Switch, real_s: Callable[[], float]) -> None:
        self._line = line
        self._real_s = real_s
        self._next_edge_s = 0.0
        self.fault: str | None = None

    def beat(self) -> None:
        """Renew the pump's permission. To be called after a complete cycle only."""
        now_s = self._real_s()
        if now_s < self._next_edge_s:
            return
        self._next_edge_s = now_s + LEAST_EDGE_S
        try:
            self._line.beat()
        except DriverError as error:
            self.fault = f"the pump's line cannot be moved: {error}"

    def rest(self) -> None:
        """Let the pump stop now."""
        # A line that cannot be driven does not move, and that is all it takes.
        with suppress(DriverError):
            self._line.rest()

    def close(self) -> None:
        """Let the pump stop, and give its pin back. May be called twice."""
        self._line.close()


class _Shown:
    """A beacon or siren, written when it has to change and every `RENEW_S`."""

    def __init__(self, device: Signal | None) -> None:
        self.device = device
        self.fault: str | None = None
        self._on = False
        self._again_s = 0.0

    def show(self, on: bool, now_s: float) -> None:
        if self.device is None or (on == self._on and now_s < self._again_s):
            return
        self._on, self._again_s = on, now_s + RENEW_S
        try:
            self.device.show(on)
            self.fault = None
        except DriverError as error:
            self.fault = str(error)


def make_pins(settings: Settings) -> Pins:
    """The pins of the settings, claimed, lines that move low first. Raises `PinError`.

    Without any in the settings no library is loaded and no pin touched.
    """
    if not settings.has_pins:
        return Pins()
    from drivers.pins.lines import ContactInput, HeartbeatLine, SignalOutput, pi_factory

    factory = pi_factory()
    table, button = settings.contactor, settings.acknowledge_button
    line = auxiliary = None
    pumps = {
        each.additive: HeartbeatLine(each.pin, factory, f"pump of {each.additive}")
        for each in settings.pump
    }
    if table is not None:
        line = HeartbeatLine(table.heartbeat_pin, factory)
        if table.auxiliary_pin is not None:
            auxiliary = ContactInput(table.auxiliary_pin, "auxiliary contact", factory)

    def signal(name: str, table: SignalTable | None) -> SignalOutput | None:
        if table is None:
            return None
        return SignalOutput(table.pin, name, factory, active_high=table.active_high)

    return Pins(
        line,
        auxiliary,
        [
            InterlockLoop(each.name, ContactInput(each.pin, each.name, factory), each.debounce)
            for each in settings.interlock
        ],
        beacon=signal("beacon", settings.beacon),
        siren=signal("siren", settings.siren),
        button=(
            None if button is None else ContactInput(button.pin, "acknowledge button", factory)
        ),
        pumps=pumps,
    )
