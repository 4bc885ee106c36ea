"""Puts gpiozero's mock pins under a daemon's real processes, and lets a test see and drive them.

In the folder `TANKHAND_MOCK_PINS`: `levels`, a line "PIN LEVEL" for each input at the start;
`edges`, to which each change of an output is added as "MONOTONIC_S PIN LEVEL"; `drive`, a socket
that takes "PIN LEVEL" while the process lives. A file `wall` there holds by how many seconds
somebody has set the wall clock. Python runs this by itself where it finds it.
"""

import os
import socket
import threading
import time
from pathlib import Path

FOLDER = os.environ.get("TANKHAND_MOCK_PINS")


def bench(folder):
    """A factory of mock pins over that folder."""
    from gpiozero.pins.mock import MockFactory, MockPin

    edges = os.open(folder / "edges", os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)

    class Pin(MockPin):
        driven = None

        def _set_pull(self, value):
            super()._set_pull(value)
            if self.driven is not None:
                drive(self, self.driven)

        def _set_state(self, value):
            before = self._state
            super()._set_state(value)
            if self._function == "output" and self._state != before:
                number = self.info.name.removeprefix("GPIO")
                line = f"{time.monotonic():.6f} {number} {int(self._state)}\n"
                os.write(edges, line.encode())

    factory = MockFactory(pin_class=Pin)
    for line in (folder / "levels").read_text().splitlines():
        take(factory, line)
    listen(factory, folder / "drive")
    return factory


def take(factory, line):
    number, level = map(int, line.split())
    drive(factory.pin(number), level)


def drive(pin, level):
    """Against its pull, as a contact does."""
    pin.driven = level
    pin.drive_high() if level else pin.drive_low()


def listen(factory, path):
    """Take levels from the test; the process that was started last is the one that hears them."""
    path.unlink(missing_ok=True)
    inbox = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    inbox.bind(str(path))

    def hear():
        while True:
            take(factory, inbox.recv(64).decode())

    threading.Thread(target=hear, daemon=True).start()


def set_wall(folder):
    """Have the daemon's wall clock show what somebody has set it to."""
    from datetime import timedelta

    import daemon.clock

    shown = daemon.clock.RatedClock.utc

    def utc(clock):
        try:
            set_by_s = float((folder / "wall").read_text())
        except (OSError, ValueError):
            set_by_s = 0.0
        return shown(clock) + timedelta(seconds=set_by_s)

    daemon.clock.RatedClock.utc = utc


if FOLDER is not None:
    import drivers.pins.lines

    set_wall(Path(FOLDER))

    drivers.pins.lines.pi_factory = lambda: bench(Path(FOLDER))
