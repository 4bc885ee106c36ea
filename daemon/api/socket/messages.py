"""What is said over the control socket: one JSON object a line, a request and its answer."""

from typing import Annotated, Literal

from pydantic import AwareDatetime, Field, JsonValue

from daemon.api.socket.access import AccessRequest
from daemon.api.socket.effects import EffectsRow, PriorityName
from daemon.api.socket.message import Message, PersonsAct
from daemon.api.socket.parts import PartRequest
from daemon.api.socket.plans import (
    CheckPlanRequest,
    DropPlanRequest,
    KeepPlanRequest,
    PlanCheck,
    PlanText,
)
from daemon.api.socket.proof import (
    AnswerProofRequest,
    BeginProofRequest,
    EndProofRequest,
    ProofRequest,
    ProofStatus,
)
from daemon.api.socket.pumps import PumpRequest, PumpStatus
from daemon.api.socket.rehearsal import Rehearsal
from daemon.api.socket.settings import SettingsSeen
from daemon.chemistry.calibration import Point

StateName = Literal[
    "idle",
    "running",
    "holding",
    "held",
    "restarting",
    "stopping",
    "stopped",
    "aborting",
    "aborted",
    "complete",
]

LifeName = Literal[
    "unacknowledged", "acknowledged", "returned, unacknowledged", "latched", "shelved"
]


class StatusRequest(Message):
    """How is it? Needs no right, changes nothing."""

    ask: Literal["status"] = "status"


class EffectsRequest(Message):
    """What does each cause bring about? Needs no right, changes nothing."""

    ask: Literal["effects"] = "effects"


class SettingsRequest(Message):
    """By which settings do you run? Needs no right, changes nothing."""

    ask: Literal["settings"] = "settings"


class StartRequest(PersonsAct):
    """Start a run with the plan in `plan`, a plan file's text.

    With `goes_on_from` it goes on with the part of that run, and without a plan by that run's.
    With `check` nothing is started: the answer says whether the plan can work, and what it meets.
    `after_run` is the newest run that its asker knows of, 0 for none: where there is a newer one,
    nothing is started, so that a press that comes twice starts one run.
    """

    ask: Literal["start"] = "start"
    plan: PlanText = ""
    goes_on_from: int | None = Field(default=None, gt=0)
    after_run: int | None = Field(default=None, ge=0)
    check: bool = False


class RehearseRequest(Message):
    """How would a plan go? Needs no right, changes nothing, takes some seconds.

    plan, goes_on_from: as of a start. mishaps: as `daemon.api.rehearsal.mishaps` reads them, those
    that are usual where it is None. copies: how many parts hang.
    """

    ask: Literal["rehearse"] = "rehearse"
    plan: PlanText = ""
    goes_on_from: int | None = Field(default=None, gt=0)
    mishaps: tuple[Annotated[str, Field(max_length=200)], ...] | None = None
    copies: int | None = Field(default=None, ge=1, le=1000)


class ActRequest(PersonsAct):
    """A person's act on the run."""

    ask: Literal["hold", "resume", "stop", "abort", "reset"]


class AlarmRequest(PersonsAct):
    """A person's act on alarms: acknowledge all or one by its number, shelve it, unshelve it.

    `for_s` is how long it is shelved, s.
    """

    ask: Literal["acknowledge", "shelve", "unshelve"]
    alarm: int | None = None
    for_s: float = Field(default=0.0, ge=0, allow_inf_nan=False)


class WithholdRequest(PersonsAct):
    """Withhold the contactor's heartbeat until the output is off: a proof test sees it open.

    Nobody asks for it over the socket; it is among what a walk asks for.
    """

    ask: Literal["withhold"] = "withhold"


class SettleRequest(PersonsAct):
    """Say what charge, A·h, passed while a run was interrupted, and how that is known."""

    ask: Literal["settle"] = "settle"
    run: int = Field(gt=0)
    charge_ah: float = Field(ge=0, allow_inf_nan=False)
    note: str = Field(default="", max_length=500)


