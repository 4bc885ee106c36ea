"""A titration as people write it: a titrant, a sample, and what the burette showed.

The command line and the page fill in the same form; `titrated` works it out,
`daemon.api.analyses.analysis` puts it into words. Keys are those of the command's options.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, InstanceOf

from daemon.api.errors import InputError
from daemon.api.explain import read_tree
from daemon.api.quantities import VolumeMl
from daemon.chemistry import titration
from daemon.chemistry.titration import (
    Analysis,
    Burette,
    Measured,
    Reaction,
    Sample,
    Titrant,
    analysed,
    delivered,
    titrant_of,
)
from daemon.units import UnitError, parse

WHERE = "analysis"
"""What errors call the form."""

Component = Literal["copper", "sulfuric acid", "chloride"]
TitrantName = Literal["EDTA", "thiosulfate", "hydroxide", "silver nitrate", "other"]

REACTIONS: dict[TitrantName, Reaction] = {
    "EDTA": titration.EDTA,
    "thiosulfate": titration.THIOSULFATE,
    "hydroxide": titration.HYDROXIDE,
    "silver nitrate": titration.SILVER_NITRATE,
}
"""What each titrant finds; "other" finds what it is said to."""

_ONE_EQUIVALENT = {"thiosulfate", "hydroxide", "silver nitrate"}
"""Titrants of which 1 N is 1 mol/L, whoever wrote it. Of EDTA it may be a half."""

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_WITH_UNIT = rf"({_NUMBER})\s*([^\W\d_]*)\s*"
_READING = re.compile(rf"\s*{_WITH_UNIT}(?:[-–]\s*{_WITH_UNIT})?")
_NORMAL = re.compile(r"(?<=[0-9\s])N\s*$")


@dataclass(frozen=True, slots=True)
class Reading:
    """What left the burette, mL, and the step of the last digit that was written, mL."""

    volume_ml: float
    step_ml: float


@dataclass(frozen=True, slots=True)
class Limit:
    """How far a volume may be off: so many mL, or a share of it."""

    ml: float = 0.0
    share: float = 0.0

    def of_ml(self, volume_ml: float) -> float:
        """The limit of this volume, mL."""
        return self.ml + self.share * volume_ml


def _reading(value: object) -> Reading:
    """A volume such as "7.62", or where the burette stood, such as "0.13-7.75".

    A bare number is mL. The finer of both numbers tells the step: a start at "0" is one at 0.00.
    """
    found = _READING.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        comma = ": a decimal comma where a point belongs" if "," in str(value) else ""
        raise ValueError(
            f'expected a volume such as "7.62", or start and end such as "0.13-7.75" (mL), '
            f"got {value!r}{comma}"
        )
    first, unit_1, second, unit_2 = found.groups()
    unit = unit_2 or unit_1 or "mL"
    numbers = [(first, unit_1 or unit)] + ([(second, unit)] if second else [])
    volumes_ml = [parse(f"{number} {its_unit}", "mL") for number, its_unit in numbers]
    steps_ml = [parse(f"{_step(number):f} {its_unit}", "mL") for number, its_unit in numbers]
    if second is None:
        return Reading(volumes_ml[0], steps_ml[0])
    return Reading(delivered(*volumes_ml), min(steps_ml))


def _step(number: str) -> Decimal:
    return Decimal(1).scaleb(int(Decimal(number).as_tuple().exponent))


def _limit(value: object) -> Limit:
    """A limit such as "0.02 mL" or "0.5 %"."""
    share = isinstance(value, str) and "%" in value
    number = parse(value, "" if share else "mL")
    if number < 0 or (share and number >= 1):
        raise ValueError(f"must be at least 0 and less than all of it, got {value}")
    return Limit(share=number) if share else Limit(ml=number)


def below_1(value: object) -> float:
    """A share such as "0.5 %" that is less than the whole."""
    number = parse(value, "")
    if not 0 <= number < 1:
        raise ValueError(f"must be at least 0 and below 100 %, got {value}")
    return number


def _factor(value: object) -> float:
    return parse(value, "")


ReadVolume = Annotated[InstanceOf[Reading], BeforeValidator(_reading)]
VolumeLimit = Annotated[InstanceOf[Limit], BeforeValidator(_limit)]


class TitrationForm(BaseModel):
    """What was titrated with what, and what the burette showed."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, alias_generator=lambda name: name.replace("_", "-")
    )

    component: Component
    titrant: TitrantName
    strength: str = Field(
        description="concentration of the titrant, or what each mL of it stands for",
        examples=['"0.1 mol/L"'],
    )
    factor: Annotated[float, BeforeValidator(_factor)] = 1.0
    sample: VolumeMl = Field(description="volume of bath that was taken", examples=['"5 mL"'])
    diluted_to: VolumeMl | None = None
    aliquot: VolumeMl | None = None
    readings: tuple[ReadVolume, ...] = Field(
        min_length=1,
        max_length=30,
        description="what each titration took",
        examples=['"7.62" or "0.13-7.75"'],
    )
    blank: tuple[ReadVolume, ...] = Field((), max_length=30)
    burette_limit: VolumeLimit | None = None
    sample_limit: VolumeLimit | None = None
    flask_limit: VolumeLimit | None = None
    aliquot_limit: VolumeLimit | None = None
    titrant_limit: Annotated[float, BeforeValidator(below_1)] | None = None
    end_point: VolumeLimit | None = None


