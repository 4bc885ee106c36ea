"""The thread that owns a meter or a thermometer: it reads on its own grid, and hangs alone."""

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import Protocol

from daemon.clock import Clock
from daemon.service.devices.ripples import RippleSeen, RippleWatch
from daemon.service.devices.supply_worker import (
    QUIET_S,
    REOPEN_FIRST_S,
    REOPEN_MOST_S,
    STOP_LIMIT_S,
)
from drivers.contracts import Reading, Temperature
from drivers.errors import DriverError, PortUnavailableError


class Device(Protocol):
    """A meter or a thermometer: see `drivers.contracts`."""

    def open(self) -> None:
        """Open it."""

    def close(self) -> None:
        """Give it back; never raises."""

    def read(self) -> Reading | Temperature:
        """Measure."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What a meter or thermometer has read, and which it was."""

    name: str
    value: Reading | Temperature


@dataclass(frozen=True, slots=True)
class Unread:
    """A device that could not be read: its name and why. Told once in a while."""

    name: str
    text: str


class MeterWorker:
    """One meter or thermometer. `tell` gets what it reads and what goes wrong, from its thread.

    `ripple` tells when the meter is looked at for ripple, which keeps it busy for a moment.
    """

    def __init__(
        self,
        name: str,
        device: Device,
        clock: Clock,
        period_s: float,
        tell: Callable[[Seen | Unread | RippleSeen], None],
        ripple: RippleWatch | None = None,
    ) -> None:
        self._name = name
        self._device = device
        self._clock = clock
        self._period_s = period_s
        self._tell = tell
        self._ripple = ripple
        self._inbox: SimpleQueue[float | None] = SimpleQueue()
        self._thread = threading.Thread(target=self._work, name=name, daemon=True)
        self._extra_s = math.inf
        self._open = False
        self._reopen_s = REOPEN_FIRST_S
        self._due_s = 0.0
        self._quiet_until_s = -math.inf

    def open(self) -> None:
        """Open the device. Raises `DriverError` when it cannot."""
        self._device.open()
        self._open = True
        self._due_s = self._clock.monotonic_s()

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def read_at(self, monotonic_s: float) -> None:
        """Take a reading at this moment too, besides those of the period."""
        self._inbox.put(monotonic_s)

    def stop(self) -> None:
        """End the thread and close the device; a thread that hangs in a read is left behind."""
        if self._thread.is_alive():
            self._inbox.put(None)
            self._thread.join(STOP_LIMIT_S)
        if not self._thread.is_alive():
            self._device.close()

    def _work(self) -> None:
        while self.turn():
            pass

    def turn(self) -> bool:
        """Wait for the next reading and take it; False at the end. The thread does only this.

        A failure is told, never raised; what was lost is opened again.
        """
        timeout_s = self._clock.real_seconds_until(min(self._due_s, self._extra_s))
        try:
            message = self._inbox.get(timeout_s > 0, timeout_s)
        except Empty:
            if self._clock.monotonic_s() >= min(self._due_s, self._extra_s):
                self._read()
            return True
        if message is None:
            return False
        self._extra_s = message
        return True

    def _read(self) -> None:
        now_s = self._clock.monotonic_s()
        if now_s >= self._extra_s:
            self._extra_s = math.inf
        try:
            if not self._open:
                self._device.open()
                self._open, self._reopen_s = True, REOPEN_FIRST_S
            value = self._device.read()
        except DriverError as error:
            self._failed(error, now_s)
            return
        if now_s >= self._due_s:
            # A grid of its own, so that lateness does not add up; a stall's readings are left out.
            missed = (now_s - self._due_s) // self._period_s
            self._due_s += (missed + 1) * self._period_s
        self._tell(Seen(self._name, value))
        if self._ripple is not None and isinstance(value, Reading):
            self._look_for_ripple(self._ripple, value)

    def _look_for_ripple(self, ripple: RippleWatch, reading: Reading) -> None:
        """Look, if it is time to and no reading is asked for before the look would be over."""
        now_s = self._clock.monotonic_s()
        if not ripple.is_due(now_s, reading) or self._extra_s < now_s + ripple.duration_s:
            return
        try:
            found = ripple.look(now_s)
        except DriverError as error:
            self._failed(error, now_s)
            return
        self._tell(RippleSeen(self._name, now_s, found))

    def _failed(self, error: DriverError, now_s: float) -> None:
        if isinstance(error, PortUnavailableError) or not self._open:
            self._device.close()
            self._open = False
            self._due_s = now_s + self._reopen_s
            self._reopen_s = min(2 * self._reopen_s, REOPEN_MOST_S)
        else:
            self._due_s = now_s + self._period_s
        if now_s >= self._quiet_until_s:
            self._quiet_until_s = now_s + QUIET_S
            self._tell(Unread(self._name, str(error)))
