"""What drives and reads pins, on gpiozero.

Pins are claimed exclusively: a second owner is refused, in this process and in any other. When a
process dies, the kernel leaves an output at its last level, which is why the contactor hangs on a
line that has to move (`HeartbeatLine`), and never on a level.
"""

import os
import tempfile
from collections.abc import Callable
from typing import TypeVar

from gpiozero import DigitalInputDevice, DigitalOutputDevice, Factory

from drivers.errors import PinError
from drivers.pins.header import contact_refusal, heartbeat_refusal, signal_refusal

T = TypeVar("T")


def pi_factory() -> Factory:
    """Access to this Pi's pins through lgpio. Raises `PinError` where there is none.

    lgpio is asked for by name: without it, gpiozero would go on to ways that do not work on every
    Pi, with a warning for each.
    """
    # lgpio makes a pipe in its working folder, which need not be writable.
    os.environ.setdefault("LG_WD", tempfile.gettempdir())
    try:
        from gpiozero.pins.lgpio import LGPIOFactory
    except ImportError as error:
        raise PinError(
            "pins: the library lgpio is missing: install tankhand with its extra `pi`"
        ) from error
    return _tried("pins", LGPIOFactory)


class HeartbeatLine:
    """The line that keeps the contactor closed as long as it moves. Low from the first moment.

    Whatever level it is left at, the circuit behind it lets the contactor open. A dosing pump runs
    on one of its own in the same way; `name` says whose it is.
    """

    def __init__(self, pin: int, factory: Factory, name: str = "heartbeat") -> None:
        refused = heartbeat_refusal(pin)
        if refused is not None:
            raise PinError(refused)
        self._where = f"GPIO{pin}, {name}"
        self._device = _tried(
            self._where,
            # Active high: an active-low output blips when it is set up.
            lambda: DigitalOutputDevice(
                pin, active_high=True, initial_value=False, pin_factory=factory
            ),
        )

    def beat(self) -> None:
        """Move once, to the other level. Raises `PinError`."""
        _tried(self._where, self._device.toggle)

    def rest(self) -> None:
        """Go low and stay there. Raises `PinError`."""
        _tried(self._where, self._device.off)

    def close(self) -> None:
        """Go low and give the pin back, as an input without a pull. May be called twice."""
        if not self._device.closed:
            try:
                self.rest()
            finally:
                self._device.close()


class SignalOutput:
    """A beacon or a siren, behind a driver of its own. Off from the first moment, and when closed.

    With `active_high` False it is on at the low level. Such a pin is low for some microseconds when
    it is claimed, since gpiozero sets direction and level one after the other: too short for a
    relay, a lamp or an ear.
    """

    def __init__(self, pin: int, name: str, factory: Factory, *, active_high: bool = True) -> None:
        refused = signal_refusal(pin, active_high=active_high)
        if refused is not None:
            raise PinError(refused)
        self._where = f"GPIO{pin}, {name}"
        self._on = False
        self._device = _tried(
            self._where,
            lambda: DigitalOutputDevice(
                pin, active_high=active_high, initial_value=False, pin_factory=factory
            ),
        )

    def show(self, on: bool) -> None:
        """Switch it on or off, or say again what it is. Raises `PinError`.

        Also when the pin was found at the other level than it was put to before: its wire is
        shorted, or another program has moved it. It is put to the wanted one even so.
        """
        found = _tried(self._where, lambda: bool(self._device.value))
        _tried(self._where, self._device.on if on else self._device.off)
        put, self._on = self._on, on
        if found is not put:
            words = {True: "on", False: "off"}
            raise PinError(f"{self._where}: was put {words[put]} and found {words[found]}")

    def close(self) -> None:
        """Switch it off and give the pin back, as an input without a pull. May be called twice."""
        if not self._device.closed:
            try:
                _tried(self._where, self._device.off)
            finally:
                self._device.close()


class ContactInput:
    """A contact between 3.3 V and a pin that is pulled down: closed is high.

    A broken wire, a lost feed and a wire that touches earth all read open. A button that is closed
    while it is pressed is one too.
    """

    def __init__(self, pin: int, name: str, factory: Factory) -> None:
        refused = contact_refusal(pin)
        if refused is not None:
            raise PinError(refused)
        self._where = f"GPIO{pin}, {name}"
        self._device = _tried(
            self._where, lambda: DigitalInputDevice(pin, pull_up=False, pin_factory=factory)
        )

    def closed(self) -> bool:
        """Whether the contact is closed at this moment, bouncing included. Raises `PinError`."""
        return _tried(self._where, lambda: bool(self._device.value))

    def close(self) -> None:
        """Give the pin back. May be called twice."""
        self._device.close()


def _tried(where: str, call: Callable[[], T]) -> T:
    try:
        return call()
    except Exception as error:
        # lgpio's errors have no other root than this, and exist only where lgpio does.
        raise PinError(f"{where}: {error or type(error).__name__}") from error
