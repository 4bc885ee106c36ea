"""One line to one unit: minimalmodbus asks, and each answer belongs to its own question.

A reply says which unit and function it comes from, but not which registers. So a reply that comes
too late looks exactly like the answer to the next question of the same shape: the voltage of a
second ago would pass for the current of now. minimalmodbus empties its buffer before it asks, which
helps only if the late reply has come by then.

Hence the line is *in step* only while every question has had its answer. After anything else it
reads the registers that the description calls `resync`, again and again until that is answered, and
only then asks another question. Their number is one that no other question has. A unit answers one
question after the other, so once this answer is there, every reply to an earlier question has gone
by; and what may still come late is another answer to `resync` itself, which no other question takes
for its own.
"""

from collections.abc import Callable
from contextlib import suppress
from time import monotonic, sleep
from typing import TypeVar

import serial
from minimalmodbus import (
    Instrument,
    InvalidResponseError,
    LocalEchoError,
    NoResponseError,
    SlaveDeviceBusyError,
    SlaveReportedException,
)

from drivers.errors import (
    CommandRefusedError,
    GarbledReplyError,
    LinkError,
    NoReplyError,
    PortUnavailableError,
)
from drivers.modbus.description import LineTable, ResyncTable
from drivers.port import PORT_FAILURES, PortSettings, open_port

T = TypeVar("T")

_QUIET_TRIES = 8
"""Reply limits in which a line has to become quiet; one that does not is not ours alone."""

_CHUNK_BYTES = 256
"""The longest frame; a line that is quiet has less to say."""


