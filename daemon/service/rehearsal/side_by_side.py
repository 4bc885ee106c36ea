"""Several jobs at once, in as many processes side by side as the machine has cores.

The processes are forks, since a fresh one would take longer to load the program than to do its
share. That asks for a process without threads of its own: a command, or one made for a rehearsal.
"""

import os
import signal
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any, Protocol, TypeVar

MOST = 4
"""Processes at most: each has some 20 MB to itself, and small machines have no more cores."""

A = TypeVar("A")


class AllOf(Protocol):
    """Does some jobs; what comes of them is in their order."""

    def __call__(self, jobs: Sequence[Callable[[], A]], /) -> list[A]:
        """What comes of each."""


def in_turn(jobs: Sequence[Callable[[], A]]) -> list[A]:
    """One after the other, in this process."""
    return [job() for job in jobs]


def side_by_side(jobs: Sequence[Callable[[], A]]) -> list[A]:
    """As many at once as there are cores; one after the other where no more processes can be.

    They are begun in their order, so the longest are best first. What comes of a job has to be
    such as pickle takes. What it raises is raised.
    """
    count = min(MOST, len(os.sched_getaffinity(0)), len(jobs))
    if count < 2:
        return in_turn(jobs)
    try:
        with ProcessPoolExecutor(
            count, get_context("fork"), initializer=_begin, initargs=(jobs,)
        ) as pool:
            return list(pool.map(_done, range(len(jobs))))
    except (OSError, BrokenProcessPool):
        # The system refuses them, or ends one, as where memory is short: this one needs no more.
        return in_turn(jobs)


_given: Sequence[Callable[[], Any]]
"""In a fork: the jobs, which it has from its parent's memory."""


def _begin(jobs: Sequence[Callable[[], Any]]) -> None:
    global _given
    _given = jobs
    # An interrupt from the terminal goes to all of them; the one that waits answers it for all.
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _done(number: int) -> Any:
    return _given[number]()
