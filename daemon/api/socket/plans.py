"""What is said over the control socket of plans: whether one would work, and keeping them."""

from typing import Annotated, Literal

from pydantic import Field

from daemon.api.socket.message import Message, PersonsAct

PLAN_LIMIT = 50_000
"""Characters of a plan, which then fits a request; a long one has a few thousand."""

PlanText = Annotated[str, Field(max_length=PLAN_LIMIT)]

Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class CheckPlanRequest(Message):
    """Would this plan work here, and how would it go? Needs no right, changes nothing.

    Unlike a start with `check` it is answered with the plan's course too, and with what is wrong
    key by key.
    """

    ask: Literal["check plan"] = "check plan"
    plan: PlanText


class KeepPlanRequest(PersonsAct):
    """Keep a plan by its name, in a file of its own.

    seen: the SHA-256 of the file that it takes the place of; None where there shall be none yet.
    """

    ask: Literal["keep plan"] = "keep plan"
    name: str = Field(min_length=1, max_length=200)
    plan: PlanText
    seen: Sha256 | None = None


class DropPlanRequest(PersonsAct):
    """Delete a plan that is kept; `seen` is the SHA-256 of its file as its asker has seen it."""

    ask: Literal["drop plan"] = "drop plan"
    name: str = Field(min_length=1, max_length=200)
    seen: Sha256


class StageCourse(Message):
    """What is foreseen of a stage of a plan.

    Times in s of running time, since the run's start. `from_a` is the current at its start,
    `to_um` the thickness at its end. `ended_by` names its end; `sooner_below_v` is the cell's
    voltage, V, below which it ends sooner, which nobody can foresee.
    """

    name: str
    begins_s: float
    ends_s: float
    from_a: float
    current_a: float
    ramp_s: float
    charge_ah: float
    to_um: float
    ended_by: str
    sooner_below_v: float | None = None


class PlanCourse(Message):
    """How a plan goes if the supply delivers what it is asked for.

    `times_s` are the moments of `current_a` and `thickness_um`, between which the current goes in a
    straight line; where it jumps there are two of them.
    """

    area_dm2: float
    target_um: float
    reached: bool
    stages: tuple[StageCourse, ...]
    times_s: tuple[float, ...]
    current_a: tuple[float, ...]
    thickness_um: tuple[float, ...]

    @property
    def duration_s(self) -> float:
        """How long it takes, s."""
        return self.times_s[-1]

    @property
    def charge_ah(self) -> float:
        """The charge that it takes, A·h."""
        return sum(stage.charge_ah for stage in self.stages)


class InterlockSeen(Message):
    """An interlock by its name, and whether its loop is open now."""

    name: str
    is_open: bool


class PlanCheck(Message):
    """What the daemon says of a plan.

    Each of `problems` begins with the key of the plan that it is about; with any of them it cannot
    work here. `notes` are what the plan left to the daemon, and what falls due. `not_now` says why
    nothing can be started at this moment, whatever the plan; `interlocks` are all that there are.
    """

    problems: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    course: PlanCourse | None = None
    not_now: tuple[str, ...] = ()
    interlocks: tuple[InterlockSeen, ...] = ()