class CalibrateRequest(PersonsAct):
    """Keep a comparison of a meter with a reference, and correct the meter by it from now on.

    `points` are one at 0 A with the output off, which sets the zero alone, or several. `reference`
    says which instrument it was, `reference_class` its class as `daemon.api.calibration.reference`
    reads it.
    """

    ask: Literal["calibrate"] = "calibrate"
    meter: str
    reference: str = Field(min_length=1, max_length=200)
    reference_class: str = Field(min_length=1, max_length=80)
    points: tuple[Point, ...] = Field(min_length=1, max_length=50)
    note: str = Field(default="", max_length=500)


EntryKind = Literal[
    "make-up",
    "addition",
    "dose",
    "top-up",
    "water",
    "drag-out",
    "sample",
    "filtration",
    "carbon treatment",
    "analysis",
    "appearance",
    "anodes",
    "weighing",
    "correction",
]
"""The kinds of entries that a person makes, see `daemon.bath.kinds`."""


class BathEntryRequest(PersonsAct):
    """Enter what was done to the bath, or seen of it; possible at any time.

    at_utc: when it happened, ISO 8601; now, if left out. run: the run that it is about. amounts: by
    substance what went into the bath (less than 0: out of it), g, mL of an additive, L of "volume".

    A "correction" names the entry that it corrects, with the amounts, facts and note that are
    right; without facts it withdraws that entry. When it happened and the run stay as they were.
    """

    ask: Literal["bath entry"] = "bath entry"
    kind: EntryKind
    at_utc: AwareDatetime | None = None
    run: int | None = Field(default=None, gt=0)
    amounts: dict[str, float] = Field(default_factory=dict, max_length=50)
    facts: dict[str, JsonValue] | None = Field(default_factory=dict, max_length=50)
    note: str = Field(default="", max_length=500)
    corrects: int | None = Field(default=None, gt=0)


Request = Annotated[
    StatusRequest
    | EffectsRequest
    | SettingsRequest
    | StartRequest
    | RehearseRequest
    | ActRequest
    | AlarmRequest
    | PumpRequest
    | ProofRequest
    | BeginProofRequest
    | AnswerProofRequest
    | EndProofRequest
    | SettleRequest
    | CalibrateRequest
    | BathEntryRequest
    | PartRequest
    | CheckPlanRequest
    | KeepPlanRequest
    | DropPlanRequest
    | AccessRequest,
    Field(discriminator="ask"),
]


class StageStatus(Message):
    """One stage of the running plan, as the page draws it; times in s of running time."""

    name: str
    current_a: float
    state: Literal["to come", "under way", "done"]


class ShareStatus(Message):
    """A cause of doubt, and the standard uncertainty that it alone gives the thickness, µm."""

    name: str
    u_um: float


class RippleStatus(Message):
    """The newest look at a meter's ripple, in % of the mean current, `age_s` ago.

    rms_percent is the root mean square of the alternating part, peak_to_peak_percent the greatest
    less the least value. Where neither could be measured, `not_measured` says why.
    """

    rms_percent: float | None = None
    peak_to_peak_percent: float | None = None
    not_measured: str | None = None
    age_s: float


class MeterStatus(Message):
    """A meter's newest reading: as it came (`raw_current_a`) and corrected by its calibration.

    `counts` marks the one whose current is counted; `age_s` is on the daemon's clock. `explained_a`
    is how far it may be from the counting one by what is not known of both. `step_a` is in what
    steps it shows `raw_current_a`. `ripple` is None while nothing plates, and for a meter that is
    never read fast enough.
    """

    name: str
    counts: bool
    current_a: float | None
    raw_current_a: float | None
    voltage_v: float | None
    age_s: float
    explained_a: float | None = None
    step_a: float = 0.0
    ripple: RippleStatus | None = None


class ThermometerStatus(Message):
    """A thermometer's newest reading, °C, and its age on the daemon's clock, s."""

    name: str
    temperature_c: float
    age_s: float


