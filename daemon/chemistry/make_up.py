"""What to weigh and pour for a bath, and what is in a bath that was weighed and poured.

Both ways go over `Content`: grams of copper, acid and chloride, and the water between them. The
water of an acid copper bath follows from its density (`solution_density`), not from subtracting
volumes: salt and acid take less room in solution than beside it. Everything is at 20 °C. Additives
add their own volume, since nothing better is known of them; further components take no room here,
so with much of them the water is not told.
"""

from dataclasses import dataclass, replace

from daemon.chemistry.acid_density import HYDROCHLORIC, SULFURIC, Strength
from daemon.chemistry.checks import require_not_negative, require_positive
from daemon.chemistry.solution_density import solution_g_cm3, water_g_l
from daemon.chemistry.substances import (
    ANHYDROUS_BY_COPPER,
    CHLORIDE_IN_HYDROGEN_CHLORIDE,
    CHLORIDE_IN_SODIUM_CHLORIDE,
    PENTAHYDRATE,
    CopperSulfate,
)

MOST_OTHERS_G_L = 10.0
"""Of further components; with more, the bath's density and so its water is not known to 1 %."""

Named = tuple[tuple[str, float], ...]
"""Names with their amounts, in the order in which they were given."""


@dataclass(frozen=True, slots=True)
class Composition:
    """What a litre of bath holds; None: it is none of it, or it is not known.

    Copper as the metal, acid as H2SO4, both g/L, and chloride as Cl, mg/L; additives mL/L, anything
    else g/L. Raises ValueError for a negative value.
    """

    copper_g_l: float | None = None
    acid_g_l: float | None = None
    chloride_mg_l: float | None = None
    additives_ml_l: Named = ()
    others_g_l: Named = ()

    def __post_init__(self) -> None:
        require_not_negative("copper", self.copper_g_l or 0.0, "g/L")
        require_not_negative("sulfuric acid", self.acid_g_l or 0.0, "g/L")
        require_not_negative("chloride", self.chloride_mg_l or 0.0, "mg/L")
        for name, ml_l in self.additives_ml_l:
            require_not_negative(name, ml_l, "mL/L")
        for name, g_l in self.others_g_l:
            require_not_negative(name, g_l, "g/L")

    @property
    def copper_sulfate_g_l(self) -> float | None:
        """The copper as pentahydrate, g/L, as the trade states it."""
        return None if self.copper_g_l is None else self.copper_g_l / PENTAHYDRATE.copper_share

    @property
    def dry_copper_sulfate_g_l(self) -> float:
        """The copper as CuSO4 without water, g/L; 0 where there is none."""
        return (self.copper_g_l or 0.0) * ANHYDROUS_BY_COPPER

    @property
    def water_g_l(self) -> float | None:
        """Water in a litre, g/L; None where the density is not known for want of data.

        Raises ValueError where copper and acid are out of the range of the density.
        """
        if sum(g_l for _, g_l in self.others_g_l) > MOST_OTHERS_G_L:
            return None
        rest = 1.0 - sum(ml_l for _, ml_l in self.additives_ml_l) / 1000.0
        if not rest > 0:
            raise ValueError("additives alone must be less than 1000 mL in a litre of bath")
        dry_g_l, acid_g_l = self.dry_copper_sulfate_g_l, self.acid_g_l or 0.0
        return rest * water_g_l(dry_g_l / rest, acid_g_l / rest)


def copper_g_l_of(copper_sulfate_g_l: float) -> float:
    """Copper in a bath of so much pentahydrate, both g/L."""
    return copper_sulfate_g_l * PENTAHYDRATE.copper_share


@dataclass(frozen=True, slots=True)
class Sources:
    """What a bath is made from: the crystals, the acid, what brings the chloride.

    Purities are shares of mass above 0 up to 1. Without `hydrochloric` chloride comes as sodium
    chloride. `purities` are those of further components; left out, 1.
    """

    hydrate: CopperSulfate = PENTAHYDRATE
    purity: float = 1.0
    acid: Strength | None = None
    hydrochloric: Strength | None = None
    salt_purity: float = 1.0
    purities: Named = ()

    def __post_init__(self) -> None:
        named = (("copper sulfate", self.purity), ("sodium chloride", self.salt_purity))
        for name, purity in (*named, *self.purities):
            if not 0 < purity <= 1:
                raise ValueError(f"purity of {name} must be above 0 and at most 1, got {purity:g}")
        for strength, acid in ((self.acid, SULFURIC), (self.hydrochloric, HYDROCHLORIC)):
            if strength is not None and strength.acid is not acid:
                raise ValueError(f"must be {acid.name}, got {strength.acid.name}")


