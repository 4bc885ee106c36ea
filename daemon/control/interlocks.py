"""Interlocks: loops that are closed while all is well, and what becomes of a run when one opens.

A loop that is closed again changes nothing by itself: whatever it took away comes back only by a
person's act.
"""

from dataclasses import replace

from daemon.control.situation import Event, Figures, Happening, Interlock, Situation
from daemon.control.states import OPEN, PLATING, State

INTERLOCK = "interlock"

MOST_URGENT_FIRST = (State.ABORTED, State.STOPPED, State.HELD)


def noted(
    situation: Situation, open_loops: tuple[Interlock, ...], happenings: list[Happening]
) -> Situation:
    """The situation with the loops that are open now, each change told."""
    before = situation.open_loops
    if open_loops == before:
        return situation
    for loop in open_loops:
        if loop not in before:
            happenings.append(_event(loop, "open", is_open=True))
    for loop in before:
        if loop not in open_loops:
            happenings.append(_event(loop, "closed again", is_open=False))
    return replace(situation, open_loops=open_loops)


def tripped(situation: Situation) -> Interlock | None:
    """The most urgent of the open loops that change where the run is heading; None if none does."""
    for goal in MOST_URGENT_FIRST:
        for loop in situation.open_loops:
            if loop.goal is goal and _leads_elsewhere(situation, goal):
                return loop
    return None


def why_not(situation: Situation) -> str | None:
    """Why nothing can be energised: the loops that are open, in one sentence; None if none is."""
    names = [loop.name for loop in situation.open_loops]
    if not names:
        return None
    return f"{'interlock' if len(names) == 1 else 'interlocks'} open: {', '.join(names)}"


def _leads_elsewhere(situation: Situation, goal: State) -> bool:
    """A held run has nothing to be taken away, and one that aborts is on its way already."""
    state = situation.state
    if goal is State.ABORTED:
        return state in OPEN and state not in (State.HELD, State.ABORTING)
    plates = state in PLATING and situation.wind_down is None
    return plates or (goal is State.STOPPED and state is State.HOLDING)


def _event(loop: Interlock, how: str, *, is_open: bool) -> Event:
    figures: Figures = {"interlock": loop.name, "open": is_open}
    return Event(INTERLOCK, f"interlock {how}: {loop.name}", figures)
