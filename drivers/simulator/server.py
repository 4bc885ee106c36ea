"""One thread that serves the pty and the control channel of a simulator process.

The control channel is JSON lines on standard input and output. `{"ask": "truth"}` is answered
with the truth, `{"ask": "moments"}` with when it was last disturbed and switched off;
`{"do": "short", ...}` lets an event happen, `{"do": "mend"}` ends all of them; both are answered
with `{"ok": true}`, and whatever cannot be done with `{"error": "..."}`. The end of standard input
ends the process.
"""

import heapq
import json
import os
import select
import time
from collections.abc import Callable
from dataclasses import asdict
from functools import partial
from itertools import count
from typing import NamedTuple

from drivers.errors import DescriptionError
from drivers.simulator.bench import Bench
from drivers.simulator.instrument import ScpiInstrument
from drivers.simulator.scenario import parse_event
from drivers.simulator.wire import Wire

CHUNK = 4096


class Moments(NamedTuple):
    """When things last happened, real s on the machine's monotonic clock; None: not yet.

    `injected_s`: an event was taken from the control channel. `switched_off_s`: the last byte of
    the message was in that switched an output off that was on.
    """

    injected_s: float | None = None
    switched_off_s: float | None = None


class Server:
    """Serves until standard input ends or `stop_fd` becomes readable.

    `master_fd` is the pty's non-blocking master, `control_in_fd` and `control_out_fd` the control
    channel; `now` gives seconds on the bench's time line. Pacing is in the machine's own seconds.
    """

    def __init__(
        self,
        bench: Bench,
        wire: Wire,
        now: Callable[[], float],
        *,
        master_fd: int,
        control_in_fd: int,
        control_out_fd: int,
        stop_fd: int,
    ) -> None:
        self._bench = bench
        self._wire = wire
        self._now = now
        self._instrument = ScpiInstrument(bench, now)
        self._master_fd = master_fd
        self._control_in_fd = control_in_fd
        self._control_out_fd = control_out_fd
        self._stop_fd = stop_fd
        self._order = count()
        self._due: list[tuple[float, int, Callable[[], None]]] = []
        self._control = b""
        self._moments = Moments()

    def run(self) -> None:
        """Serve."""
        watched = (self._master_fd, self._control_in_fd, self._stop_fd)
        while True:
            # select, since it alone waits with finer than millisecond steps.
            ready, _, _ = select.select(watched, (), (), self._patience_s())
            if self._stop_fd in ready:
                return
            if self._master_fd in ready:
                self._hear(os.read(self._master_fd, CHUNK))
            if self._control_in_fd in ready and not self._heed():
                return
            self._act()

    def _patience_s(self) -> float | None:
        if not self._due:
            return None
        return max(0.0, self._due[0][0] - time.monotonic())

    def _at(self, moment_s: float, act: Callable[[], None]) -> None:
        heapq.heappush(self._due, (moment_s, next(self._order), act))

    def _act(self) -> None:
        while self._due and self._due[0][0] <= time.monotonic():
            heapq.heappop(self._due)[2]()

    def _hear(self, data: bytes) -> None:
        for moment_s, message in self._wire.receive(time.monotonic(), data):
            self._at(moment_s, partial(self._obey, moment_s, message))

    def _obey(self, moment_s: float, message: bytes | None) -> None:
        if message is None:
            self._instrument.report(-363)
            return
        was_on = self._bench.supply.output_on
        reply = self._instrument.answer(message.decode("ascii", "replace"))
        if was_on and not self._bench.supply.output_on:
            self._moments = self._moments._replace(switched_off_s=moment_s)
        if reply:
            data = reply.encode("ascii") + b"\n"
            self._at(self._wire.send(moment_s, len(data)), partial(self._say, data))

    def _say(self, data: bytes) -> None:
        try:
            os.write(self._master_fd, data)
        except BlockingIOError:
            # Nobody reads, the pty is full: a line without handshake loses the bytes too.
            return

    def _heed(self) -> bool:
        """Read the control channel; False at its end."""
        data = os.read(self._control_in_fd, CHUNK)
        self._control += data
        *lines, self._control = self._control.split(b"\n")
        for line in lines:
            reply = json.dumps(self._order_from_parent(line)) + "\n"
            try:
                os.write(self._control_out_fd, reply.encode())
            except BrokenPipeError:
                return False
        return bool(data)

    def _order_from_parent(self, line: bytes) -> dict[str, object]:
        self._bench.advance_to(self._now())
        try:
            order = json.loads(line)
            if order == {"ask": "truth"}:
                return asdict(self._bench.truth())
            if order == {"ask": "moments"}:
                return self._moments._asdict()
            if order == {"do": "mend"}:
                self._bench.mend()
            else:
                event, at_s = parse_event(order), time.monotonic()
                self._bench.inject(event)
                self._moments = self._moments._replace(injected_s=at_s)
        except (ValueError, DescriptionError) as error:
            return {"error": str(error)}
        return {"ok": True}
