"""The cause and effect table: which stop, beacon, siren and message each cause brings about."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType

from daemon.control.protection import causes as c
from daemon.control.protection.causes import Priority, cause_named
from daemon.control.states import State


class Stop(Enum):
    """What becomes of a run. Stop categories are those of IEC 60204-1, as far as software goes.

    NOTHING: it goes on. HOLD: category 1, and it can be gone on with. STOP: category 1, and it is
    over. ABORT: category 0, and somebody has to look at the tank.
    """

    NOTHING = "nothing"
    HOLD = "hold"
    STOP = "stop"
    ABORT = "abort"

    @property
    def goal(self) -> State | None:
        """The resting state that a run is led to; None when it goes on."""
        return _GOALS[self]


_GOALS = {
    Stop.NOTHING: None,
    Stop.HOLD: State.HELD,
    Stop.STOP: State.STOPPED,
    Stop.ABORT: State.ABORTED,
}


@dataclass(frozen=True, slots=True)
class Effects:
    """A row of the table: what one cause brings about.

    The stop comes once the cause has been there for `after_s`; the alarm, and with it beacon, siren
    and message, at once.
    """

    stop: Stop = Stop.NOTHING
    after_s: float = 0.0
    beacon: bool = True
    siren: bool = False
    tell: bool = True


ABORT = Effects(Stop.ABORT, siren=True)
HOLD = Effects(Stop.HOLD)
TELL = Effects()
SHOW = Effects(beacon=False, tell=False)
SOUND = Effects(siren=True)

DEFAULTS: Mapping[str, Effects] = MappingProxyType(
    {
        c.OUTPUT_DID_NOT_STOP: ABORT,
        c.CURRENT_WITHOUT_RUN: SOUND,
        c.CONTACTOR_DID_NOT_OPEN: SOUND,
        c.CONTACTOR_FAULT: ABORT,
        c.SHORT: ABORT,
        c.OVER_CURRENT: ABORT,
        c.SPIKE: ABORT,
        c.OPEN_CIRCUIT: ABORT,
        c.OUTPUT_DROPPED: ABORT,
        c.PART_LOST: HOLD,
        c.WHISKER: TELL,
        c.BAD_CONTACT: TELL,
        c.OFF_PLAN: HOLD,
        c.VOLTAGE_CEILING: TELL,
        c.VOLTAGE_DRIFT: TELL,
        c.READING_LOST: ABORT,
        c.READING_FROZEN: ABORT,
        c.DEVICE_FAILED: ABORT,
        c.METERS_DISAGREE: TELL,
        c.RIPPLE_HIGH: SHOW,
        c.CAP_REACHED: TELL,
        c.BATH_HOT: HOLD,
        c.BATH_COLD: TELL,
        c.THERMOMETER_LOST: TELL,
        c.RECORD_BEHIND: TELL,
        c.DISK_NEARLY_FULL: TELL,
        c.CLOCK_STEPPED: SHOW,
        c.RUN_INTERRUPTED: TELL,
        c.TELLING_FAILED: Effects(tell=False),
        c.PROOF_OVERDUE: SHOW,
    }
)
"""What each cause brings about where the settings say nothing else. What cannot be told from
something worse aborts; what puts parts in danger holds; what can wait, tells."""


_BY_STOP: Mapping[Stop, Priority] = MappingProxyType(
    {
        Stop.NOTHING: Priority.LOW,
        Stop.HOLD: Priority.MEDIUM,
        Stop.STOP: Priority.HIGH,
        Stop.ABORT: Priority.HIGH,
    }
)


@dataclass(frozen=True, slots=True)
class Table:
    """The whole table, interlocks included. A cause without a row aborts: the safe side."""

    rows: Mapping[str, Effects] = field(default_factory=lambda: DEFAULTS)

    def row(self, cause: str) -> Effects:
        """What a cause brings about."""
        return self.rows.get(cause, ABORT)

    def priority(self, cause: str) -> Priority:
        """How urgent a cause is: by the catalogue, an interlock by what it does to a run.

        What its loop means is known to the settings alone. One that ends a run now is high, one
        that holds it leaves a part waiting, one that does nothing can wait itself. Raises KeyError
        for no cause.
        """
        if cause.startswith(c.INTERLOCK):
            return _BY_STOP[self.row(cause).stop]
        return cause_named(cause).priority


DEFAULT_TABLE = Table()
"""What the causes bring about where nothing was set."""
