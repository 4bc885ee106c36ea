"""Everything that `step` knows between two ticks, what comes in, and what goes out."""

from dataclasses import dataclass, field
from typing import Literal

from daemon.chemistry.uncertainty import NO_DOUBT, MeterDoubt
from daemon.control.charge import Count
from daemon.control.plan import Plan
from daemon.control.protection.alarms import NO_ALARMS, Alarms, Change, Figures, Sign
from daemon.control.protection.effects import DEFAULT_TABLE, Table
from daemon.control.states import Act, State
from drivers.contracts import Reading


@dataclass(frozen=True, slots=True)
class Limits:
    """Times and currents that the loop and its devices allow; settings may change them.

    period_s: the longest time to the next tick. gap_s: readings further apart than this make a
    gap. lost_s: without a reading for this long, a run is aborted. down_s: how long the set-point
    may take to bring the current down before the output goes off all the same. off_s: after output
    off the current has to be gone within this, else "output did not stop" is raised, and again
    at growing intervals. gone_a: a current below this is no current.
    restart_s: the ramp back up after a hold. settle_s: how long the cell's voltage has to stay
    below a stage's limit: one noisy reading ends no stage. pull_in_s and drop_out_s: how long the
    contactor may take to close and to open; 0 where there is none. table: what each cause brings
    about.
    """

    period_s: float = 0.1
    gap_s: float = 1.0
    lost_s: float = 3.0
    down_s: float = 1.0
    off_s: float = 2.0
    tell_most_s: float = 600.0
    gone_a: float = 0.02
    restart_s: float = 10.0
    settle_s: float = 3.0
    pull_in_s: float = 0.0
    drop_out_s: float = 0.0
    table: Table = DEFAULT_TABLE


@dataclass(frozen=True, slots=True)
class Carried:
    """What is on the part from an earlier run that this one goes on with; nothing by default.

    charge_ah, gap_least_ah, gap_greatest_ah, A·h, and covered_s, s, as in `Count`. stage: index of
    the plan's stage to go on with. stage_from_ah: the best estimate of the charge at its start.
    """

    charge_ah: float = 0.0
    gap_least_ah: float = 0.0
    gap_greatest_ah: float = 0.0
    covered_s: float = 0.0
    stage: int = 0
    stage_from_ah: float = 0.0


NOTHING_CARRIED = Carried()


@dataclass(frozen=True, slots=True)
class Run:
    """The run's constants: who it is, its plan, and the plan's figures turned into charge.

    `doubt` is what is not known of the meter that counts. The count of a run includes what was
    `carried` over to it.
    """

    run_id: int
    plan: Plan
    started_s: float
    um_per_ah: float
    target_ah: float
    doubt: MeterDoubt = NO_DOUBT
    carried: Carried = NOTHING_CARRIED


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the plan is.

    stage: index of the stage under way. stage_from_a: current at its start, A. stage_from_ah: the
    run's charge at its start, A·h. stage_from_s: when it began, on the monotonic clock.
    stage_elapsed_s and running_s: time in running and restarting, s. steady_from_s: the last moment
    at which the current was asked to change by a ramp. below_since_s and below_last_s: the first
    and the newest reading of those that show the cell's voltage below the stage's limit without a
    break.
    """

    stage: int
    stage_from_a: float
    stage_from_ah: float
    stage_from_s: float
    stage_elapsed_s: float
    running_s: float
    steady_from_s: float
    below_since_s: float | None = None
    below_last_s: float | None = None


@dataclass(frozen=True, slots=True)
class WindDown:
    """The way from current to no current: where to, why, since when, and output off since when.

    At rest, it is the watch over an output that came on by itself: `goal` is the state then.

    alarm_at_s: when "output did not stop" is due if the current is still there by then, s.
    ended_by: the end that the stage under way has reached, if one has.
    """

    goal: State
    reason: str
    since_s: float
    off_since_s: float | None = None
    alarm_at_s: float | None = None
    alarms: int = 0
    ended_by: str | None = None


@dataclass(frozen=True, slots=True)
class Demand:
    """What the supply shall do: the output's state and both set-points, A and V."""

    output_on: bool
    current_a: float
    voltage_v: float


OFF = Demand(output_on=False, current_a=0.0, voltage_v=0.0)


@dataclass(frozen=True, slots=True)
class Contactor:
    """The contactor as it is demanded, and as it is known to be.

    closed: what is demanded; since_s: since when, None before the first tick. auxiliary: whether
    its auxiliary contact is closed, None where there is none. made: it has closed since it was
    demanded to. stuck: it did not open when it should have, which has been told.
    """

    closed: bool = False
    since_s: float | None = None
    auxiliary: bool | None = None
    made: bool = False
    stuck: bool = False


@dataclass(frozen=True, slots=True)
class Situation:
    """The whole state of control. `run` stays after its end, until the next one begins."""

    state: State
    now_s: float
    reading: Reading | None = None
    run: Run | None = None
    count: Count | None = None
    progress: Progress | None = None
    demand: Demand = OFF
    wind_down: WindDown | None = None
    restart_from_s: float | None = None
    reason: str | None = None
    open_loops: tuple[str, ...] = ()
    contactor: Contactor = Contactor()
    alarms: Alarms = NO_ALARMS


@dataclass(frozen=True, slots=True)
class Command:
    """A person's act. All but `act` and `who` goes with a start and with nothing else."""

    act: Act
    who: str
    run_id: int = 0
    plan: Plan | None = None
    doubt: MeterDoubt = NO_DOUBT
    carried: Carried = NOTHING_CARRIED


@dataclass(frozen=True, slots=True)
class AlarmAct:
    """A person's act on alarms: acknowledge one or, without a number, all; shelve one; unshelve it.

    `for_s` is how long it is shelved, s.
    """

    what: Literal["acknowledge", "shelve", "unshelve"]
    who: str
    number: int | None = None
    for_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Inputs:
    """What is new since the last tick, and what is there.

    trouble: a device's failure that no run survives, as long as it lasts. open_loops: the names of
    the interlocks that are open, all of them. auxiliary_closed: what the contactor's auxiliary
    contact shows, None where there is none. Both are free of bouncing. signs: the causes that were
    found outside of `step`, all that are there now.
    """

    now_s: float
    reading: Reading | None = None
    command: Command | None = None
    trouble: str | None = None
    open_loops: tuple[str, ...] = ()
    auxiliary_closed: bool | None = None
    signs: tuple[Sign, ...] = ()
    alarm_act: AlarmAct | None = None


@dataclass(frozen=True, slots=True)
class Outputs:
    """What to do now, and the moment before the next tick at which something is due, if any."""

    demand: Demand
    wake_at_s: float | None
    contactor_closed: bool = False
    beacon: bool = False
    siren: bool = False


@dataclass(frozen=True, slots=True)
class Event:
    """Something that belongs into the record: a kind to look for, a sentence, its figures."""

    kind: str
    text: str
    data: Figures = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StageOver:
    """A stage came to its end, by the end or in the state named in `ended_by`.

    The charges of a run's stages add up to the run's; the last one's has what flowed on the way to
    rest, and comes together with the run's end.
    """

    index: int
    name: str
    started_s: float
    charge_ah: float
    ended_by: str


@dataclass(frozen=True, slots=True)
class RunOver:
    """The run has come to rest in `state`."""

    state: State
    reason: str


Happening = Event | StageOver | RunOver | Change
