"""Titrations: what a bath holds by how much titrant a sample of it takes, and how sure that is.

c = g_ml · (volume - blank) / sample: g of the component that 1 mL of titrant stands for, times the
mL that were needed, over the L of bath that the sample holds. Volumes are mL, concentrations g/L,
limits the greatest error either way. How sure it is follows JCGM 100:2008: what differs from one
titration to the next (4.2) is divided by √n; burette, pipettes and titrant err alike in all of
them, and are added once (4.3.7, 5.1.2).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import mean, stdev

from daemon.chemistry.checks import require_finite, require_not_negative, require_positive
from daemon.chemistry.student import outlier
from daemon.chemistry.substances import CHLORINE_G_MOL, COPPER_G_MOL, SULFURIC_ACID_G_MOL
from daemon.chemistry.uncertainty import Budget, Shape, Share, rectangular

BURETTE_LIMIT_ML = 0.05
"""A burette of 50 mL, class A (ISO 385, from memory, not checked), between any two of its marks."""

PIPETTE_LIMIT = 0.01
"""Of the volume: pipettes of 1 to 5 mL, class B (ISO 648, from memory, not checked); a common
plastic syringe is worse."""

FLASK_LIMIT = 0.004
"""Of the volume: flasks of 50 mL and more, class B (ISO 1042, from memory, not checked)."""

TITRANT_LIMIT = 0.005
"""Of its concentration: a bought solution in date, or one that was standardized (common practice).
"""

END_POINT_LIMIT_ML = 0.05
"""One drop: as closely as an end point is met by eye (common practice)."""

FACTOR_RANGE = (0.8, 1.25)
"""A titrant further from its nominal concentration is another solution."""

LEAST_FOR_SCATTER = 3
"""Titrations that tell by themselves how they scatter. Of two Student's factor is 12.7."""

CONCORDANT_DROPS = 2.0
"""Two titrations that agree lie within so many drops, 0.1 mL (common practice)."""


_ROUNDED_ML = 1e-9  # what a difference of two readings leaves over


@dataclass(frozen=True, slots=True)
class Reaction:
    """What a titrant finds: g of the component for each mol of titrant."""

    component: str
    titrant: str
    g_mol: float


EDTA = Reaction("copper", "EDTA", COPPER_G_MOL)
"""One copper ion for each EDTA: a 1:1 complex."""

THIOSULFATE = Reaction("copper", "sodium thiosulfate", COPPER_G_MOL)
"""2 Cu²⁺ + 4 I⁻ → 2 CuI + I₂, I₂ + 2 S₂O₃²⁻: one copper ion for each thiosulfate."""

HYDROXIDE = Reaction("sulfuric acid", "sodium hydroxide", SULFURIC_ACID_G_MOL / 2)
"""H2SO4 + 2 NaOH: free acid, to about pH 4, before copper hydroxide falls out (common practice)."""

SILVER_NITRATE = Reaction("chloride", "silver nitrate", CHLORINE_G_MOL)
"""Ag⁺ + Cl⁻ → AgCl."""


@dataclass(frozen=True, slots=True)
class Titrant:
    """g of the component that each mL stands for, within ± `limit`, a share of it."""

    g_ml: float
    limit: float = TITRANT_LIMIT

    def __post_init__(self) -> None:
        require_positive("what each mL of titrant stands for", self.g_ml, "g/mL")
        if not 0 <= self.limit < 1:
            raise ValueError(f"limit of the titrant must be from 0 to below 1, got {self.limit:g}")


def titrant_of(
    reaction: Reaction, mol_l: float, factor: float = 1.0, limit: float = TITRANT_LIMIT
) -> Titrant:
    """The titrant of a reaction: nominal mol/L, and the factor by which it is really stronger.

    Raises ValueError for a concentration that is not above 0 or a factor outside FACTOR_RANGE.
    """
    require_positive("concentration of the titrant", mol_l, "mol/L")
    least, greatest = FACTOR_RANGE
    if not least <= factor <= greatest:
        raise ValueError(f"factor must be from {least:g} to {greatest:g}, got {factor:g}")
    return Titrant(reaction.g_mol * mol_l * factor / 1000, limit)


@dataclass(frozen=True, slots=True)
class Measured:
    """A volume that was measured once, mL, within ± `limit_ml`."""

    volume_ml: float
    limit_ml: float

    @property
    def relative(self) -> float:
        """Standard uncertainty as a share of the volume."""
        return rectangular(self.limit_ml) / self.volume_ml


@dataclass(frozen=True, slots=True)
class Sample:
    """What is titrated: bath as it was taken, or an aliquot of what it was diluted to.

    Raises ValueError for a volume that is not above 0, a limit below 0 or of the whole volume, a
    flask smaller than the sample, an aliquot greater than its flask, or one without the other.
    """

    taken: Measured
    flask: Measured | None = None
    aliquot: Measured | None = None

    def __post_init__(self) -> None:
        for name, measured in self.measured():
            require_positive(f"volume of the {name}", measured.volume_ml, "mL")
            require_not_negative(f"limit of the {name}", measured.limit_ml, "mL")
            if measured.limit_ml >= measured.volume_ml:
                raise ValueError(
                    f"limit of the {name} must be less than its volume of "
                    f"{measured.volume_ml:g} mL, got {measured.limit_ml:g} mL"
                )
        if (self.flask is None) != (self.aliquot is None):
            raise ValueError("a dilution needs both: what it is made up to, and the aliquot of it")
        if self.flask is None or self.aliquot is None:
            return
        if self.flask.volume_ml < self.taken.volume_ml:
            raise ValueError(
                f"the sample of {self.taken.volume_ml:g} mL does not go into a flask of "
                f"{self.flask.volume_ml:g} mL"
            )
        if self.aliquot.volume_ml > self.flask.volume_ml:
            raise ValueError(
                f"the aliquot of {self.aliquot.volume_ml:g} mL is more than the flask of "
                f"{self.flask.volume_ml:g} mL holds"
            )

    def measured(self) -> tuple[tuple[str, Measured], ...]:
        """The volumes that were measured, by what each is."""
        named = (("sample", self.taken), ("flask", self.flask), ("aliquot", self.aliquot))
        return tuple((name, volume) for name, volume in named if volume is not None)

    @property
    def bath_ml(self) -> float:
        """How much of the bath is in what is titrated, mL."""
        if self.flask is None or self.aliquot is None:
            return self.taken.volume_ml
        return self.taken.volume_ml * self.aliquot.volume_ml / self.flask.volume_ml


