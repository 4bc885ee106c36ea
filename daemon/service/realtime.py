"""Real-time scheduling for the loop's process, where the service's unit allows it."""

import os
import resource

PRIORITY = 10
"""Of SCHED_FIFO, 1 to 99: before every ordinary program, behind the kernel's own threads that serve
interrupts, which have 50 (from memory, not checked)."""


def become_prompt() -> str | None:
    """Have all threads that this one starts from now on run before ordinary programs.

    Done where a limit on real-time priorities (RLIMIT_RTPRIO) is set, as the unit does, and nowhere
    else: not when tankhand is run by hand, nor in the demo. None if it was done or not asked for,
    otherwise why it could not be.
    """
    allowed, _ = resource.getrlimit(resource.RLIMIT_RTPRIO)
    if allowed == 0:
        return None
    priority = PRIORITY if allowed == resource.RLIM_INFINITY else min(PRIORITY, allowed)
    try:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(priority))
    except OSError as error:
        return f"no real-time priority {priority} for the loop: {error.strerror}; it may be late"
    return None
