"""A weighing as people write it: a mass before, one after, and what they make of it.

Keys are those of the command's options. What comes out is an efficiency and what it does to the one
that is learned, or, where the efficiency is trusted, an area.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, InstanceOf
from sqlalchemy import Connection

from daemon.api.errors import InputError
from daemon.api.explain import read_tree
from daemon.api.plans.file import read_plan
from daemon.api.plans.known import known_of
from daemon.api.quantities import Fraction, MassG
from daemon.bath import kinds, run_charge, weighing, weighings
from daemon.bath.errors import WeighingError
from daemon.bath.run_charge import PartCharge
from daemon.bath.weighing import Efficiency
from daemon.bath.weighings import KeptWeighing
from daemon.chemistry.metals import Metal
from daemon.chemistry.uncertainty import Budget
from daemon.units import parse

WHERE = "weighing"
"""What errors call the form."""

Doubtful = Literal["include", "leave-out"]

_WRITTEN = re.compile(r"\s*([0-9]+\.?[0-9]*|\.[0-9]+)\s*(\S.*)")


@dataclass(frozen=True, slots=True)
class Reading:
    """What a balance showed, g, and the step of the last digit that was written, g."""

    mass_g: float
    step_g: float


def _reading(value: object) -> Reading:
    mass_g = parse(value, "g")
    written = _WRITTEN.fullmatch(value) if isinstance(value, str) else None
    if written is None or not mass_g > 0:
        raise ValueError(f"must be above 0 g, got {value}")
    step = Decimal(1).scaleb(int(Decimal(written[1]).as_tuple().exponent))
    return Reading(mass_g, parse(f"{step:f} {written[2]}", "g"))


class WeighingForm(BaseModel):
    """The masses of a part, and of all that was plated with it, before and after."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    before: Annotated[InstanceOf[Reading], BeforeValidator(_reading)] = Field(
        description="mass before the run", examples=['"24.31 g"']
    )
    after: Annotated[InstanceOf[Reading], BeforeValidator(_reading)] = Field(
        description="mass after it, rinsed and dry", examples=['"31.02 g"']
    )
    balance: MassG | None = None
    trust: Fraction | None = None
    doubtful: Doubtful | None = None

    @property
    def limit_g(self) -> float:
        """How far each weighing may be off; a digit where it was not said."""
        return self.balance or max(self.before.step_g, self.after.step_g)


@dataclass(frozen=True, slots=True)
class Weighed:
    """A form that was worked out: the part's runs and charge, its metal, the gain, what it means.

    earlier: what had been averaged in of this bath and metal. beyond: more was gained than Faraday
    allows, beyond doubt. odd: it does not belong to the earlier ones.
    """

    form: WeighingForm
    part: PartCharge
    metal: Metal
    gain: Budget
    found: Efficiency
    earlier: tuple[Efficiency, ...]
    beyond: bool
    odd: bool

    @property
    def counts(self) -> bool:
        """Whether it is averaged in."""
        trusted = self.form.trust is not None
        return not (trusted or self.beyond or self.form.doubtful == "leave-out")

    @property
    def together(self) -> Sequence[Efficiency]:
        """What is averaged in, with this one if it is."""
        return (*self.earlier, self.found) if self.counts else self.earlier

    @property
    def area(self) -> Budget | None:
        """The area of what was weighed, dm², where the efficiency is trusted."""
        trusted = self.form.trust
        if trusted is None:
            return None
        return weighing.area(self.found, trusted, self.part.last.area_dm2)


def read_weighing(tree: object) -> WeighingForm:
    """Read a form's texts. Raises InputError with every problem."""
    return read_tree(tree, WHERE, WeighingForm)


def part_of(connection: Connection, run_id: int, bath: str) -> PartCharge:
    """The charge of a run's part, by the record.

    Raises NoSuchRunError; and InputError for a run of another bath or of which nothing can be
    said.
    """
    try:
        part = run_charge.of_part(connection, run_id)
    except WeighingError as error:
        raise InputError(WHERE, (str(error),)) from error
    if part.last.bath != bath:
        raise InputError(
            f"run {run_id}", (f"was plated in {part.last.bath!r}, this would be of {bath!r}",)
        )
    return part


def weighed(form: WeighingForm, part: PartCharge, before: Sequence[KeptWeighing]) -> Weighed:
    """Work the form out; `before` are the weighings that the bath's account has.

    Raises InputError: masses that say nothing, or a run that was weighed already.
    """
    run = part.last
    again = [each for each in before if each.run_id == run.id]
    if again:
        number = again[0].number
        raise InputError(
            f"run {run.id}",
            (f"was weighed already, entry {number}: `tankhand bath withdraw {number}` first",),
        )
    metal = read_plan(run.plan, f"the plan of run {run.id}", known_of(run)).metal
    earlier = weighings.counting(before, metal.name)
    try:
        gain = weighing.gained(form.before.mass_g, form.after.mass_g, form.limit_g)
        found = weighing.efficiency(gain, part.charge, metal)
    except WeighingError as error:
        raise InputError(WHERE, (str(error),)) from error
    return Weighed(
        form,
        part,
        metal,
        gain,
        found,
        tuple(earlier),
        weighing.beyond_faraday(found),
        weighing.does_not_belong(found, earlier),
    )


def entry_facts(done: Weighed) -> dict[str, Any]:
    """What the bath's account keeps of it."""
    return {
        "what": kinds.PART,
        "before_g": done.form.before.mass_g,
        "after_g": done.form.after.mass_g,
        "u_g": done.gain.u,
        "details": weighings.details_of(
            done.metal.name, done.found, done.part.charge.value, counts=done.counts
        ),
    }
