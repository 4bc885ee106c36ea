"""What keeps dosing pumps still, as far as the tank goes. Pure.

What a hindrance is about is a word for what somebody has to see to; without one it passes.
"""

from collections.abc import Callable

from daemon.control import interlocks
from daemon.control.dosing_pump import Hindrance
from daemon.control.protection.alarms import Alarm
from daemon.control.protection.effects import Stop, Table
from daemon.control.situation import Situation
from daemon.control.states import OPEN, PLATING

LEVEL, LINE, UNWELL, STOPPED = "level", "line", "unwell", "stopped"
"""What hindrances are about: the level, the pump's line, what keeps all lines still, a run that an
alarm has stopped. Others are about a cause of alarms, or a day's most."""


def every_pump(
    situation: Situation,
    table: Table,
    unwell: Callable[[], str | None],
    busy: Callable[[], str | None],
) -> Hindrance | None:
    """What forbids every pump to dose, level aside; None if nothing does.

    `unwell` says what keeps all lines still, `busy` what else is under way.
    """
    plates = situation.state in PLATING and situation.wind_down is None
    if not plates or not situation.demand.output_on:
        return _no_run(situation)
    for alarm in situation.alarms.standing:
        if alarm.active and table.row(alarm.cause).stop is not Stop.NOTHING:
            return Hindrance(alarm.reason, alarm.cause)
    if (why := unwell()) is not None:
        return Hindrance(why, UNWELL)
    return None if (what := busy()) is None else Hindrance(what)


def stopped_by(situation: Situation) -> Alarm | None:
    """The alarm that has stopped the run, if nobody has seen to it yet."""
    return next((alarm for alarm in situation.alarms.standing if alarm.latched), None)


def level_low(interlock: str) -> Hindrance:
    """Of a level whose interlock is open, or was not looked at yet."""
    words = f"the level is low or not known: {interlocks.words([interlock])}"
    return Hindrance(words, LEVEL)


def line_fails(fault: str) -> Hindrance:
    """Of a pump's line that cannot be moved."""
    return Hindrance(fault, LINE)


def _no_run(situation: Situation) -> Hindrance:
    alarm = stopped_by(situation)
    about = "" if alarm is None else STOPPED
    if situation.state in OPEN:
        reason = "" if situation.reason is None else f": {situation.reason}"
        return Hindrance(f"the run is {situation.state.value}{reason}", about)
    return Hindrance(
        "no run plates" if alarm is None else f"{alarm.reason}: it stopped the run", about
    )
