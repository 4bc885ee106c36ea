"""The catalogue of causes: everything that raises an alarm, what it means and what to check.

The signatures are common practice of the trade; what tankhand does about each stands in `effects`.
Priorities follow the two questions of IEC 62682, what it costs if nobody comes and how soon
somebody has to: high is danger to people, house or bath, or a run that ends now; medium is a part
in danger within the hour; low can wait for the morning. An interlock's follows from what it does
(`effects.Table.priority`).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType


class Priority(Enum):
    """How urgent an alarm is; the basis stands at the head of this module."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that can be wrong.

    `check` is what to look at first, `need` what it needs from a person. `explains` are the causes
    that it brings about by itself: they raise no alarm of their own while it is there.
    """

    name: str
    priority: Priority
    check: str
    need: str
    explains: frozenset[str] = frozenset()


OUTPUT_DID_NOT_STOP = "output did not stop"
CURRENT_WITHOUT_RUN = "current with no run"
CONTACTOR_DID_NOT_OPEN = "contactor did not open"
CONTACTOR_FAULT = "contactor fault"
SHORT = "short"
OVER_CURRENT = "over-current"
SPIKE = "current spike"
OPEN_CIRCUIT = "open circuit"
OUTPUT_DROPPED = "output dropped"
PART_LOST = "part lost"
WHISKER = "whisker"
BAD_CONTACT = "bad contact"
OFF_PLAN = "current off the plan"
VOLTAGE_CEILING = "voltage ceiling"
VOLTAGE_DRIFT = "voltage drift"
READING_LOST = "reading lost"
READING_FROZEN = "reading frozen"
DEVICE_FAILED = "device failed"
METERS_DISAGREE = "meters disagree"
RIPPLE_HIGH = "ripple high"
CAP_REACHED = "cap reached"
BATH_HOT = "bath too hot"
BATH_COLD = "bath too cold"
THERMOMETER_LOST = "thermometer lost"
RECORD_BEHIND = "record behind"
DISK_NEARLY_FULL = "disk nearly full"
CLOCK_STEPPED = "clock stepped"
RUN_INTERRUPTED = "run interrupted"
TELLING_FAILED = "telling failed"
PROOF_OVERDUE = "proof test overdue"

STILL_ON = frozenset({OUTPUT_DID_NOT_STOP, CURRENT_WITHOUT_RUN})
"""Causes that say that the tank is energised at this moment and should not be."""

INTERLOCK = "interlock: "
"""What the name of each interlock's cause begins with."""

_H, _M, _L = Priority.HIGH, Priority.MEDIUM, Priority.LOW

