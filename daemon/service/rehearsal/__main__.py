"""A rehearsal in a process of its own, behind everything else: the loop has to be on time."""

import os


def step_back() -> None:
    """Run behind ordinary programs; whoever started this may be a real-time thread."""
    os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
    os.nice(10)


if __name__ == "__main__":
    # Before anything is loaded: that takes most of the time, and would be real-time as well.
    step_back()
    from daemon.service.rehearsal.uncollected import uncollected

    with uncollected():
        from daemon.service.rehearsal.answering import main

        main()