@dataclass(frozen=True, slots=True)
class Burette:
    """How well volumes are read: limit_ml of its scale, step_ml of the readings' last digit.

    end_point_ml: how far beyond or short of the end point a titration may stop.
    """

    limit_ml: float = BURETTE_LIMIT_ML
    step_ml: float = 0.01
    end_point_ml: float = END_POINT_LIMIT_ML

    def __post_init__(self) -> None:
        require_not_negative("limit of the burette", self.limit_ml, "mL")
        require_not_negative("step of the readings", self.step_ml, "mL")
        require_not_negative("limit of the end point", self.end_point_ml, "mL")


@dataclass(frozen=True, slots=True)
class Analysis:
    """What the titrations found, g/L: the mean with its doubt, and each by itself.

    scatter_g_l: the standard deviation of one titration; None where there is only one. odd: the
    index of one that does not belong to the others, which is in the mean nevertheless. apart: two
    titrations that are further apart than they should be.
    """

    concentration: Budget
    each_g_l: tuple[float, ...]
    scatter_g_l: float | None
    odd: int | None
    apart: bool


def delivered(start_ml: float, end_ml: float) -> float:
    """What left the burette between two of its readings, mL; ValueError if it ran backwards."""
    require_not_negative("start of the burette", start_ml, "mL")
    require_finite("end of the burette", end_ml, "mL")
    if end_ml <= start_ml:
        raise ValueError(
            f"the end of a reading has to lie beyond its start, got {start_ml:g} to {end_ml:g} mL"
        )
    return end_ml - start_ml


def analysed(
    volumes_ml: Sequence[float],
    titrant: Titrant,
    sample: Sample,
    burette: Burette | None = None,
    blanks_ml: Sequence[float] = (),
) -> Analysis:
    """The concentration from one titration or more, less the mean of the blanks.

    Raises ValueError for none, and for a volume that is not above the blank.
    """
    burette = burette or Burette()
    if not volumes_ml:
        raise ValueError("at least one titration is wanted, got none")
    for blank_ml in blanks_ml:
        require_not_negative("blank", blank_ml, "mL")
    blank_ml = mean(blanks_ml) if blanks_ml else 0.0
    for volume_ml in volumes_ml:
        require_positive("volume of titrant", volume_ml, "mL")
        if volume_ml <= blank_ml:
            raise ValueError(
                f"a titration has to take more than the blank of {blank_ml:g} mL, "
                f"got {volume_ml:g} mL"
            )
    per_ml = 1000 * titrant.g_ml / sample.bath_ml
    value = per_ml * (mean(volumes_ml) - blank_ml)
    shares = [
        _scatter("scatter", "end point", volumes_ml, burette, per_ml),
        Share("burette", per_ml * rectangular(burette.limit_ml), Shape.FLAT),
        Share("titrant", value * rectangular(titrant.limit), Shape.FLAT),
    ]
    if blanks_ml:
        shares.append(_scatter("blank", "blank", blanks_ml, burette, per_ml))
    shares += [
        Share(name, value * volume.relative, Shape.FLAT) for name, volume in sample.measured()
    ]
    return Analysis(
        Budget(value, tuple(shares)),
        tuple(per_ml * (volume_ml - blank_ml) for volume_ml in volumes_ml),
        per_ml * stdev(volumes_ml) if len(volumes_ml) > 1 else None,
        outlier(volumes_ml, burette.end_point_ml),
        _apart(volumes_ml, burette),
    )


def _scatter(
    several: str, few: str, volumes_ml: Sequence[float], burette: Burette, per_ml: float
) -> Share:
    """The doubt of a mean of titrations for what differs from one to the next.

    One, or two that agree, hardly tell how they scatter: they are as far off as an end point may
    be, which is known beforehand. Three or more are as unsure as their own scatter. None are surer
    than they can be read, within half a step at start and end.
    """
    number = len(volumes_ml)
    rounding_ml = math.sqrt(2) * rectangular(burette.step_ml / 2)
    known_ml = max(rectangular(burette.end_point_ml), rounding_ml)
    if number == 1:
        return Share(few, per_ml * known_ml, Shape.FLAT)
    root = math.sqrt(number)
    if number < LEAST_FOR_SCATTER and not _apart(volumes_ml, burette):
        return Share(few, per_ml * known_ml / root)
    u_ml = max(stdev(volumes_ml), rounding_ml) / root
    return Share(several, per_ml * u_ml, Shape.NORMAL, number - 1)


def _apart(volumes_ml: Sequence[float], burette: Burette) -> bool:
    """Whether two titrations are too far apart to say which is right."""
    if len(volumes_ml) != 2:
        return False
    most_ml = CONCORDANT_DROPS * burette.end_point_ml + _ROUNDED_ML
    return max(volumes_ml) - min(volumes_ml) > most_ml
