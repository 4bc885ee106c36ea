"""What the control socket's server asks of the record and of those who watch over starts."""

from collections.abc import Callable
from dataclasses import dataclass

from daemon.api.socket.access import AccessRequest
from daemon.api.socket.messages import (
    BathEntryRequest,
    CalibrateRequest,
    RehearseRequest,
    SettleRequest,
    StartRequest,
)
from daemon.api.socket.parts import PartRequest
from daemon.api.socket.plans import InterlockSeen
from daemon.api.socket.rehearsal import Rehearsal
from daemon.bath.due import Dues
from daemon.record.parts import Part
from daemon.service.keeping.bath import Kept
from daemon.service.keeping.plans import PlanKeeper
from daemon.service.starts.going_on import Unfinished
from daemon.service.starts.known import KnownTo


@dataclass(frozen=True, slots=True)
class Desk:
    """What is asked of the record, in the asker's thread, which waits for the disk.

    calibrate keeps what a meter was compared with, settle what passed in an interruption,
    enter what was done to the bath; dues is what falls due of it; unfinished knows what is on the
    part of a run that was cut short, unproved why no run may start before a proof test, None if it
    may. not_kept waits, for so many real seconds, until all that has happened is on the disk: why
    it is not, None once it is. keep_part keeps a part; known is what a plan may leave out.
    rehearse rehearses, foretell sees to it that a run that has started is foretold. access keeps
    in the audit who has signed in on the page, and what has changed of who may what.
    plans keeps plans; not_now says why nothing can be started now, each reason;
    interlocks shows them all.
    """

    calibrate: Callable[[CalibrateRequest], None]
    settle: Callable[[SettleRequest], None]
    enter: Callable[[BathEntryRequest], Kept]
    dues: Callable[[], Dues]
    unfinished: Callable[[int], Unfinished]
    unproved: Callable[[], str | None]
    not_kept: Callable[[float], str | None]
    keep_part: Callable[[PartRequest], Part]
    known: KnownTo
    rehearse: Callable[[RehearseRequest], Rehearsal]
    foretell: Callable[[int, StartRequest], object]
    access: Callable[[AccessRequest], None]
    plans: PlanKeeper
    not_now: Callable[[], tuple[str, ...]]
    interlocks: Callable[[], tuple[InterlockSeen, ...]]
