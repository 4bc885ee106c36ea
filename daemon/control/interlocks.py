"""Interlocks: loops that are closed while all is well. What an open one does, the table says.

A loop that is closed again changes nothing by itself: whatever it took away comes back only by a
person's act.
"""

from collections.abc import Sequence
from dataclasses import replace

from daemon.control.protection.alarms import Figures, Sign
from daemon.control.protection.causes import INTERLOCK as CAUSE
from daemon.control.protection.effects import Stop, Table
from daemon.control.situation import Event, Happening, Situation

INTERLOCK = "interlock"


def noted(
    situation: Situation, open_loops: tuple[str, ...], happenings: list[Happening]
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


def signs(situation: Situation) -> list[Sign]:
    """The open loops as causes."""
    return [Sign(CAUSE + loop, "the loop is open") for loop in situation.open_loops]


def why_not(situation: Situation, table: Table) -> str | None:
    """Why nothing can be energised: the open loops that would stop it, in a sentence; or None."""
    stop = [x for x in situation.open_loops if table.row(CAUSE + x).stop is not Stop.NOTHING]
    return words(stop)


def words(loops: Sequence[str]) -> str | None:
    """The loops that are open, in one sentence; None if none is."""
    if not loops:
        return None
    return f"{'interlock' if len(loops) == 1 else 'interlocks'} open: {', '.join(loops)}"


def _event(loop: str, how: str, *, is_open: bool) -> Event:
    figures: Figures = {"interlock": loop, "open": is_open}
    return Event(INTERLOCK, f"interlock {how}: {loop}", figures)