_ALL = (
    Cause(
        OUTPUT_DID_NOT_STOP, _H,
        "the supply's front panel and its mains switch; a clamp meter on the anode's lead",
        "Switch the supply off by hand now, at the mains if it does not obey.",
        frozenset({CURRENT_WITHOUT_RUN}),
    ),
    Cause(
        CURRENT_WITHOUT_RUN, _H,
        "whether somebody has switched the supply on by hand; whether a meter's zero has moved",
        "Switch the supply off by hand.",
    ),
    Cause(
        CONTACTOR_DID_NOT_OPEN, _H,
        "the contactor for a welded contact; its auxiliary contact for a loose wire",
        "Switch the supply off at the mains before touching anything. Replace the contactor.",
    ),
    Cause(
        CONTACTOR_FAULT, _H,
        "the coil's circuit: fuse, emergency stop, interlocks in series, the heartbeat circuit",
        "Find why the contactor is open, then reset.",
        frozenset({OPEN_CIRCUIT, OFF_PLAN, OUTPUT_DROPPED, VOLTAGE_CEILING}),
    ),
    Cause(
        SHORT, _H,
        "a part or hook touching an anode; a tree of copper at an edge; a dropped tool in the tank",
        "Switch the supply off, part the electrodes, look at the part.",
        frozenset(
            {OVER_CURRENT, SPIKE, WHISKER, PART_LOST, OFF_PLAN, METERS_DISAGREE, BAD_CONTACT}
        ),
    ),
    Cause(
        OVER_CURRENT, _H,
        "the supply's own settings; the shunt and its wires; a short at the tank",
        "Find why more current flowed than was asked for, then reset.",
        frozenset({SPIKE, OFF_PLAN}),
    ),
    Cause(
        SPIKE, _H,
        "a loose wire at the shunt; a part that has touched an anode; the supply's settings",
        "Find what made the current jump, then reset.",
        frozenset({OFF_PLAN}),
    ),
    Cause(
        OPEN_CIRCUIT, _H,
        "the part's hook, the clips, the anode's lead, the fuse; whether the part lies in the tank",
        "Make the contact again, look at the part, then go on.",
        frozenset({OFF_PLAN, VOLTAGE_CEILING, BAD_CONTACT, PART_LOST}),
    ),
    Cause(
        OUTPUT_DROPPED, _H,
        "the supply's front panel: over-temperature, its own protection, somebody's hand",
        "Find why the supply has switched its output off, then go on.",
        frozenset({OFF_PLAN, OPEN_CIRCUIT}),
    ),
    Cause(
        PART_LOST, _M,
        "whether every part still hangs: one that fell off leaves more current to the others",
        "Hang it up again or take the lost area off the plan.",
        frozenset({WHISKER, BAD_CONTACT, VOLTAGE_DRIFT}),
    ),
    Cause(
        WHISKER, _M,
        "edges and hooks for a thin tree of copper towards the anode",
        "Shake or brush it off: current that goes through it plates nothing, and it may short.",
        frozenset({BAD_CONTACT}),
    ),
    Cause(
        BAD_CONTACT, _M,
        "hooks and clips: warm, green or loose ones",
        "Clean and tighten the contact.",
    ),
    Cause(
        OFF_PLAN, _M,
        "the supply's set-points and limits; whether it was switched to local control",
        "Bring the current back to the plan's, then go on.",
    ),
    Cause(
        VOLTAGE_CEILING, _L,
        "contacts, conductive paint, anode area, the bath's temperature and level",
        "The plan's current does not flow: the run takes longer than planned.",
    ),
    Cause(
        VOLTAGE_DRIFT, _L,
        "the anode for a film, its area, the bath's temperature, level and copper",
        "Look at the anodes in the morning; less current helps at once.",
    ),
    Cause(
        READING_LOST, _H,
        "the supply's cable and whether the supply is on",
        "Make the connection again, look at the tank, then reset.",
        frozenset({METERS_DISAGREE}),
    ),
    Cause(
        READING_FROZEN, _H,
        "the meter: its readings do not move although they should",
        "Switch the meter off and on, look at the tank, then reset.",
        frozenset({OFF_PLAN, METERS_DISAGREE}),
    ),
    Cause(
        DEVICE_FAILED, _H,
        "the device's cable, its power, its settings",
        "Make the device answer again, look at the tank, then reset.",
        frozenset({READING_LOST, METERS_DISAGREE}),
    ),
    Cause(
        METERS_DISAGREE, _M,
        "the shunt's wires, and when each meter was last calibrated",
        "Find out which one is right: the thickness rests on it.",
    ),
    Cause(
        RIPPLE_HIGH, _L,
        "the supply's load and its filter: ripple of a rectifier grows at low output",
        "Nothing tonight; it may dull a bright deposit.",
    ),
    Cause(
        CAP_REACHED, _M,
        "the plan's caps, and why the target was not reached before",
        "Measure the part, then decide whether it needs more.",
    ),
    Cause(
        BATH_HOT, _M,
        "the heater and its controller; the current; the cooling",
        "Let the bath cool. Additives break down in the heat.",
    ),
    Cause(
        BATH_COLD, _L,
        "the heater and the room",
        "Warm the bath: a cold one burns at the plan's current.",
    ),
    Cause(
        THERMOMETER_LOST, _L,
        "the thermometer's wires",
        "Make the thermometer read again: nothing watches the bath's temperature now.",
    ),
    Cause(
        RECORD_BEHIND, _M,
        "the card or disk that holds the record",
        "Make room or replace the card: what waits is lost with a power cut.",
    ),
    Cause(
        DISK_NEARLY_FULL, _L,
        "what fills the disk",
        "Make room: a night takes some megabytes.",
    ),
    Cause(
        CLOCK_STEPPED, _L,
        "whether the machine has a network to set its clock by",
        "Nothing: times of day before it may be wrong, durations and charge are not.",
    ),
    Cause(
        RUN_INTERRUPTED, _M,
        "the part, the bath, and why power or daemon went away",
        "Say what happened to the part meanwhile, then start again or go on.",
    ),
    Cause(
        TELLING_FAILED, _M,
        "the network and the addresses in the settings",
        "Somebody has to look at the tank by other means.",
    ),
    Cause(
        PROOF_OVERDUE, _L,
        "when the ways to stop were last proved",
        "Run the proof test before the next unattended night.",
    ),
)  # fmt: skip

CAUSES: Mapping[str, Cause] = MappingProxyType({cause.name: cause for cause in _ALL})


def cause_named(name: str) -> Cause:
    """The cause with this name; an interlock's is made from what people call its loop.

    Its priority is that of one whose row nobody knows, which aborts: `effects.Table.priority` knows
    rows. Raises KeyError for a name that is neither.
    """
    if name.startswith(INTERLOCK):
        loop = name.removeprefix(INTERLOCK)
        return Cause(
            name, Priority.HIGH,
            f"why the {loop} loop is open; a broken wire opens it too",
            "Put it right, then go on.",
        )  # fmt: skip
    return CAUSES[name]
