"""Real-time scheduling where it is allowed, in processes of their own."""

import os
import subprocess
import sys

import pytest

TOLD = """\
import os, resource, threading
from daemon.service.realtime import become_prompt
resource.getrlimit = {{resource.RLIMIT_RTPRIO: ({limit}, {limit})}}.get
{first}
print(become_prompt())
def tell():
    print(os.sched_getscheduler(0), os.sched_getparam(0).sched_priority)
tell()
thread = threading.Thread(target=tell)
thread.start()
thread.join()
"""
"""Says that the limit is so: to raise it takes a right that not even every root has."""

ORDINARY = f"{os.SCHED_OTHER} 0"


def told(limit, first=""):
    """What a process with this limit says: the error, its main thread's scheduling, another's."""
    done = subprocess.run(
        [sys.executable, "-c", TOLD.format(limit=limit, first=first)],
        capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    return done.stdout.splitlines()


def test_without_a_limit_nothing_is_asked_for():
    assert told(0) == ["None", ORDINARY, ORDINARY]


# A kernel without real time for this group of processes refuses it to everybody.
REFUSING = "def refuse(*_): raise PermissionError(1, 'Operation not permitted')\n"


def test_a_kernel_that_refuses_is_told_of_and_the_loop_goes_on_as_ordinary():
    first = REFUSING + "os.sched_setscheduler = refuse"
    why = "no real-time priority 10 for the loop: Operation not permitted; it may be late"
    assert told(10, first) == [why, ORDINARY, ORDINARY]


@pytest.mark.parametrize(("limit", "priority"), [(99, 10), (10, 10), (3, 3), (-1, 10)])
def test_every_thread_has_it_where_it_is_allowed(limit, priority):
    expected, found = f"{os.SCHED_FIFO} {priority}", told(limit)
    if found[0] != "None":
        pytest.skip("this user may not have SCHED_FIFO: needs root, or a limit on rtprio")
    assert found == ["None", expected, expected]
