"""What the loop hands to the record's writer. Small frozen values; nothing here waits for a disk.

Charges are A·h, currents A, voltages V, temperatures °C, times s. `elapsed_s` counts from the run's
start on the monotonic clock; `utc_ms` is wall time in ms since 1970, for labels only.
"""

from dataclasses import dataclass, field
from enum import Enum
from typing import Any, NamedTuple

from daemon.chemistry.calibration import MeterLine, Point
from daemon.chemistry.uncertainty import MeterDoubt

Figures = dict[str, float | int | str | bool | None]
"""What an event or an alarm tells in figures, by name, the unit in the name."""

Facts = dict[str, Any]
"""What an entry of a bath tells besides its amounts, as JSON has it, the unit in the names."""


@dataclass(frozen=True, slots=True)
class CountedBy:
    """The meter that counts a run, and what its readings are corrected by and worth.

    The current counted is (reading - offset_a) / gain. `calibration_id` is the calibration that
    says so, None where there is none. `doubt` is that of the corrected current, None where nothing
    is known of it. By default: the supply, uncorrected, nothing known.
    """

    meter: str = "supply"
    gain: float = 1.0
    offset_a: float = 0.0
    calibration_id: int | None = None
    doubt: MeterDoubt | None = None


@dataclass(frozen=True, slots=True)
class Reckoning:
    """What a run's thickness is reckoned with besides its area.

    area_u, efficiency_u: relative standard uncertainties. efficiency: cathode efficiency, a
    fraction, whether the plan says it or it was learned.
    """

    area_u: float
    efficiency: float
    efficiency_u: float


@dataclass(frozen=True, slots=True)
class RunOpened:
    """A run begins. `plan` is the plan file's text as it was handed in.

    goes_on_from: the run with whose part this one goes on, None with a bare one. reckoning: None
    where the plan alone says it.
    """

    run_id: int
    bath: str
    title: str
    plan: str
    metal: str
    area_dm2: float
    target_um: float
    who: str
    utc_ms: int
    monotonic_s: float
    boot_id: str
    clock_synchronised: bool | None
    counted_by: CountedBy = CountedBy()
    goes_on_from: int | None = None
    reckoning: Reckoning | None = None


class Sample(NamedTuple):
    """One reading as it was counted; None where the value was not read.

    A NamedTuple, since one is made for every reading and this is the cheapest there is.
    """

    run_id: int
    elapsed_s: float
    current_a: float | None
    voltage_v: float | None
    set_current_a: float
    charge_ah: float
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class StageEnded:
    """A stage is over: when it began and ended, its charge, and which end came first."""

    run_id: int
    index: int
    name: str
    started_s: float
    ended_s: float
    charge_ah: float
    ended_by: str


@dataclass(frozen=True, slots=True)
class Noted:
    """An event: what happened, when, in words, with its figures. Written at once."""

    run_id: int | None
    kind: str
    text: str
    utc_ms: int
    monotonic_s: float
    data: Figures


@dataclass(frozen=True, slots=True)
class RunEnded:
    """A run is over, for whatever reason; the charge that only a gap's bounds know stands apart."""

    run_id: int
    state: str
    reason: str
    utc_ms: int
    elapsed_s: float
    running_s: float
    charge_ah: float
    gap_least_ah: float
    gap_greatest_ah: float
    mass_g: float
    thickness_um: float


@dataclass(frozen=True, slots=True)
class CalibrationMade:
    """A meter was compared with a reference; `reference_class` is its class as it was written.

    It does not pass through the queue: whoever calibrates is told that it is kept.
    """

    meter: str
    utc_ms: int
    who: str
    reference: str
    reference_class: str
    note: str
    points: tuple[Point, ...]
    line: MeterLine


@dataclass(frozen=True, slots=True)
class AlarmRaised:
    """An alarm begins: its number, cause and priority, and what was seen, in words and figures.

    `run_id` is the run under way, None at rest. `boot_id` says what `monotonic_s` compares with.
    Written at once, as is everything that follows here and passes through the queue.
    """

    number: int
    run_id: int | None
    cause: str
    priority: str
    seen: str
    figures: Figures
    utc_ms: int
    monotonic_s: float
    boot_id: str


