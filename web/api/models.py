"""The shapes that the API alone has, besides those that it shares with the control socket.

Quantities have their units in their names; moments are UTC, as RFC 3339 writes them; what is not
known is null, and never 0.
"""

from typing import Annotated, Any

from pydantic import AwareDatetime, ConfigDict, Field, JsonValue, create_model

from daemon.api.socket.effects import PriorityName
from daemon.api.socket.message import Message, PersonsAct
from daemon.api.socket.messages import AlarmStatus, DueStatus, StartRequest, Status
from web.record import GREATEST_NUMBER

Number = Annotated[int, Field(ge=1, le=GREATEST_NUMBER)]


class Shape(Message):
    """Base of them: each field is described below it."""

    model_config = ConfigDict(use_attribute_docstrings=True)


class Nothing(Shape):
    """An empty object: the command says all."""


_NOT_SENT = {*PersonsAct.model_fields, "ask"}
_OF_A_START: dict[str, Any] = {
    name: (field.annotation, field)
    for name, field in StartRequest.model_fields.items()
    if name not in _NOT_SENT
}

Start = create_model("Start", __base__=Shape, __doc__=StartRequest.__doc__, **_OF_A_START)
"""What a start says over the control socket, but for who says it: the token tells that."""


class Shelf(Shape):
    """For how long an alarm is shelved."""

    for_s: float = Field(gt=0, allow_inf_nan=False)
    """Seconds; 12 h are the most that the daemon takes."""


class Page(Shape):
    """Which part of a list, newest first."""

    before: Number | None = None
    """Begin with what comes before this number; the newest, if left out."""
    limit: int = Field(default=50, ge=1, le=200)
    """How many at most."""


class Window(Shape):
    """Which part of a run's readings, and how closely."""

    from_s: float = Field(default=0.0, ge=0, allow_inf_nan=False)
    """From so many seconds after the run's start on."""
    for_s: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    """So many seconds of it; to the end, if left out."""
    points: int = Field(default=800, ge=1, le=2000)
    """In how many points at most."""


class Done(Shape):
    """It was done: how the tank is after it, and what has to be known of it."""

    status: Status
    warning: str | None = None
    """It was done, and still somebody has to see to this."""
    notes: tuple[str, ...] = ()
    """Good to know besides: what a plan left to the daemon, what falls due before its end."""


class StandingAlarms(Shape):
    """The alarms that are not over, the most urgent first."""

    alarms: tuple[AlarmStatus, ...]


class AlarmEvent(Shape):
    """Something that happened to an alarm."""

    what: str
    """Such as "acknowledged", "returned", "stopped the run" or "cleared"."""
    at_utc: AwareDatetime
    who: str | None
    """Who did it; null where nobody did."""
    text: str


class KeptAlarm(Shape):
    """An alarm as the record keeps it."""

    number: int
    cause: str
    priority: PriorityName
    run: int | None
    """The run under way when it was raised; null where there was none."""
    raised_utc: AwareDatetime
    seen: str
    """What was seen, in figures."""
    figures: dict[str, JsonValue]
    """The same for machines; the units are in the names."""
    over: bool
    """Whether it is gone and acknowledged."""
    events: tuple[AlarmEvent, ...]
    """What has happened to it since, the oldest first."""


class KeptAlarms(Shape):
    """A part of the alarms that the record keeps, the newest first."""

    alarms: tuple[KeptAlarm, ...]
    older: int | None
    """Give this number as `before` for those that come next; null where there are none."""


class RunSummary(Shape):
    """A run. Under way its figures are as last kept, and what only its end tells is null."""

    number: int
    title: str
    bath: str
    state: str
    """"running" while it is under way; then in which state it ended."""
    reason: str | None
    """Why it ended so."""
    who: str
    """Who started it."""
    started_utc: AwareDatetime
    ended_utc: AwareDatetime | None
    elapsed_s: float
    """How long it lasted, holds included."""
    running_s: float | None
    """The same without holds."""
    metal: str
    area_dm2: float
    target_um: float
    charge_ah: float
    gap_least_ah: float | None
    """The least charge of the times in which nothing was read; the run's charge has the middle."""
    gap_greatest_ah: float | None
    """The greatest charge of those times."""
    mass_g: float | None
    thickness_um: float | None
    goes_on_from: int | None
    """The run whose part it went on with."""
    proof_test: bool
    """Whether it was the run of a proof test, which plates nothing of worth."""


class RunList(Shape):
    """A part of the runs, the newest first."""

    runs: tuple[RunSummary, ...]
    older: int | None
    """Give this number as `before` for those that come next; null where there are none."""


class StageOver(Shape):
    """A stage that is over; times are seconds from the run's start."""

    number: int
    name: str
    started_s: float
    ended_s: float
    charge_ah: float
    ended_by: str


class RunReport(RunSummary):
    """A run with its plan, its stages, and the meter that counted it."""

    plan: str
    """The plan file's text as it was written."""
    counted_by: str
    """The meter whose current was counted."""
    stages: tuple[StageOver, ...]


class Channel(Shape):
    """One channel along a series, a value for each of its points; null where it was not read."""

    least: tuple[float | None, ...]
    mean: tuple[float | None, ...]
    """Weighted by time."""
    greatest: tuple[float | None, ...]


class Readings(Shape):
    """A run's readings, point by point: all lists have the same length.

    A point stands for the readings from `first_s` to `last_s`, seconds from the run's start. A time
    without readings has no point.
    """

    run: int
    level: str
    """What the points are made of: "sample", "minute", "ten_minutes", "hour" or "eight_hours"."""
    first_s: tuple[float, ...]
    last_s: tuple[float, ...]
    current_a: Channel
    voltage_v: Channel
    set_current_a: Channel
    temperature_c: Channel
    charge_ah: tuple[float, ...]
    """The run's charge at `last_s`."""


class PlanNamed(Shape):
    """Which plan."""

    name: str = Field(min_length=1, max_length=200)
    """As the list has it."""


class PlanLine(Shape):
    """A plan that is kept."""

    name: str
    sha256: str
    """Of its text: another one once it is changed."""
    title: str | None
    """What its runs are called; null where it cannot be read."""
    problems: tuple[str, ...] = ()
    """Why it cannot be read."""


class PlanList(Shape):
    """The plans that are kept, by name."""

    plans: tuple[PlanLine, ...]


class PlanWritten(Shape):
    """A plan with its text, which `start` takes."""

    name: str
    sha256: str
    text: str


class BathSummary(Shape):
    """The bath's account, summed up.

    Balances are what was put in less what was taken out since the last make-up, as entered, by
    substance. What the current brings and uses up, what leaves with drag-out and what evaporates is
    in no entry.
    """

    name: str
    charge_ah: float
    """All charge that it has seen."""
    volume_l: float | None
    """Its volume as last stated, with what went in and out since then."""
    volume_stated_utc: AwareDatetime | None
    """When it was stated; null where only the description tells."""
    balances_g: dict[str, float]
    """Copper, sulfuric acid, chloride and what else is weighed."""
    balances_ml: dict[str, float]
    """The additives."""
    entries: int
    """How many entries its account has."""
    dues: tuple[DueStatus, ...]
    """What falls due of it, as in the state."""
    unsettled: tuple[int, ...]
    """The runs of which nobody has said yet what passed while they were interrupted."""
