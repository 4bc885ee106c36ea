"""One line to one device: words go out, whole replies come in, and each answers its own question.

The rule that everything here serves: a reply that comes too late must never be taken for the answer
to the next question. So the line is *in step* only while every question has had its whole answer.
After anything else it throws away what has come, and asks the one question whose answer it knows by
heart (who are you?) until it hears that; only then is another question asked.

pyserial opens, sets and writes; the bytes are then read from the port's descriptor, since a reply
is waited for at every reading, and `serial.Serial.read_until` makes three system calls for each
byte of it. Limits of time are real time, whatever clock the readings are labelled with.
"""

import os
import select
from collections.abc import Callable
from contextlib import suppress
from time import monotonic, sleep
from typing import TypeVar

import serial

from drivers.errors import GarbledReplyError, LinkError, NoReplyError, PortUnavailableError
from drivers.port import PORT_FAILURES, PortSettings, open_port
from drivers.scpi.description import LineTable
from drivers.scpi.replies import shown

T = TypeVar("T")

_REPLY_LIMIT_BYTES = 4096
"""More than this in one go is no reply: a value takes some 15 bytes, an identity some 60."""


class Line:
    """The port, its pace and its terminators. For one thread.

    Every method but `close` raises `LinkError` or a child of it.
    """

    def __init__(self, port: str, settings: LineTable, identify: bytes) -> None:
        self._name = port
        self._settings = PortSettings.from_table(settings.model_dump())
        self._terminator_out = settings.terminator_out.encode()
        self._terminator_in = settings.terminator_in.encode()
        self._echo = settings.echo
        self._reply_timeout_s = settings.reply_timeout_ms / 1000
        self._end_of_reply_s = settings.end_of_reply_ms / 1000
        self._wait_after_open_s = settings.wait_after_open_ms / 1000
        self._delay_s = settings.delay_write_to_read_ms / 1000
        self._pause_after_command_s = settings.pause_after_command_ms / 1000
        self._pause_after_reply_s = settings.pause_after_reply_ms / 1000
        self._identify = identify
        self._identity = b""
        self._port: serial.Serial | None = None
        self._fd = -1
        self._poll = select.poll()
        self._free_at_s = 0.0
        self._in_step = False
        self._resyncs = 0

    @property
    def resyncs(self) -> int:
        """How often the step was sought; each may leave an error in a device's queue."""
        return self._resyncs

    @property
    def in_step(self) -> bool:
        """Whether every question so far has had its whole answer."""
        return self._in_step

    def open(self) -> None:
        """Open the port for us alone, and give the device the time it needs afterwards."""
        self._port = open_port(self._name, self._settings, exclusive=True)
        self._fd = self._port.fileno()
        self._poll = select.poll()
        self._poll.register(self._fd, select.POLLIN)
        # What a device is in the middle of is unknown until it has said who it is.
        self._in_step = False
        self._identity = b""
        if self._wait_after_open_s:
            sleep(self._wait_after_open_s)

    def close(self) -> None:
        """Give the port back. Never raises; may be called twice."""
        port, self._port = self._port, None
        self._fd = -1
        self._in_step = False
        if port is not None:
            with suppress(*PORT_FAILURES):
                port.close()

    def identify(self, accept: Callable[[bytes], bool]) -> bytes:
        """Ask who is there, take the first answer that `accept` takes, and know it by heart.

        Raises `GarbledReplyError` if something else answers.
        """
        self._identity = self._find_step(accept)
        return self._identity

    def resync(self) -> None:
        """Get back into step: hear the known identity again, and throw away all before it."""
        known = self._identity
        # The tail is compared, as a reply that was cut off may stand before it on the same line.
        self._find_step(lambda reply: bool(known) and reply.endswith(known))

    def command(self, words: bytes) -> None:
        """Say something that has no reply; out of step too, since "output off" cannot wait."""
        in_step, self._in_step = self._in_step, False
        try:
            message = self._write(words, b"" if in_step else self._terminator_out)
            if self._echo and in_step:
                self._check_echo(message, self._read_echo(len(message)))
        except PORT_FAILURES as error:
            raise self._lost(error) from error
        except (GarbledReplyError, NoReplyError) as error:
            raise self._about(words, error) from error
        self._in_step = in_step
        if self._pause_after_command_s:
            self._free_at_s = monotonic() + self._pause_after_command_s

    def query(self, question: bytes, parse: Callable[[bytes], T]) -> T:
        """Ask, and give what `parse` makes of the reply (without echo and terminator).

        If anything goes wrong, `parse` raising `GarbledReplyError` included, the line is out of
        step afterwards. It also is when bytes wait to be read before the question was asked.
        """
        if not self._in_step or self._poll.poll(0):
            self.resync()
        self._in_step = False
        try:
            message = self._write(question)
            if self._delay_s:
                sleep(self._delay_s)
            reply = self._read_reply(
                monotonic() + self._reply_timeout_s, len(message) if self._echo else 0
            )
            value = parse(self._only_reply(message, reply))
        except PORT_FAILURES as error:
            raise self._lost(error) from error
        except (GarbledReplyError, NoReplyError) as error:
            raise self._about(question, error) from error
        self._in_step = True
        if self._pause_after_reply_s:
            self._free_at_s = monotonic() + self._pause_after_reply_s
        return value

    def _find_step(self, accept: Callable[[bytes], bool]) -> bytes:
        """Ask who is there until an acceptable answer is the last thing that came."""
        self._in_step = False
        self._resyncs += 1
        seen = b""
        try:
            self._opened().reset_input_buffer()
            # The terminator ahead ends a command that the device may have got only half of.
            self._write(self._identify, self._terminator_out)
            deadline_s = monotonic() + self._reply_timeout_s
            while True:
                reply = self._read_reply(deadline_s)
                if self._echo:
                    reply = reply.rpartition(self._identify + self._terminator_out)[2]
                if self._terminator_in:
                    reply = reply.rpartition(self._terminator_in)[2]
                if self._echo and reply == self._identify:
                    continue
                if accept(reply):
                    break
                seen = reply or seen
        except PORT_FAILURES as error:
            raise self._lost(error) from error
        except NoReplyError as error:
            if seen:
                strange = GarbledReplyError(f"{shown(seen)} came instead of an identity")
                raise self._about(self._identify, strange) from error
            raise self._about(self._identify, error) from error
        except GarbledReplyError as error:
            raise self._about(self._identify, error) from error
        self._in_step = True
        return reply

    def _opened(self) -> serial.Serial:
        if self._port is None:
            raise PortUnavailableError(f"{self._name}: is not open")
        return self._port

    def _write_now(self, message: bytes) -> int:
        """How many bytes of the message the port takes without waiting."""
        try:
            return os.write(self._fd, message)
        except BlockingIOError:
            return 0

    def _write(self, words: bytes, ahead: bytes = b"") -> bytes:
        """Send words with their terminator, and give what was sent: the bytes a device echoes."""
        port = self._opened()
        if self._free_at_s:
            pause_s, self._free_at_s = self._free_at_s - monotonic(), 0.0
            if pause_s > 0:
                sleep(pause_s)
        message = ahead + words + self._terminator_out
        try:
            # The port as good as always takes a command at once; pyserial would ask the kernel
            # first whether it does, and wait if not.
            taken = self._write_now(message)
            if taken < len(message):
                port.write(message[taken:])
        except serial.SerialTimeoutException as error:
            # What could not be sent must not go out later, when nobody expects it any more.
            port.reset_output_buffer()
            limit_s = self._settings.write_timeout_s
            raise NoReplyError(f"the port did not take it within {limit_s:g} s") from error
        return message

    def _read_reply(self, deadline_s: float, echo_length: int = 0) -> bytes:
        """All bytes up to a terminator that is the last that came, without that terminator.

        `echo_length` bytes come first, and the terminator in them does not count.
        """
        received = self._read_some(deadline_s, b"")
        terminator = self._terminator_in
        if not terminator:
            return self._read_until_quiet(deadline_s, received, echo_length)
        while len(received) <= echo_length or not received.endswith(terminator):
            received += self._read_some(deadline_s, received)
        return received[: -len(terminator)]

    def _read_until_quiet(self, deadline_s: float, received: bytes, echo_length: int) -> bytes:
        """The same for a device that ends its replies with nothing but silence."""
        while len(received) <= echo_length:
            received += self._read_some(deadline_s, received)
        while self._poll.poll(self._end_of_reply_s * 1000):
            received += self._read_some(deadline_s, received)
        return received

    def _read_echo(self, length: int) -> bytes:
        deadline_s = monotonic() + self._reply_timeout_s
        received = b""
        while len(received) < length:
            received += self._read_some(deadline_s, received)
        return received

    def _read_some(self, deadline_s: float, so_far: bytes) -> bytes:
        """The bytes that come next, at least one; `so_far` is for the limits and the message."""
        if len(so_far) > _REPLY_LIMIT_BYTES:
            raise GarbledReplyError(f"the reply has no end: {shown(so_far)}")
        left_s = deadline_s - monotonic()
        if left_s <= 0 or not self._poll.poll(left_s * 1000):
            came = f"only {shown(so_far)}" if so_far else "nothing"
            raise NoReplyError(f"{came} came within {self._reply_timeout_s:g} s")
        chunk = os.read(self._fd, _REPLY_LIMIT_BYTES)
        if not chunk:
            # Ready to be read, but without data: what an unplugged adapter and a closed socket do.
            raise OSError("the other end is gone, or another program reads from the same port")
        return chunk

    def _only_reply(self, message: bytes, received: bytes) -> bytes:
        """What was received without its echo, provided that it is one reply and no more."""
        if self._echo:
            self._check_echo(message, received)
            received = received[len(message) :]
        if self._terminator_in and self._terminator_in in received:
            raise GarbledReplyError(f"more than one reply came: {shown(received)}")
        return received

    def _check_echo(self, message: bytes, received: bytes) -> None:
        if not received.startswith(message):
            raise GarbledReplyError(f"expected the echo {shown(message)}, got {shown(received)}")

    def _about(self, words: bytes, error: LinkError) -> LinkError:
        """The same failure, with the port and the words that it happened at."""
        return type(error)(f"{self._name}: {words.decode()}: {error}")

    def _lost(self, error: Exception) -> PortUnavailableError:
        self._in_step = False
        return PortUnavailableError(f"{self._name}: the port was lost: {error}")
