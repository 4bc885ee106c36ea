"""Foretells each run once it is under way, so that it can be held against what was expected."""

import threading
from collections.abc import Callable
from dataclasses import dataclass

from daemon.api.errors import InputError
from daemon.api.rehearsal.rehearsal_words import verdict
from daemon.api.socket.messages import RehearseRequest, StartRequest
from daemon.api.socket.rehearsal import Rehearsal
from daemon.control.outlook import Outlook, Row
from daemon.control.situation import Event
from daemon.record.foretold import FORETOLD, NOT_FORETOLD, TREE
from daemon.service.rehearsal.apart import Apart, Request

AFTER_S = 60.0
"""Real s after a start: nothing is to be compared before, many runs that end at once need no
foretelling, and the processor is the loop's while it starts."""


@dataclass(frozen=True, slots=True)
class Foretold:
    """What a run was foretold, for the loop: None where it could not be; the event says why."""

    run_id: int
    outlook: Outlook | None
    event: Event


class Foreteller:
    """Used by askers' threads. `rehearse` rehearses, which waits; `post` hands on to the loop.

    `under_way` says whether a run, by its number, is.
    """

    def __init__(
        self,
        rehearse: Callable[[Request], Rehearsal],
        post: Callable[[Foretold], None],
        under_way: Callable[[int], bool],
        after_s: float = AFTER_S,
    ) -> None:
        self._rehearse = rehearse
        self._post = post
        self._under_way = under_way
        self._after_s = after_s
        self._ended = threading.Event()

    def begin(self, run_id: int, request: Request) -> threading.Thread:
        """Foretell a run that has started, in a thread of its own, which is given back."""
        thread = threading.Thread(
            target=self._work, args=(run_id, request), name="foreteller", daemon=True
        )
        thread.start()
        return thread

    def stop(self) -> None:
        """Foretell nothing more."""
        self._ended.set()

    def _work(self, run_id: int, request: Request) -> None:
        if self._ended.wait(self._after_s) or not self._under_way(run_id):
            return
        try:
            found = self._rehearse(request)
        except InputError as error:
            event = Event(NOT_FORETOLD, f"the run could not be foretold: {error}")
            self._post(Foretold(run_id, None, event))
            return
        event = Event(FORETOLD, verdict(found), {TREE: found.model_dump_json()})
        self._post(Foretold(run_id, Outlook(run_id, rows(found)), event))


def start_of(apart: Apart, start: StartRequest, read_c: float | None) -> Request:
    """What is rehearsed of a start: its plan, on the bath as it is now, and no mishaps."""
    asked = RehearseRequest(plan=start.plan, goes_on_from=start.goes_on_from, mishaps=())
    return apart.of(asked, read_c)


def rows(found: Rehearsal) -> tuple[Row, ...]:
    """The band of a rehearsal as the loop holds a run against it."""
    return tuple(
        Row(
            each.stage, each.charge_ah, each.voltage_v.least, each.voltage_v.greatest,
            each.temperature_c.least, each.temperature_c.greatest,
        )
        for each in found.band
    )  # fmt: skip
