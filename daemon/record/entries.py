"""What the loop hands to the record's writer. Small frozen values; nothing here waits for a disk.

Charges are A·h, currents A, voltages V, temperatures °C, times s. `elapsed_s` counts from the run's
start on the monotonic clock; `utc_ms` is wall time in ms since 1970, for labels only.
"""

from dataclasses import dataclass
from typing import NamedTuple

from daemon.chemistry.calibration import MeterLine, Point
from daemon.chemistry.uncertainty import MeterDoubt


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
class RunOpened:
    """A run begins. `plan` is the plan file's text as it was handed in."""

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
    data: dict[str, float | int | str | bool | None]


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


Entry = RunOpened | Sample | StageEnded | Noted | RunEnded
