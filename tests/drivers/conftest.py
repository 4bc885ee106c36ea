"""A device at the other end of a pseudo terminal that says exactly what its script says."""

import fcntl
import os
import select
import struct
import termios
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

import pytest

Reply = bytes | Callable[[], None]
"""What the peer does when it has heard a request: send bytes (none for silence), or act."""

_GIVES_UP_AFTER_S = 5.0


class ScriptedPeer:
    """Hears exact requests and gives exact replies; anything else fails the test.

    `port` is what the driver opens. The peer keeps the driver's end open as well, so that what a
    driver left unread can be seen after it has closed.
    """

    def __init__(self) -> None:
        self.master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)

    @contextmanager
    def expects(self, *exchanges: tuple[bytes, Reply]) -> Iterator[None]:
        """While the block runs, these exchanges happen, all of them and nothing else."""
        faults: list[str] = []
        stop_read, stop_write = os.pipe()
        script = threading.Thread(target=self._play, args=(exchanges, stop_read, faults))
        script.start()
        try:
            yield
            # What was written last may not have been heard yet.
            script.join(_GIVES_UP_AFTER_S)
        finally:
            os.write(stop_write, b"x")
            script.join()
            os.close(stop_read)
            os.close(stop_write)
        assert not faults, faults
        assert self.unheard() == b""
        assert self.unread_bytes() == 0

    def unheard(self) -> bytes:
        """What the driver has sent beyond its script."""
        if self.master < 0 or not select.select([self.master], [], [], 0)[0]:
            return b""
        return os.read(self.master, 4096)

    def all_unheard(self) -> bytes:
        """The same to its end, however much it is."""
        return b"".join(iter(self.unheard, b""))

    @contextmanager
    def stuffed(self) -> Iterator[None]:
        """As a hung process leaves it: with so much on its way that nothing more goes in."""
        hung = os.open(self.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        for size in (4096, 1):
            with suppress(BlockingIOError):
                while True:
                    os.write(hung, b"x" * size)
        yield
        os.close(hung)

    def unread_bytes(self) -> int:
        """How many bytes of replies the driver has left lying."""
        if self.master < 0:
            return 0
        # The kernel hands bytes over in the background; waiting for them makes it finish first.
        select.select([self._slave], [], [], 0)
        return struct.unpack("i", fcntl.ioctl(self._slave, termios.FIONREAD, b"\0" * 4))[0]

    def send(self, data: bytes) -> None:
        """Say something unasked."""
        os.write(self.master, data)

    def wait_until_read(self) -> None:
        """Wait until the driver has read all that was said, or for long enough to give up."""
        gives_up_s = time.monotonic() + _GIVES_UP_AFTER_S
        while self.unread_bytes() and time.monotonic() < gives_up_s:
            pass

    def pull_out(self) -> None:
        """Pull the plug: the driver's end hangs up."""
        os.close(self.master)
        self.master = -1

    def close(self) -> None:
        """Give both ends back."""
        if self.master >= 0:
            self.pull_out()
        os.close(self._slave)

    def _play(
        self, exchanges: tuple[tuple[bytes, Reply], ...], stop: int, faults: list[str]
    ) -> None:
        for index, (request, reply) in enumerate(exchanges):
            heard = b""
            while heard != request:
                if stop in select.select([self.master, stop], [], [])[0]:
                    faults.append(f"unused from {index} on: {request!r}, heard only {heard!r}")
                    return
                heard += os.read(self.master, len(request) - len(heard))
                if not request.startswith(heard):
                    faults.append(f"exchange {index}: expected {request!r}, heard {heard!r}")
                    return
            if callable(reply):
                reply()
            elif reply:
                os.write(self.master, reply)


@pytest.fixture
def peer() -> Iterator[ScriptedPeer]:
    """A scripted device on a pseudo terminal."""
    device = ScriptedPeer()
    yield device
    device.close()