@dataclass(frozen=True, slots=True)
class Content:
    """What a volume of bath holds: copper, H2SO4, Cl and water in g; additives mL, others g.

    `water_g` None: not known, since the density is not.
    """

    copper_g: float = 0.0
    acid_g: float = 0.0
    chloride_g: float = 0.0
    water_g: float | None = 0.0
    additives_ml: Named = ()
    others_g: Named = ()


@dataclass(frozen=True, slots=True)
class Amounts:
    """What is weighed and poured, as it comes from its bag or bottle, g; additives mL.

    `chloride_g` is sodium chloride or hydrochloric acid. `water_g` None: not known; fill up to the
    volume.
    """

    crystals_g: float = 0.0
    acid_g: float = 0.0
    chloride_g: float = 0.0
    water_g: float | None = 0.0
    additives_ml: Named = ()
    others_g: Named = ()


def content(composition: Composition, volume_l: float) -> Content:
    """What so many L of a bath hold, 0 or more; raises ValueError otherwise."""
    require_not_negative("volume", volume_l, "L")
    water = composition.water_g_l
    return Content(
        copper_g=(composition.copper_g_l or 0.0) * volume_l,
        acid_g=(composition.acid_g_l or 0.0) * volume_l,
        chloride_g=(composition.chloride_mg_l or 0.0) / 1000.0 * volume_l,
        water_g=None if water is None else water * volume_l,
        additives_ml=tuple((name, ml * volume_l) for name, ml in composition.additives_ml_l),
        others_g=tuple((name, g * volume_l) for name, g in composition.others_g_l),
    )


def amounts(wanted: Content, sources: Sources) -> Amounts:
    """What brings a content: its water less that which crystals and acids bring.

    The water may come out negative: then they bring too much, which is the caller's to judge.
    Raises ValueError where acid is wanted and none is given.
    """
    if wanted.acid_g and sources.acid is None:
        raise ValueError("sulfuric acid is wanted, and how strong it is has not been told")
    without_water = Amounts(
        crystals_g=wanted.copper_g / sources.hydrate.copper_share / sources.purity,
        acid_g=wanted.acid_g / sources.acid.wt_percent * 100.0 if sources.acid else 0.0,
        chloride_g=wanted.chloride_g / _chloride_share(sources),
        water_g=None,
        additives_ml=wanted.additives_ml,
        others_g=tuple((name, g / _purity(sources, name)) for name, g in wanted.others_g),
    )
    if wanted.water_g is None:
        return without_water
    brought_g = brought_water_g(without_water, sources)
    return replace(without_water, water_g=wanted.water_g - brought_g)


def brought_water_g(weighed: Amounts, sources: Sources) -> float:
    """Water that comes with the crystals and the acids, g."""
    brought = crystal_water_g(weighed, sources)
    for strength, mass_g in (
        (sources.acid, weighed.acid_g),
        (sources.hydrochloric, weighed.chloride_g),
    ):
        if strength is not None:
            brought += mass_g * (1.0 - strength.wt_percent / 100.0)
    return brought


def crystal_water_g(weighed: Amounts, sources: Sources) -> float:
    """Water of crystallisation in the crystals, g."""
    return weighed.crystals_g * sources.purity * (1.0 - sources.hydrate.anhydrous_share)


def _chloride_share(sources: Sources) -> float:
    if sources.hydrochloric is None:
        return CHLORIDE_IN_SODIUM_CHLORIDE * sources.salt_purity
    return CHLORIDE_IN_HYDROGEN_CHLORIDE * sources.hydrochloric.wt_percent / 100.0


def _purity(sources: Sources, name: str) -> float:
    return dict(sources.purities).get(name, 1.0)