class AlarmStatus(Message):
    """An alarm that is not over, with its text: what was seen, what was done, what to check.

    `life` is its state after IEC 62682, `need` what it needs from a person. `first_out` marks the
    first of those that stopped the run, `times` how often its cause has come.
    """

    number: int
    cause: str
    priority: PriorityName
    life: LifeName
    seen: str
    did: str
    check: str
    need: str
    raised_utc: str
    acknowledged_by: str | None = None
    first_out: bool = False
    shelved_until_utc: str | None = None
    times: int = 1


class RunStatus(Message):
    """The run under way, or the last one: figures as of `Status.monotonic_s`.

    Units are in the names. `remaining_s` is None when no honest figure exists (held, or no
    current); `reason` says in words why the run is in its state, where that needs saying.
    """

    run_id: int
    title: str
    bath: str
    started_utc: str
    running_s: float
    stage: int
    stages: tuple[StageStatus, ...]
    area_dm2: float
    charge_ah: float
    gap_charge_ah: float
    thickness_um: float
    thickness_u95_um: float = 0.0
    doubt: tuple[ShareStatus, ...] = ()
    target_um: float
    mass_g: float
    metal: str
    remaining_s: float | None
    set_current_a: float
    set_voltage_v: float
    reason: str | None = None


class DueStatus(Message):
    """Something of the bath that is due or will be: a dose of an additive, or upkeep by its name.

    amount_ml: the size of a dose, None where none is described. open_ml: what charge has used of an
    additive and no dose has answered, mL. doses: how many are due now; of upkeep 1 or 0. in_ah,
    in_s: charge and time until it is due, less than 0 by how much it is overdue; None where it does
    not go by that. plating_s: how long the run under way takes to get there, None if it does not.
    """

    kind: Literal["dose", "upkeep"]
    name: str
    amount_ml: float | None = None
    open_ml: float | None = None
    doses: int = 0
    in_ah: float | None = None
    in_s: float | None = None
    plating_s: float | None = None


class Status(Message):
    """The daemon's word about itself and the tank.

    `reading_age_s` is how old the newest reading is; None with the values when there is none.
    `output_on` is what the supply says of its output, or what it was told where it cannot say.
    `alarms` are those that are not over, the most urgent first. `proving` says at what a proof test
    is that is under way. `unrecorded` counts samples that the record could not take.
    `off_rehearsal` says what of the run under way is outside of what was foretold, None while
    nothing is. `dues` are what falls due of the bath, `unsettled` the runs of which nobody has said
    yet what passed while they were interrupted. `pumps` are the dosing pumps.
    """

    state: StateName
    utc: str
    monotonic_s: float
    rate: float
    current_a: float | None
    voltage_v: float | None
    reading_age_s: float | None
    mode: str | None
    output_on: bool
    supply: str
    run: RunStatus | None
    bath: str
    bath_charge_ah: float
    meters: tuple[MeterStatus, ...] = ()
    thermometers: tuple[ThermometerStatus, ...] = ()
    alarms: tuple[AlarmStatus, ...] = ()
    proving: str | None = None
    unrecorded: int = 0
    notice: str | None = None
    off_rehearsal: str | None = None
    dues: tuple[DueStatus, ...] = ()
    unsettled: tuple[int, ...] = ()
    pumps: tuple[PumpStatus, ...] = ()


class Answer(Message):
    """What the daemon answers: the status after the act, or the one reason why not.

    `unusable`: the plan is wrong, whatever the tank does. `warning`: it was done, but this has to
    be known of it. `effects` are the rows of the cause and effect table, `proof` how it is with the
    proof test, for whoever asked for them. `entry` is the number of the bath's entry or of the part
    that was made. `notes` are good to know besides. `rehearsal` is there for whoever asked for one,
    `checked` for whoever had a plan checked, `settings` for whoever asked for them.
    """

    ok: bool
    error: str | None = None
    unusable: bool = False
    warning: str | None = None
    status: Status | None = None
    effects: tuple[EffectsRow, ...] = ()
    proof: ProofStatus | None = None
    entry: int | None = None
    notes: tuple[str, ...] = ()
    rehearsal: Rehearsal | None = None
    checked: PlanCheck | None = None
    settings: SettingsSeen | None = None