class Line:
    """The port, its pace, and the unit at its other end. For one thread.

    Every method but `close` raises `LinkError` or a child of it; `CommandRefusedError` when the
    unit answers with an exception. A unit that says it is busy counts as one that did not answer.
    """

    def __init__(self, port: str, settings: LineTable, resync: ResyncTable) -> None:
        self._name = port
        self._settings = PortSettings.from_table({"data_bits": 8, **settings.model_dump()})
        self._unit = settings.unit
        self._echo = settings.echo
        self._reply_timeout_s = settings.reply_timeout_ms / 1000
        self._wait_after_open_s = settings.wait_after_open_ms / 1000
        self._pause_s = settings.pause_between_frames_ms / 1000
        self._resync = resync
        self._port: serial.Serial | None = None
        self._instrument: Instrument | None = None
        self._free_at_s = 0.0
        self._in_step = False

    @property
    def in_step(self) -> bool:
        """Whether every question so far has had its answer."""
        return self._in_step

    def open(self) -> None:
        """Open the port for us alone, and give the unit the time it needs afterwards."""
        self.close()
        port = open_port(self._name, self._settings, exclusive=True)
        port.timeout = self._reply_timeout_s
        self._port = port
        self._instrument = Instrument(port, self._unit)
        self._instrument.handle_local_echo = self._echo
        if self._wait_after_open_s:
            sleep(self._wait_after_open_s)

    def close(self) -> None:
        """Give the port back. Never raises; may be called twice."""
        port, self._port = self._port, None
        self._instrument = None
        self._in_step = False
        if port is not None:
            with suppress(*PORT_FAILURES):
                port.close()

    def read(self, function: int, address: int, count: int = 1) -> list[int]:
        """What stands in registers (function 3 or 4), or in one bit (1 or 2): 0 or 1.

        The line is brought into step before, if it is not or if something has come unasked.
        """
        if not self._in_step or self._is_waiting():
            self.resync()
        return self._read(function, address, count)

    def write(self, function: int, address: int, words: list[int]) -> None:
        """Write registers (function 6: one, or 16) or a coil (5 or 15); the unit confirms it.

        Written at once, out of step too, since "output off" cannot wait; without the confirmation
        it may have been done all the same.
        """

        def ask(instrument: Instrument) -> None:
            if function in (5, 15):
                instrument.write_bit(address, words[0], functioncode=function)
            elif function == 6:
                instrument.write_register(address, words[0], functioncode=function)
            else:
                instrument.write_registers(address, words)

        shown = ", ".join(map(str, words))
        self._exchange(f"write {shown} to {address} with function {function}", ask)

    def resync(self) -> None:
        """Get into step: see the module's text."""
        self._in_step = False
        try:
            self._find_step()
        except GarbledReplyError:
            # What came belongs to an earlier question, and the rest of it may still follow.
            self._wait_for_quiet()
            self._find_step()
        self._in_step = True

    def _find_step(self) -> None:
        block = self._resync
        try:
            self._read(block.function, block.address, block.count)
        except CommandRefusedError as error:
            # It may be the reply to an earlier question, so that nobody knows what was refused.
            raise GarbledReplyError(str(error)) from error

    def _read(self, function: int, address: int, count: int) -> list[int]:
        def ask(instrument: Instrument) -> list[int]:
            if function in (1, 2):
                return [instrument.read_bit(address, functioncode=function)]
            return list(instrument.read_registers(address, count, functioncode=function))

        last = f" to {address + count - 1}" if count > 1 else ""
        return self._exchange(f"read {address}{last} with function {function}", ask)

    def _exchange(self, what: str, ask: Callable[[Instrument], T]) -> T:
        """Ask; afterwards the line is in step only if it was, and the unit has answered."""
        if self._instrument is None:
            raise PortUnavailableError(f"{self._name}: is not open")
        self._keep_pause()
        about = f"{self._name}: unit {self._unit}: {what}"
        in_step, self._in_step = self._in_step, False
        try:
            answer = ask(self._instrument)
        except SlaveReportedException as error:
            self._in_step = in_step
            kind = NoReplyError if isinstance(error, SlaveDeviceBusyError) else CommandRefusedError
            raise kind(f"{about}: {error}") from error
        except NoResponseError as error:
            limit_s = self._reply_timeout_s
            raise NoReplyError(f"{about}: nothing came within {limit_s:g} s") from error
        except (InvalidResponseError, LocalEchoError) as error:
            raise GarbledReplyError(f"{about}: {error}") from error
        except PORT_FAILURES as error:
            raise self._not_sent(about, error) from error
        finally:
            self._free_at_s = monotonic() + self._pause_s
        self._in_step = in_step
        return answer

    def _not_sent(self, about: str, error: Exception) -> LinkError:
        """A port that takes no more is not a lost one, unless it cannot even be emptied."""
        if not isinstance(error, serial.SerialTimeoutException):
            return self._lost(error)
        try:
            # What could not be sent must not go out later, when nobody expects it any more.
            self._opened().reset_output_buffer()
        except PORT_FAILURES as lost:
            return self._lost(lost)
        limit_s = self._settings.write_timeout_s
        return NoReplyError(f"{about}: the port did not take it within {limit_s:g} s")

    def _is_waiting(self) -> bool:
        """Whether bytes have come that nobody has asked for."""
        try:
            return self._opened().in_waiting > 0
        except PORT_FAILURES as error:
            raise self._lost(error) from error

    def _wait_for_quiet(self) -> None:
        """Throw away what comes, until nothing has come for as long as a reply may take."""
        port = self._opened()
        try:
            for _ in range(_QUIET_TRIES):
                if not port.read(_CHUNK_BYTES):
                    return
        except PORT_FAILURES as error:
            raise self._lost(error) from error
        raise GarbledReplyError(f"{self._name}: the line does not become quiet")

    def _keep_pause(self) -> None:
        pause_s = self._free_at_s - monotonic()
        if pause_s > 0:
            sleep(pause_s)

    def _opened(self) -> serial.Serial:
        if self._port is None:
            raise PortUnavailableError(f"{self._name}: is not open")
        return self._port

    def _lost(self, error: Exception) -> PortUnavailableError:
        self._in_step = False
        return PortUnavailableError(f"{self._name}: the port was lost: {error}")
