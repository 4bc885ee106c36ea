"""What a rehearsal comes to, as data: the command line, the page and the record take it from here.

Units are in the names. Times are s from the run's start.
"""

from daemon.api.socket.message import Message


class RangeMessage(Message):
    """The middle of what was drawn, the least and the greatest.

    A further one lies between these two with 95 %.
    """

    least: float
    middle: float
    greatest: float


class StageForeseen(Message):
    """A stage as it is expected; `draws` tanks came to its end, figures are theirs.

    voltage_v: at the stage's full current, halfway through. None where it never got there.
    """

    name: str
    current_a: float
    begins_s: RangeMessage
    ends_s: RangeMessage
    charge_ah: RangeMessage
    voltage_v: RangeMessage | None
    ended_by: str
    draws: int


class CurveMessage(Message):
    """One quantity over the run, at `Rehearsal.times_s`; None once every draw has ended."""

    name: str
    unit: str
    middle: tuple[float | None, ...]
    least: tuple[float | None, ...]
    greatest: tuple[float | None, ...]


class BandRow(Message):
    """Between which voltage, V, and bath temperature, °C, lie at a charge within a stage, A·h.

    stage: its index. The row holds once the stage's current has been reached.
    """

    stage: int
    charge_ah: float
    voltage_v: RangeMessage
    temperature_c: RangeMessage


class MishapLine(Message):
    """Something that happens in a mishap, so long after the run's start."""

    at_s: float
    text: str


class MishapTold(Message):
    """A mishap as it was rehearsed: what tankhand does, line by line, and what it needs then."""

    title: str
    lines: tuple[MishapLine, ...]
    needs: tuple[str, ...] = ()


class Taught(Message):
    """What the simulated tank was fitted by: runs of this bath, and of them with a temperature."""

    runs: int
    warm_runs: int
    start_c: float
    start_by: str
    notes: tuple[str, ...] = ()


class Rehearsal(Message):
    """A plan as it is expected to go on this bath; or why it would not work.

    because: each reason why it would not work; empty where it would. completes: how many of `draws`
    reach the target. energy_kwh: what the cell takes; mains_kwh: with the supply's losses.
    hottest_c: the bath's greatest temperature. curves and band are empty where the plan cannot even
    be begun.
    """

    title: str
    bath: str
    target_um: float
    area_dm2: float
    because: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    draws: int = 0
    completes: int = 0
    duration_s: RangeMessage | None = None
    charge_ah: RangeMessage | None = None
    thickness_um: RangeMessage | None = None
    energy_kwh: RangeMessage | None = None
    mains_kwh: float | None = None
    hottest_c: RangeMessage | None = None
    hottest_at_s: float | None = None
    stages: tuple[StageForeseen, ...] = ()
    dues: tuple[str, ...] = ()
    taught: Taught | None = None
    times_s: tuple[float, ...] = ()
    curves: tuple[CurveMessage, ...] = ()
    band: tuple[BandRow, ...] = ()
    mishaps: tuple[MishapTold, ...] = ()

    @property
    def works(self) -> bool:
        """Whether nothing is known that keeps the plan from its target."""
        return not self.because
