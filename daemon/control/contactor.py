"""The contactor in the cell's circuit: when it has to be closed, and whether it does as it should.

It is closed before the output goes on and opened with it, so that it breaks no current as long as
the supply obeys. Without a contactor (`Limits.pull_in_s` 0) nothing here changes anything.
"""

from dataclasses import replace

from daemon.control.protection.causes import CONTACTOR_DID_NOT_OPEN as DID_NOT_OPEN
from daemon.control.situation import Contactor, Event, Happening, Limits, Situation
from daemon.control.states import PLATING

CONTACTOR = "contactor"


def watched(
    situation: Situation,
    auxiliary_closed: bool | None,
    now_s: float,
    limits: Limits,
    happenings: list[Happening],
) -> Situation:
    """The situation with what the auxiliary contact shows now, None where there is none.

    A contact that is still closed when the contactor has long been told to open is told of once:
    the contactor is welded, or its auxiliary contact lies.
    """
    before = situation.contactor
    since_s = now_s if before.since_s is None else before.since_s
    made, stuck = before.made, False
    if before.closed:
        waited = auxiliary_closed is None and now_s >= since_s + limits.pull_in_s
        made = made or waited or auxiliary_closed is True
    else:
        stuck = auxiliary_closed is True and now_s >= since_s + limits.drop_out_s
    if stuck and not before.stuck:
        text = (
            f"{DID_NOT_OPEN}: its auxiliary contact is closed "
            f"{now_s - since_s:.1f} s after it was told to open"
        )
        happenings.append(Event(DID_NOT_OPEN, text, {"waited_s": now_s - since_s}))
    elif before.stuck and not stuck:
        happenings.append(Event(CONTACTOR, "the contactor is open after all"))
    after = Contactor(before.closed, since_s, auxiliary_closed, made, stuck)
    return situation if after == before else replace(situation, contactor=after)


def is_made(situation: Situation, limits: Limits) -> bool:
    """Whether the circuit is closed for the output to go on."""
    return limits.pull_in_s == 0 or situation.contactor.made


def waited(situation: Situation, now_s: float) -> Situation:
    """A run whose output is not on yet, for its contactor is not closed: no time of it has passed.

    A ramp back up after a hold begins anew.
    """
    from_s = situation.restart_from_s
    return replace(situation, now_s=now_s, restart_from_s=None if from_s is None else now_s)


def fault(situation: Situation, now_s: float, limits: Limits) -> str | None:
    """Why the run cannot go on: the contactor should be closed and is not; None if all is well."""
    contactor = situation.contactor
    if not contactor.closed or contactor.since_s is None or contactor.auxiliary is not False:
        return None
    if contactor.made:
        return "the contactor opened by itself: look at its coil's circuit and what is in it"
    if now_s < contactor.since_s + limits.pull_in_s:
        return None
    return f"the contactor did not close within {limits.pull_in_s:.1f} s"


def why_not(situation: Situation, limits: Limits) -> str | None:
    """Why nothing can be energised, in one sentence; None if the contactor is no reason."""
    contactor = situation.contactor
    if contactor.closed or not contactor.auxiliary:
        return None
    if contactor.stuck:
        return (
            f"{DID_NOT_OPEN}: look for a welded contact; its auxiliary contact has to be open "
            "before it is energised"
        )
    return f"the contactor is not open yet: it has {limits.drop_out_s:.1f} s for that"


def demanded(situation: Situation, now_s: float, limits: Limits) -> Situation:
    """The situation with the contactor demanded as the run's state wants it.

    Closed while the run plates and while its current is brought down; open as soon as the output
    is to be off.
    """
    winding = situation.wind_down
    closed = situation.state in PLATING if winding is None else winding.off_since_s is None
    before = situation.contactor
    if closed == before.closed:
        return situation
    made = closed and limits.pull_in_s == 0
    after = Contactor(closed, now_s, before.auxiliary, made, before.stuck)
    return replace(situation, contactor=after)
