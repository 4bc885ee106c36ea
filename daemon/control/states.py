"""The states of a run, after ANSI/ISA-88, and which act of a person is allowed in which."""

from enum import Enum


class State(Enum):
    """A run's state. Names that end in "-ing" are passed through by themselves."""

    IDLE = "idle"
    RUNNING = "running"
    HOLDING = "holding"
    HELD = "held"
    RESTARTING = "restarting"
    STOPPING = "stopping"
    STOPPED = "stopped"
    ABORTING = "aborting"
    ABORTED = "aborted"
    COMPLETE = "complete"


class Act(Enum):
    """What a person can do to a run. `RESUME` is ISA-88's restart, `RESET` its clear and reset."""

    START = "start"
    HOLD = "hold"
    RESUME = "resume"
    STOP = "stop"
    ABORT = "abort"
    RESET = "reset"


PLATING = frozenset({State.RUNNING, State.RESTARTING})
"""States in which the output may be on by the plan."""

OPEN = frozenset(
    {
        State.RUNNING,
        State.HOLDING,
        State.HELD,
        State.RESTARTING,
        State.STOPPING,
        State.ABORTING,
    }
)
"""States in which a run is under way and its charge is being counted."""

AT_REST = frozenset(State) - OPEN | {State.HELD}
"""States in which the output is off and has been seen off."""

ALLOWED: dict[Act, frozenset[State]] = {
    Act.START: frozenset({State.IDLE, State.STOPPED, State.COMPLETE}),
    Act.HOLD: PLATING,
    Act.RESUME: frozenset({State.HELD}),
    Act.STOP: frozenset({State.RUNNING, State.HOLDING, State.HELD, State.RESTARTING}),
    Act.ABORT: OPEN - {State.ABORTING},
    Act.RESET: frozenset({State.STOPPED, State.ABORTED, State.COMPLETE}),
}
"""Start is not allowed in aborted: whatever ended that run has to be looked at, then reset."""

PASSING: dict[State, State] = {
    State.HELD: State.HOLDING,
    State.STOPPED: State.STOPPING,
    State.ABORTED: State.ABORTING,
    State.COMPLETE: State.RUNNING,
}
"""The state in which a run winds down towards a resting one. ISA-88 has no name for the moment
between the target and complete: the run is still running while its current goes down."""