@dataclass(frozen=True, slots=True)
class AlarmChanged:
    """Something happened to the alarm `number`: what, in a word, who did it (None: nobody), when.

    `text` and `data` tell the rest: what was seen again, until when it is shelved, which stop.
    `monotonic_s` is None where a later daemon found out.
    """

    number: int
    what: str
    who: str | None
    utc_ms: int
    monotonic_s: float | None
    text: str = ""
    data: Figures = field(default_factory=dict)


class TraceReading(NamedTuple):
    """One reading in a close-up; None where a value was not read, or does not go with the meter.

    `at_s` is on the monotonic clock in an entry, and from the alarm's moment in what is read back.
    """

    at_s: float
    current_a: float | None
    voltage_v: float | None
    set_current_a: float | None


@dataclass(frozen=True, slots=True)
class Trace:
    """One meter's readings around an alarm, in order; whether it is the one that counts."""

    meter: str
    counting: bool
    readings: tuple[TraceReading, ...]


class Part(Enum):
    """Which part of a close-up: what was there when the alarm was raised, or what came since."""

    BEFORE = "before"
    AFTER = "after"


@dataclass(frozen=True, slots=True)
class CloseUpTaken:
    """All readings around an alarm at full rate, one part of them.

    `raised_s` is the alarm's moment on the monotonic clock; what is known reaches from `from_s` to
    `to_s`, s from that moment.
    """

    number: int
    part: Part
    raised_s: float
    from_s: float
    to_s: float
    traces: tuple[Trace, ...]


@dataclass(frozen=True, slots=True)
class Audited:
    """Somebody asked for something: who, from where (a user's terminal, a page's address), what.

    `refused` says why it was not done, None where it was.
    """

    utc_ms: int
    who: str
    origin: str
    what: str
    detail: str = ""
    refused: str | None = None


@dataclass(frozen=True, slots=True)
class ProofStep:
    """One step of a proof test: what was expected, what was seen, and whether that is the same."""

    name: str
    expected: str
    seen: str
    passed: bool


@dataclass(frozen=True, slots=True)
class ProofMade:
    """The ways to stop were tested. It does not pass through the queue, as a calibration."""

    utc_ms: int
    who: str
    steps: tuple[ProofStep, ...]

    @property
    def passed(self) -> bool:
        """Whether every step did; a test without steps proves nothing."""
        return bool(self.steps) and all(step.passed for step in self.steps)


@dataclass(frozen=True, slots=True)
class Settled:
    """A person's word on the charge that passed in a run's interruption, A·h, and why.

    It does not pass through the queue, as a calibration.
    """

    run_id: int
    charge_ah: float
    who: str
    note: str
    utc_ms: int


@dataclass(frozen=True, slots=True)
class BathEntered:
    """Something was done to a bath, or seen of it; see `daemon.bath.kinds` for kinds and facts.

    at_utc_ms: when it happened; utc_ms: when it was entered. amounts: by substance what went into
    the bath (less than 0: out of it), g, mL of an additive, L of "volume". corrects_id: the entry
    that it corrects, by the difference in amounts and by facts that take the place of the earlier
    ones; None as facts withdraws it. What a person enters does not pass through the queue, as a
    calibration; a pump's dose, of which the loop tells, does.
    """

    bath: str
    kind: str
    who: str
    utc_ms: int
    at_utc_ms: int
    amounts: dict[str, float] = field(default_factory=dict)
    facts: Facts | None = field(default_factory=dict)
    note: str = ""
    run_id: int | None = None
    corrects_id: int | None = None


@dataclass(frozen=True, slots=True)
class PartKept:
    """A part with its area, dm², ± u95_dm2 with 95 %. It does not pass through the queue.

    made_from: its mesh file or its shape, in words. volume_cm3: of its matter. settings: what was
    said of it, as JSON has it. picture: a PNG file. sha256: of its mesh file.
    """

    name: str
    utc_ms: int
    who: str
    made_from: str
    area_dm2: float
    u95_dm2: float
    volume_cm3: float | None = None
    settings: Facts = field(default_factory=dict)
    picture: bytes | None = None
    sha256: str | None = None


Entry = (
    RunOpened
    | Sample
    | StageEnded
    | Noted
    | RunEnded
    | AlarmRaised
    | AlarmChanged
    | CloseUpTaken
    | Audited
    | BathEntered
)
