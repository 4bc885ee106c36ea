"""Bringing a bath that is there to another composition or volume.

What is missing is added. What there is too much of can only be thinned: by taking bath out and
filling up, or by filling up to a greater volume. Everything at 20 °C, as in `make_up`.
"""

from dataclasses import dataclass, replace

from daemon.chemistry.checks import require_positive
from daemon.chemistry.make_up import Amounts, Composition, Content, Named, Sources, amounts, content
from daemon.chemistry.numerics import reached

SLACK = 0.02
"""A component up to this share above its target is left as it is: analyses by hand are hardly surer
than that (common practice)."""

_GREATEST_FACTOR = 1000.0
_LAST_BIT = 1e-9
_NO_WATER_G = 1e-3


@dataclass(frozen=True, slots=True)
class TopUp:
    """What brings the bath to its target: bath to take out first, L, then what to add.

    thinned: the components of which there is too much, which is why bath is taken out; empty with
    something to take out: there is no room otherwise. without_taking_out_l: the volume, L, up to
    which the bath would have to be filled instead; None where nothing is taken out, or where that
    does not help. unknown: components of the target of which it is not known how much there is.
    """

    taken_out_l: float
    added: Amounts
    thinned: tuple[str, ...] = ()
    without_taking_out_l: float | None = None
    unknown: tuple[str, ...] = ()


def top_up(
    present: Composition,
    present_l: float,
    target: Composition,
    target_l: float,
    sources: Sources,
) -> TopUp:
    """What brings `present_l` of the present bath to `target_l` of the target.

    A component of the target that the present bath has as None is not known: it counts as on
    target, so that only new bath gets it. What the target has as None is left alone. Additives are
    not known by analysis: those of the bath taken out are put back. Raises ValueError for volumes
    that are not above 0, for copper or acid without a target, and where even a fresh bath cannot be
    made from these sources.
    """
    require_positive("present volume", present_l, "L")
    require_positive("volume", target_l, "L")
    case = _Case(_comparable(present, target), target, present_l, sources)
    needed_l, thinned = case.to_take_out_l(target_l)
    out_l = _with_room(case, needed_l, target_l)
    added = case.added(out_l, target_l)
    put_back = tuple((name, ml_l * out_l) for name, ml_l in target.additives_ml_l if out_l)
    return TopUp(
        taken_out_l=out_l,
        added=replace(added, water_g=_or_none_of_it(added.water_g), additives_ml=put_back),
        thinned=thinned,
        without_taking_out_l=_greater_volume_l(case, target_l) if out_l else None,
        unknown=_unknown(present, target),
    )


def _or_none_of_it(water_g: float | None) -> float | None:
    return 0.0 if water_g is not None and abs(water_g) < _NO_WATER_G else water_g


def _components(composition: Composition) -> dict[str, float | None]:
    return {
        "copper": composition.copper_g_l,
        "sulfuric acid": composition.acid_g_l,
        "chloride": composition.chloride_mg_l,
        **dict(composition.others_g_l),
    }


def _unknown(present: Composition, target: Composition) -> tuple[str, ...]:
    known = _components(present)
    return tuple(
        name
        for name, wanted in _components(target).items()
        if wanted is not None and known.get(name) is None
    )


def _comparable(present: Composition, target: Composition) -> Composition:
    """The present bath with the target's components: what is not known counts as on target."""
    known = dict(present.others_g_l)
    wanted = _components(target)
    for name, there in (("copper", present.copper_g_l), ("sulfuric acid", present.acid_g_l)):
        if there and wanted[name] is None:
            raise ValueError(f"the bath has {there:.4g} g/L of {name}, and its target is not told")

    def or_target(value: float | None, wanted: float | None) -> float | None:
        return wanted if value is None else value

    return Composition(
        or_target(present.copper_g_l, target.copper_g_l),
        or_target(present.acid_g_l, target.acid_g_l),
        or_target(present.chloride_mg_l, target.chloride_mg_l),
        target.additives_ml_l,
        tuple((name, known.get(name, g_l)) for name, g_l in target.others_g_l),
    )


@dataclass(frozen=True, slots=True)
class _Case:
    present: Composition
    target: Composition
    present_l: float
    sources: Sources

    def to_take_out_l(self, target_l: float) -> tuple[float, tuple[str, ...]]:
        """How much bath is too much, L, and the components of which there is too much."""
        out_l = max(0.0, self.present_l - target_l)
        thinned = {}
        wanted = _components(self.target)
        for name, there in _components(self.present).items():
            most = wanted[name]
            if most is None or not there:
                continue
            if there * (self.present_l - out_l) > most * target_l * (1 + SLACK):
                thinned[name] = self.present_l - most * target_l / there
        return max(out_l, *thinned.values(), 0.0), tuple(thinned)

    def added(self, out_l: float, target_l: float) -> Amounts:
        """What to add to what is left; its water may be negative."""
        left = content(self.present, self.present_l - out_l)
        return amounts(_missing(left, content(self.target, target_l)), self.sources)

    def room_g(self, out_l: float, target_l: float) -> float:
        """The water to add, g, which must not be negative; 0 where it is not known."""
        return self.added(out_l, target_l).water_g or 0.0


def _lacking(wanted_g: float, there_g: float) -> float:
    """What is missing, g; not what a float leaves over."""
    missing_g = wanted_g - there_g
    return missing_g if missing_g > _LAST_BIT * wanted_g else 0.0


def _missing(left: Content, wanted: Content) -> Content:
    water_g = None
    if wanted.water_g is not None and left.water_g is not None:
        water_g = wanted.water_g - left.water_g
    there = dict(left.others_g)
    others: Named = tuple((name, _lacking(g, there[name])) for name, g in wanted.others_g)
    return Content(
        copper_g=_lacking(wanted.copper_g, left.copper_g),
        acid_g=_lacking(wanted.acid_g, left.acid_g),
        chloride_g=_lacking(wanted.chloride_g, left.chloride_g),
        water_g=water_g,
        others_g=others,
    )


_LEAST_WATER_G = -1e-6  # what a float leaves over, as `_LAST_BIT`


def _with_room(case: _Case, out_l: float, target_l: float) -> float:
    """As much bath to take out that what is added finds room, L."""
    if case.room_g(out_l, target_l) >= _LEAST_WATER_G:
        return out_l
    if case.room_g(case.present_l, target_l) < 0:
        raise ValueError(
            "cannot be made from these: crystals and acid bring more water than the bath holds;"
            " stronger acid is wanted"
        )
    return reached(lambda out: case.room_g(out, target_l), 0.0, out_l, case.present_l)


def _greater_volume_l(case: _Case, target_l: float) -> float | None:
    """Up to which volume to fill so that nothing has to be taken out, L; None if none helps."""
    wanted = _components(case.target)
    least_l = max(target_l, case.present_l)
    for name, there in _components(case.present).items():
        most = wanted[name]
        if most is None or not there:
            continue
        if not most:
            return None
        least_l = max(least_l, case.present_l * there / most)
    if case.room_g(0.0, least_l) >= _LEAST_WATER_G:
        return least_l
    greatest_l = _GREATEST_FACTOR * least_l
    if case.room_g(0.0, greatest_l) < 0:
        return None
    return reached(lambda volume_l: case.room_g(0.0, volume_l), 0.0, least_l, greatest_l)
