"""What a message says about the tank: plain values, made by the loop from its situation."""

from dataclasses import dataclass
from enum import Enum

from daemon.control.kept_dose import KeptDose
from daemon.control.protection.causes import STILL_ON
from daemon.control.situation import Situation
from daemon.control.states import OPEN, PLATING, State


class Current(Enum):
    """What is known of the cell's current."""

    ON = "on"
    FALLING = "being taken away"
    OFF = "off"
    NOT_OFF = "not off"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Tank:
    """How the tank is. The run's fields are those of the last one; None before the first.

    thickness_um is the best estimate of the mean, target_um the plan's; µm. reason: why the run is
    where it is, empty if there is nothing to say. kept: doses that pumps are kept from.
    """

    state: State
    current: Current
    run_id: int | None = None
    title: str = ""
    thickness_um: float | None = None
    target_um: float | None = None
    reason: str = ""
    kept: tuple[KeptDose, ...] = ()


def tank_of(situation: Situation, lost_s: float, kept: tuple[KeptDose, ...] = ()) -> Tank:
    """The tank in this situation; a reading older than `lost_s` says nothing of its current."""
    run, count = situation.run, situation.count
    current = _current(situation, lost_s)
    if run is None or count is None:
        return Tank(situation.state, current, kept=kept)
    return Tank(
        state=situation.state,
        current=current,
        run_id=run.run_id,
        title=run.plan.title,
        thickness_um=count.best_ah * run.um_per_ah,
        target_um=run.plan.target_um,
        reason=situation.reason or "",
        kept=kept,
    )


def _current(situation: Situation, lost_s: float) -> Current:
    if any(alarm.active and alarm.cause in STILL_ON for alarm in situation.alarms.standing):
        return Current.NOT_OFF
    reading = situation.reading
    if reading is None or situation.now_s - reading.monotonic_s > lost_s:
        return Current.UNKNOWN
    if situation.state in PLATING and situation.wind_down is None:
        return Current.ON
    if situation.state in OPEN and situation.state is not State.HELD:
        return Current.FALLING
    return Current.OFF
