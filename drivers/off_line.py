"""A second handle on a supply's port, which only ever writes "output off".

For a process that watches the one which drives the supply, and has to act when that one has died or
hangs. It needs nothing but the standard library and pyserial, so that it is ready before anything
heavy is loaded. What is written differs from protocol to protocol: see `drivers.scpi.off` and
`drivers.modbus.off`.

What still waits in the port's buffer is left to go out before, unless that buffer is so full that
"output off" is not taken; then it is thrown away. (Throwing it away each time would be wrong: "off"
said again and again would then throw away itself.) Nothing is read: the reply to a question of the
hung process may still be on its way, and is nobody's business here. The one exception is `prove`,
for a moment at which the line belongs to nobody else.
"""

import select
import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from contextlib import suppress

import serial

from drivers.errors import PortUnavailableError
from drivers.port import PORT_FAILURES, PortSettings, open_port

_LONGEST_PAUSE_MS = 60_000

_CHUNK_BYTES = 256
"""More than a confirmation of "output off" has."""


class SecondHandle(ABC):
    """A way to say "output off" to the supply on `port`.

    Open it before the driving process starts: opening a serial port empties the buffer of what has
    come in, and so may take away a reply that the other process waits for. A supply on `socket://`
    that takes one connection only has to be left unopened; `send` then connects when the driving
    process is gone.
    """

    def __init__(self, port: str, settings: PortSettings) -> None:
        self._settings = settings
        self._name = port
        self._port: serial.Serial | None = None

    def open(self, *, alone: bool = False) -> None:
        """Open the port beside whoever drives the supply. Raises `PortUnavailableError`.

        `alone`: only if nobody does, and so that nobody can from then on.
        """
        self.close()
        self._port = open_port(self._name, self._settings, exclusive=alone)

    def close(self) -> None:
        """Give the port back. Never raises; may be called twice."""
        port, self._port = self._port, None
        if port is not None:
            with suppress(*PORT_FAILURES):
                port.close()

    def send_alone(self) -> str | None:
        """Say "output off" if nobody else drives the supply, and give the port back.

        For the very start, when another process may be plating on this port by right: that one is
        left alone. Returns None when the port has taken it all, otherwise why not; never raises.
        """
        self.close()
        try:
            self._port = open_port(self._name, self._settings, exclusive=True)
        except PortUnavailableError as error:
            return str(error)
        failure = self._write_to(self._port)
        self.close()
        return failure

    def send(self) -> str | None:
        """Say "output off"; None when the port has taken it all, otherwise why it has not.

        Never raises. If the open handle fails, as after the plug was pulled and put back, or if the
        port takes no more, it is opened anew, emptied and tried once more. Each try takes at most
        one write limit for each message and the pauses between them; connecting a socket takes up
        to pyserial's 5 s.
        """
        if self._port is not None and self._write_to(self._port) is None:
            return None
        self.close()
        try:
            self._port = open_port(self._name, self._settings, exclusive=False)
        except PortUnavailableError as error:
            return str(error)
        return self._write_to(self._port, empty_first=True)

    def prove(self) -> str | None:
        """Say "output off" and hear that it is; None, or why that was not heard. Never raises.

        What comes in is read here, so nobody else may speak or listen meanwhile: whoever drives the
        supply has to let go of the line before, and to get into step with it anew afterwards.
        """
        if self._port is not None:
            with suppress(*PORT_FAILURES):  # `send` opens anew what is lost
                self._port.reset_input_buffer()
        failure = self.send()
        if failure is not None or self._port is None:
            return failure
        try:
            return self._unconfirmed(self._port)
        except PORT_FAILURES as error:
            return f"{self._name}: the port was lost: {error}"

    @abstractmethod
    def _say(self, port: serial.Serial) -> None:
        """Write what switches the output off. May raise any of `PORT_FAILURES`."""

    @abstractmethod
    def _unconfirmed(self, port: serial.Serial) -> str | None:
        """Hear from the supply that the output is off, right after `_say`; None, or why not.

        May raise any of `PORT_FAILURES`.
        """

    def _heard(
        self, port: serial.Serial, limit_s: float, is_whole: Callable[[bytes], bool]
    ) -> tuple[bytes, bool]:
        """What comes in until it is whole or `limit_s` is over, and whether it is whole."""
        end_s = time.monotonic() + limit_s
        heard = b""
        while not is_whole(heard):
            left_s = end_s - time.monotonic()
            if left_s <= 0 or not select.select([port.fileno()], [], [], left_s)[0]:
                return heard, False
            heard += port.read(_CHUNK_BYTES)
        return heard, True

    def _not_confirmed(self, heard: bytes, limit_s: float) -> str:
        came = f"only {heard!r}" if heard else "nothing"
        return f"{self._name}: output off is not confirmed: {came} came within {limit_s:g} s"

    def _write_to(self, port: serial.Serial, *, empty_first: bool = False) -> str | None:
        """Say it on this port; None, or why not."""
        try:
            if empty_first:
                port.reset_output_buffer()
            self._say(port)
        except PORT_FAILURES as error:
            return f"{self._name}: output off could not be written: {error}"
        return None


def pause_s(milliseconds: float) -> float:
    """A pause of an unchecked description, s. ValueError for one that cannot be waited for."""
    if not 0 <= milliseconds <= _LONGEST_PAUSE_MS:
        raise ValueError(f"a pause of {milliseconds!r} ms")
    return milliseconds / 1000