def make_up(target: Composition, volume_l: float, sources: Sources) -> Amounts:
    """What to weigh and pour for so many L of a bath.

    Raises ValueError for a volume that is not above 0, a bath whose density is out of range, and
    one that cannot be made from these sources since they bring more water than it holds.
    """
    require_positive("volume", volume_l, "L")
    weighed = amounts(content(target, volume_l), sources)
    if weighed.water_g is not None and weighed.water_g < 0:
        raise ValueError(
            "cannot be made from these: crystals and acid bring"
            f" {-weighed.water_g / volume_l:.0f} g more water than a litre of the bath holds;"
            " stronger acid is wanted"
        )
    return weighed


@dataclass(frozen=True, slots=True)
class Mixed:
    """A bath as it was mixed: its volume in L and composition.

    `by_density_l`: the volume to which what was poured comes by its density; None where that is not
    known.
    """

    volume_l: float
    composition: Composition
    by_density_l: float | None


def mixed(poured: Amounts, sources: Sources, volume_l: float | None = None) -> Mixed:
    """What is in a bath that was weighed and poured like this.

    `volume_l`: the volume to which it was filled up, L; None: that which follows from its density.
    Raises ValueError where neither is known, or what was poured is no bath.
    """
    held = held_by(poured, sources)
    by_density_l = None if volume_l is not None and not held.water_g else _volume_l(held)
    found_l = by_density_l if volume_l is None else volume_l
    if found_l is None:
        raise ValueError("the volume has to be told: the density of this bath is not known")
    require_positive("volume", found_l, "L")
    return Mixed(
        found_l,
        Composition(
            copper_g_l=held.copper_g / found_l or None,
            acid_g_l=held.acid_g / found_l or None,
            chloride_mg_l=1000.0 * held.chloride_g / found_l or None,
            additives_ml_l=tuple((name, ml / found_l) for name, ml in held.additives_ml),
            others_g_l=tuple((name, g / found_l) for name, g in held.others_g),
        ),
        by_density_l,
    )


def held_by(poured: Amounts, sources: Sources) -> Content:
    """What was weighed and poured, as copper, acid, chloride and all water.

    Raises ValueError where acid was poured and its strength is not told.
    """
    if poured.acid_g and sources.acid is None:
        raise ValueError("sulfuric acid was poured, and how strong it is has not been told")
    acid_share = sources.acid.wt_percent / 100.0 if sources.acid else 0.0
    water_g = poured.water_g
    return Content(
        copper_g=poured.crystals_g * sources.purity * sources.hydrate.copper_share,
        acid_g=poured.acid_g * acid_share,
        chloride_g=poured.chloride_g * _chloride_share(sources),
        water_g=None if water_g is None else water_g + brought_water_g(poured, sources),
        additives_ml=poured.additives_ml,
        others_g=tuple((name, g * _purity(sources, name)) for name, g in poured.others_g),
    )


def _volume_l(held: Content) -> float | None:
    """The volume by density; None where it is not known."""
    if held.water_g is None:
        return None
    dry_g = held.copper_g * ANHYDROUS_BY_COPPER
    mass_g = dry_g + held.acid_g + held.water_g
    require_positive("what was poured", mass_g, "g")
    g_cm3 = solution_g_cm3(dry_g / mass_g, held.acid_g / mass_g)
    additives_ml = sum(ml for _, ml in held.additives_ml)
    volume_l = (mass_g / g_cm3 + additives_ml) / 1000.0
    others_g = sum(g for _, g in held.others_g)
    return None if others_g > MOST_OTHERS_G_L * volume_l else volume_l


def scaled(recipe: Amounts, factor: float) -> Amounts:
    """The same bath in another volume: everything times the same factor above 0."""
    require_positive("factor", factor, "")
    return Amounts(
        recipe.crystals_g * factor,
        recipe.acid_g * factor,
        recipe.chloride_g * factor,
        None if recipe.water_g is None else recipe.water_g * factor,
        tuple((name, ml * factor) for name, ml in recipe.additives_ml),
        tuple((name, g * factor) for name, g in recipe.others_g),
    )
