"""A DC supply that speaks Modbus RTU, as `drivers.contracts.Supply`."""

import math
import time
from collections.abc import Callable
from contextlib import suppress

from drivers.contracts import Mode, Reading
from drivers.errors import (
    CommandRefusedError,
    DriverError,
    GarbledReplyError,
    LinkError,
    PortUnavailableError,
    WrongDeviceError,
)
from drivers.modbus.description import Description, ReadTable
from drivers.modbus.line import Line
from drivers.modbus.set_point import SetPoint
from drivers.set_points import SetPointPair


class ModbusSupply:
    """One supply on one port (a device path or `socket://host:port`). For one thread.

    `now` gives the seconds that readings are labelled with; time limits on the line are real time.
    A reading takes two questions, or one where the registers of both values stand side by side.
    Set-points that the supply has confirmed are not sent again; see `drivers.set_points`.
    """

    def __init__(
        self, port: str, description: Description, now: Callable[[], float] = time.monotonic
    ) -> None:
        self._port = port
        self._description = description
        self._now = now
        self._line = Line(port, description.line, description.resync)
        self._together = description.measured_together
        self._pair = SetPointPair(
            SetPoint.of_current(description),
            SetPoint.of_voltage(description),
            settle=self._settle,
            put=self._put,
            ask=lambda point: self._number(point.read_back),
        )
        self._reads = 0

    @property
    def identity(self) -> str:
        """What the description calls it, and its address: a register map knows no more."""
        return f"{self._description.title}, unit {self._description.line.unit}"

    def open(self) -> None:
        """Open the port, make sure that the described supply answers, and switch its output off.

        What the description wants written for remote control is written before. Raises
        `WrongDeviceError` and any other `DriverError`; the port is then closed again.
        """
        self.close()
        try:
            self._line.open()
            self._line.resync()
            self._identify()
            for item in self._description.at_open:
                self._write(item.function, item.address, [item.value])
            self.output(on=False)
        except DriverError:
            self._line.close()
            raise

    def close(self) -> None:
        """Give the port back. Never raises, never touches the output, may be called twice."""
        with suppress(DriverError):
            for item in self._description.at_close:
                self._line.write(item.function, item.address, [item.value])
        self._line.close()
        self._pair.forget()

    def read(self) -> Reading:
        """Measure current and voltage; mode and output only as often as the description says.

        Both are None in the readings between. Raises `LinkError` or a child of it, and
        `CommandRefusedError` if the supply answers with an exception.
        """
        try:
            asked_s = self._now()
            if self._together is None:
                current_a = self._number(self._description.measured_current)
                answered_s = self._now()
                voltage_v = self._number(self._description.measured_voltage)
            else:
                current_a, voltage_v = self._both(*self._together)
                answered_s = self._now()
            mode = self._mode(current_a, voltage_v)
            output_on = self._output_every_so_often()
        except DriverError:
            self._pair.forget()
            raise
        self._reads += 1
        return Reading((asked_s + answered_s) / 2, current_a, voltage_v, mode, output_on)

    def set_points(self, current_a: float, voltage_v: float) -> None:
        """Set both limits, A and V, and read each back; what is lowered is lowered first.

        Raises `SetPointRefusedError` if a value is outside the rating (nothing is sent) or reads
        back as another, `CommandRefusedError` if the supply answers with an exception, `LinkError`.
        """
        self._pair.set(current_a, voltage_v)

    def output(self, on: bool) -> None:
        """Switch the output and read its state back.

        Off is said at once, whatever state the line is in. Raises `CommandRefusedError` if the
        output did not switch, or if the supply answers "on" with an exception; and `LinkError`.
        """
        table = self._description.output
        try:
            complaint = ""
            if on:
                self._settle()
                self._write(table.function, table.address, [table.on])
            else:
                complaint = self._switch_off()
            word = self._output_word()
            if self._state(word) is not on:
                raise CommandRefusedError(
                    f"{self._port}: the output was switched {'on' if on else 'off'}, but reads "
                    f"back as {word}{complaint and f'; {complaint}'}"
                )
        except DriverError:
            self._pair.forget()
            raise

    def _write(self, function: int, address: int, words: list[int]) -> None:
        """Write; where a strange confirmation comes, it is left to reading back what was done.

        A supply that clips a value may confirm the clipped one, which minimalmodbus takes for
        garbled.
        """
        try:
            self._line.write(function, address, words)
        except GarbledReplyError:
            self._line.resync()

    def _switch_off(self) -> str:
        """Say "off", and again in step if it may have got lost; the supply's complaint, if any."""
        table = self._description.output
        off = (table.function, table.address, [table.off])
        try:
            try:
                self._line.write(*off)
            except PortUnavailableError:
                raise
            except LinkError:
                # It may have met a reply that was still on its way.
                self._line.resync()
                self._write(*off)
        except CommandRefusedError as error:
            # An output that is off is off, whatever the supply complains about.
            return str(error)
        return ""

    def _identify(self) -> None:
        expected = self._description.identity
        if expected is None:
            return
        try:
            word = self._line.read(expected.function, expected.address)[0]
        except CommandRefusedError as error:
            raise WrongDeviceError(f"{error}; expected {self._description.title}") from error
        if word != expected.value:
            raise WrongDeviceError(
                f"{self._port}: unit {self._description.line.unit}: register {expected.address} "
                f"says {word}; expected {self._description.title} with {expected.value}"
            )

    def _settle(self) -> None:
        if not self._line.in_step:
            self._line.resync()

    def _put(self, point: SetPoint, value: float) -> None:
        target = point.target
        self._write(target.function, target.address, target.words(value))

    def _number(self, number: ReadTable) -> float:
        return self._finite(number, self._line.read(number.function, number.address, number.count))

    def _both(self, address: int, count: int) -> tuple[float, float]:
        """Measured current and voltage from one block of registers."""
        current = self._description.measured_current
        voltage = self._description.measured_voltage
        words = self._line.read(current.function, address, count)
        a, v = (
            self._finite(number, words[number.address - address :][: number.count])
            for number in (current, voltage)
        )
        return a, v

    def _finite(self, number: ReadTable, words: list[int]) -> float:
        value = number.value(words)
        if not math.isfinite(value):
            raise GarbledReplyError(f"{self._port}: register {number.address} holds no number")
        return value

    def _output_word(self) -> int:
        table = self._description.read_back_output
        return self._line.read(table.function, table.address)[0]

    def _state(self, word: int) -> bool | None:
        """Whether the output is on; None if it is neither on nor off."""
        table = self._description.read_back_output
        return {table.on: True, table.off: False}.get(word & table.mask)

    def _output_every_so_often(self) -> bool | None:
        every = self._description.reading.output_every_reads
        if not every or self._reads % every:
            return None
        return self._state(self._output_word())

    def _mode(self, current_a: float, voltage_v: float) -> Mode | None:
        """Which set-point is held, as far as the description allows to tell."""
        near = self._description.mode_by_nearness
        if near is not None:
            return self._pair.mode_by_nearness(current_a, voltage_v, near.current_a, near.voltage_v)
        status = self._description.mode_by_status
        if status is None or self._reads % status.every_reads:
            return None
        word = self._line.read(status.function, status.address)[0] & status.mask
        return {
            status.constant_current: Mode.CONSTANT_CURRENT,
            status.constant_voltage: Mode.CONSTANT_VOLTAGE,
        }.get(word)
