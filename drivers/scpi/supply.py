"""A DC supply that speaks SCPI, as `drivers.contracts.Supply`."""

import re
import time
from collections.abc import Callable
from contextlib import suppress

from drivers.contracts import Mode, Reading
from drivers.errors import CommandRefusedError, DriverError, GarbledReplyError, WrongDeviceError
from drivers.scpi.description import Description
from drivers.scpi.line import Line
from drivers.scpi.replies import (
    number_parser,
    pair_parser,
    parse_error,
    parse_status,
    parse_switch,
    shown,
)
from drivers.scpi.set_point import SetPoint
from drivers.set_points import SetPointPair

_ERROR_QUEUE_CAP = 32
"""More entries than a queue has; one that is still not empty then is not a queue."""


def _is_text(reply: bytes) -> bool:
    """Whether a device has said this, and not a line set to another speed or parity."""
    text = reply.strip()
    return text.isascii() and text.decode().isprintable() and text != b""


def _bytes_or_none(words: str | None) -> bytes | None:
    return words.encode() if words is not None else None


class ScpiSupply:
    """One supply on one port (a device path or `socket://host:port`). For one thread.

    `now` gives the seconds that readings are labelled with; time limits on the line are real time.
    A reading takes two questions, or one where the description has `measure_both`. Set-points that
    the supply has confirmed are not sent again; see `drivers.set_points`.
    """

    def __init__(
        self, port: str, description: Description, now: Callable[[], float] = time.monotonic
    ) -> None:
        words = description.words
        replies = description.replies
        self._port = port
        self._description = description
        self._now = now
        self._line = Line(port, description.line, words.identify.encode())
        self._identity = ""
        self._remote = _bytes_or_none(words.remote)
        self._local = _bytes_or_none(words.local)
        self._error_queue = _bytes_or_none(words.error_queue)
        self._switch = {True: words.output_on.encode(), False: words.output_off.encode()}
        self._ask_output = words.read_back_output.encode()
        self._ask_current = words.measure_current.encode()
        self._ask_voltage = words.measure_voltage.encode()
        self._ask_both = _bytes_or_none(words.measure_both)
        self._parse_current = number_parser("A", replies.units)
        self._parse_voltage = number_parser("V", replies.units)
        self._parse_both = pair_parser(
            self._parse_current,
            self._parse_voltage,
            replies.both_separator,
            voltage_first=replies.both_order == "voltage, current",
        )
        self._pair = SetPointPair(
            SetPoint.of_current(description),
            SetPoint.of_voltage(description),
            settle=self._settle,
            put=self._put,
            ask=lambda point: self._line.query(point.question, point.parse),
        )
        self._reads = 0
        self._emptied_at = 0

    @property
    def identity(self) -> str:
        """What the supply answered when it was opened; empty before."""
        return self._identity

    def open(self) -> None:
        """Open the port, make sure that the described supply answers, and switch its output off.

        Never resets the supply: a reset changes a live output. Errors that were in its queue are
        old and are thrown away. Raises `WrongDeviceError` and any other `DriverError`; the port is
        then closed again.
        """
        self.close()
        try:
            self._line.open()
            self._identity = self._identify()
            if self._remote is not None:
                self._line.command(self._remote)
            self._line.command(self._switch[False])
            self._errors()
            self.output(on=False)
        except DriverError:
            self._line.close()
            raise

    def close(self) -> None:
        """Give the port back. Never raises, never touches the output, may be called twice."""
        if self._local is not None:
            with suppress(DriverError):
                self._line.command(self._local)
        self._line.close()
        self._pair.forget()

    def read(self) -> Reading:
        """Measure current, then voltage; mode and output only as often as the description says.

        Both are None in the readings between. Raises `LinkError` or a child of it.
        """
        query = self._line.query
        now = self._now
        try:
            asked_s = now()
            if self._ask_both is None:
                current_a = query(self._ask_current, self._parse_current)
                answered_s = now()
                voltage_v = query(self._ask_voltage, self._parse_voltage)
            else:
                current_a, voltage_v = query(self._ask_both, self._parse_both)
                answered_s = now()
            mode = self._mode(current_a, voltage_v)
            output_on = self._output_state()
        except DriverError:
            self._pair.forget()
            raise
        self._reads += 1
        return Reading((asked_s + answered_s) / 2, current_a, voltage_v, mode, output_on)

    def set_points(self, current_a: float, voltage_v: float) -> None:
        """Set both limits, A and V, and read each back; what is lowered is lowered first.

        Raises `SetPointRefusedError` if a value is outside the rating (nothing is sent) or reads
        back as another, `CommandRefusedError` if the supply reports an error, `LinkError`.
        """
        self._pair.set(current_a, voltage_v)

    def output(self, on: bool) -> None:
        """Switch the output and read its state back.

        Off is said at once, whatever state the line is in. Raises `CommandRefusedError` if the
        output did not switch, or if the supply reports an error when switched on; and `LinkError`.
        """
        try:
            if on:
                self._settle()
            self._line.command(self._switch[on])
            state = self._line.query(self._ask_output, parse_switch)
            errors = self._errors()
        except DriverError:
            self._pair.forget()
            raise
        # An output that is off is off, whatever else the supply complains about.
        if state is not on or (on and errors):
            self._pair.forget()
            raise CommandRefusedError(
                f"{self._port}: {self._switch[on].decode()}: the output is "
                f"{'on' if state else 'off'}; errors: {'; '.join(errors) or 'none'}"
            )

    def _identify(self) -> str:
        """Who answers, once it has answered as the description expects."""
        pattern = re.compile(self._description.replies.identity)
        others: list[bytes] = []

        def accept(reply: bytes) -> bool:
            fits = _is_text(reply) and pattern.search(reply.decode()) is not None
            if reply and not fits:
                others.append(reply)
            return fits

        try:
            return self._line.identify(accept).decode().strip()
        except GarbledReplyError as error:
            if others and all(_is_text(reply) for reply in others):
                raise WrongDeviceError(
                    f"{self._port}: {shown(others[-1])} answers; expected "
                    f"{self._description.title} with an identity like {pattern.pattern!r}"
                ) from error
            raise

    def _settle(self) -> None:
        """Before a command: be in step, and free of errors that are not its own."""
        if not self._line.in_step:
            self._line.resync()
        if self._line.resyncs != self._emptied_at:
            self._errors()

    def _errors(self) -> list[str]:
        """Empty the error queue, and give what was in it."""
        found: list[str] = []
        if self._error_queue is None:
            return found
        while len(found) < _ERROR_QUEUE_CAP:
            number, text = self._line.query(self._error_queue, parse_error)
            if number == 0:
                self._emptied_at = self._line.resyncs
                return found
            found.append(text)
        raise CommandRefusedError(
            f"{self._port}: the error queue is not empty after {len(found)} questions; "
            f"the last answer was {found[-1]}"
        )

    def _put(self, point: SetPoint, value: float) -> None:
        self._line.command(point.command(value))
        if errors := self._errors():
            raise CommandRefusedError(
                f"{self._port}: {point.command(value).decode()}: refused: {'; '.join(errors)}"
            )

    def _output_state(self) -> bool | None:
        every = self._description.reading.output_every_reads
        if not every or self._reads % every:
            return None
        return self._line.query(self._ask_output, parse_switch)

    def _mode(self, current_a: float, voltage_v: float) -> Mode | None:
        """Which set-point is held, as far as the description allows to tell."""
        near = self._description.mode_by_nearness
        if near is not None:
            return self._pair.mode_by_nearness(current_a, voltage_v, near.current_a, near.voltage_v)
        status = self._description.mode_by_status
        if status is None or self._reads % status.every_reads:
            return None
        register = self._line.query(status.query.encode(), parse_status) & status.mask
        return {
            status.constant_current: Mode.CONSTANT_CURRENT,
            status.constant_voltage: Mode.CONSTANT_VOLTAGE,
        }.get(register)