@dataclass(frozen=True, slots=True)
class Titrated:
    """A form that was worked out; `taken` are the limits that it left to common practice."""

    form: TitrationForm
    analysis: Analysis
    sample: Sample
    taken: tuple[str, ...]


def read_titration(tree: object) -> TitrationForm:
    """Read a form's texts. Raises InputError with every problem."""
    return read_tree(tree, WHERE, TitrationForm)


def titrated(form: TitrationForm) -> Titrated:
    """Work the form out. Raises InputError for what cannot be."""
    reaction = REACTIONS.get(form.titrant)
    if reaction is not None and reaction.component != form.component:
        raise InputError(
            WHERE, (f"{form.titrant} finds {reaction.component}, and not {form.component}",)
        )
    try:
        sample = _sample(form)
        found = analysed(
            [each.volume_ml for each in form.readings],
            _titrant(form, reaction),
            sample,
            _burette(form),
            [each.volume_ml for each in form.blank],
        )
    except ValueError as error:
        raise InputError(WHERE, (str(error),)) from error
    return Titrated(form, found, sample, tuple(_taken(form)))


def _titrant(form: TitrationForm, reaction: Reaction | None) -> Titrant:
    limit = titration.TITRANT_LIMIT if form.titrant_limit is None else form.titrant_limit
    if reaction is None:
        return Titrant(_parsed(form.strength, "g/mL") * form.factor, limit)
    text = form.strength
    if _NORMAL.search(text):
        if form.titrant not in _ONE_EQUIVALENT:
            raise ValueError(f"strength: {form.titrant} is to be given in mol/L, got {text!r}")
        text = _NORMAL.sub("mol/L", text)
    return titrant_of(reaction, _parsed(text, "mol/L"), form.factor, limit)


def _parsed(text: str, unit: str) -> float:
    try:
        return parse(text, unit)
    except UnitError as error:
        raise ValueError(f"strength: {error}") from error


def _sample(form: TitrationForm) -> Sample:
    return Sample(
        _measured(form.sample, form.sample_limit, titration.PIPETTE_LIMIT),
        None
        if form.diluted_to is None
        else _measured(form.diluted_to, form.flask_limit, titration.FLASK_LIMIT),
        None
        if form.aliquot is None
        else _measured(form.aliquot, form.aliquot_limit, titration.PIPETTE_LIMIT),
    )


def _measured(volume_ml: float, limit: Limit | None, usual: float) -> Measured:
    return Measured(volume_ml, (limit or Limit(share=usual)).of_ml(volume_ml))


def _burette(form: TitrationForm) -> Burette:
    greatest_ml = max(each.volume_ml for each in form.readings)

    def limit_ml(given: Limit | None, usual_ml: float) -> float:
        return usual_ml if given is None else given.of_ml(greatest_ml)

    return Burette(
        limit_ml(form.burette_limit, titration.BURETTE_LIMIT_ML),
        min(each.step_ml for each in form.readings),
        limit_ml(form.end_point, titration.END_POINT_LIMIT_ML),
    )


def _taken(form: TitrationForm) -> list[str]:
    """The limits that nobody gave."""
    few = any(
        0 < len(volumes) < titration.LEAST_FOR_SCATTER for volumes in (form.readings, form.blank)
    )
    usual = [
        (form.burette_limit, f"burette ± {titration.BURETTE_LIMIT_ML:g} mL", True),
        (form.sample_limit, f"sample ± {100 * titration.PIPETTE_LIMIT:g} %", True),
        (form.flask_limit, f"flask ± {100 * titration.FLASK_LIMIT:g} %", bool(form.diluted_to)),
        (form.aliquot_limit, f"aliquot ± {100 * titration.PIPETTE_LIMIT:g} %", bool(form.aliquot)),
        (form.titrant_limit, f"titrant ± {100 * titration.TITRANT_LIMIT:g} %", True),
        (form.end_point, f"end point ± {titration.END_POINT_LIMIT_ML:g} mL", few),
    ]
    return [said for given, said, used in usual if used and given is None]
