"""The same work on many things, in as many processes side by side as the machine has cores.

The processes are forks, since a fresh one would take longer to load the program than to do its
share. That asks for a process without threads of its own: a command, or one made for a rehearsal.
"""

import gc
import os
import signal
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any, Protocol, TypeVar

MOST = 4
"""Processes at most: each has some 20 MB to itself, and small machines have no more cores."""

SHARES = 4
"""Shares of each process, so that none waits long for the last one."""

A = TypeVar("A")
B = TypeVar("B")


class Each(Protocol):
    """Does something with each of some things; what comes of it is in their order."""

    def __call__(self, work: Callable[[A], B], things: Sequence[A], /) -> list[B]:
        """What comes of each."""


def in_turn(work: Callable[[A], B], things: Sequence[A]) -> list[B]:
    """Each one after the other, in this process."""
    return [work(thing) for thing in things]


def side_by_side(work: Callable[[A], B], things: Sequence[A]) -> list[B]:
    """As many at once as there are cores; one after the other where no more processes can be.

    What comes of the work has to be such as pickle takes. What it raises is raised.
    """
    count = min(MOST, len(os.sched_getaffinity(0)), len(things))
    if count < 2:
        return in_turn(work, things)
    share = max(1, len(things) // (SHARES * count))
    try:
        with ProcessPoolExecutor(
            count, get_context("fork"), initializer=_begin, initargs=(work, things)
        ) as pool:
            return list(pool.map(_done, range(len(things)), chunksize=share))
    except (OSError, BrokenProcessPool):
        # The system refuses them, or ends one, as where memory is short: this one needs no more.
        return in_turn(work, things)


_given: tuple[Callable[[Any], Any], Sequence[Any]]
"""In a fork: the work and its things, which it has from its parent's memory."""


def _begin(work: Callable[[Any], Any], things: Sequence[Any]) -> None:
    global _given
    _given = work, things
    # An interrupt from the terminal goes to all of them; the one that waits answers it for all.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # It ends before there is much to collect, and looking for it would copy its parent's memory.
    gc.disable()


def _done(number: int) -> Any:
    work, things = _given
    return work(things[number])
