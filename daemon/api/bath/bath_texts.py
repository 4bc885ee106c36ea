"""What people write of a bath's additions and losses, read for an entry of its account.

Texts have units, as on the command line and in forms; out come the amounts and facts that
`daemon.bath.kinds` describes. Each function raises InputError, which names the part that is wrong.
"""

from dataclasses import dataclass, field
from datetime import datetime, time, timedelta, tzinfo

from daemon.api.errors import InputError
from daemon.api.strength import BATTERY_ACID, read_strength
from daemon.bath.components import CHLORIDE, COPPER, COPPER_SULFATE, SULFURIC_ACID, VOLUME
from daemon.bath.description import Description
from daemon.chemistry.acid_density import HYDROCHLORIC, SULFURIC, Acid
from daemon.chemistry.substances import (
    CHLORIDE_IN_HYDROGEN_CHLORIDE,
    CHLORIDE_IN_SODIUM_CHLORIDE,
    PENTAHYDRATE,
    hydrate_named,
)
from daemon.record.entries import Facts
from daemon.units import UnitError, parse


@dataclass(frozen=True, slots=True)
class Written:
    """What was written, as amounts by substance and facts."""

    amounts: dict[str, float] = field(default_factory=dict)
    facts: Facts = field(default_factory=dict)


def dose(description: Description, additive: str, amount: str | None) -> Written:
    """A dose of an additive, such as "5 mL"; without an amount the one that is described."""
    known = description.additive(additive)
    if known is None:
        names = ", ".join(description.additive_names) or "none is described in the settings"
        raise InputError("additive", (f"{additive!r} is not known; known: {names}",))
    if amount is not None:
        amount_ml = _above_0("amount", amount, "mL")
    elif known.dose_ml is None:
        raise InputError("amount", (f'say how much, such as "5 mL": no dose of {additive} is set',))
    else:
        amount_ml = known.dose_ml
    return Written({additive: amount_ml, VOLUME: amount_ml / 1000})


def addition(
    description: Description, substance: str, amount: str, strength: str | None = None
) -> Written:
    """A substance by its mass, such as "50 g"; an additive, and acid of a strength, by volume.

    Salts and acids are kept as the component that they bring: copper sulfate, which is the
    pentahydrate or has its formula, as copper; sodium chloride and hydrochloric acid as chloride.
    Sulfuric acid without a strength is pure H2SO4.
    """
    if substance == VOLUME:
        raise InputError("substance", ("the bath's volume is none; for water there is `water`",))
    acid = _ACIDS.get(substance.casefold())
    if strength is not None and acid is None:
        raise InputError("strength", (f"is of an acid, got {substance!r}",))
    if substance in description.additive_names:
        amount_ml = _above_0("amount", amount, "mL")
        return Written({substance: amount_ml, VOLUME: amount_ml / 1000})
    if acid is not None and (strength or substance.casefold() != SULFURIC_ACID):
        return _acid(acid, substance, amount, strength)
    mass_g = _above_0("amount", amount, "g")
    component, share, name = _solid(substance)
    if name == component:
        return Written({component: mass_g})
    return Written({component: mass_g * share}, {"as": name, "mass_g": mass_g})


@dataclass(frozen=True, slots=True)
class _AcidBrings:
    """What an acid brings: the component, and g of it with each g of the acid itself."""

    acid: Acid
    component: str
    share: float
    usual: str | None = None


_ACIDS = {
    SULFURIC_ACID: _AcidBrings(SULFURIC, SULFURIC_ACID, 1.0),
    BATTERY_ACID: _AcidBrings(SULFURIC, SULFURIC_ACID, 1.0, BATTERY_ACID),
    "hydrochloric acid": _AcidBrings(HYDROCHLORIC, CHLORIDE, CHLORIDE_IN_HYDROGEN_CHLORIDE),
}


def _acid(brings: _AcidBrings, substance: str, amount: str, strength: str | None) -> Written:
    """An acid as it stands in its bottle, by volume or mass."""
    text = strength or brings.usual
    if text is None:
        raise InputError("strength", (f'say how strong {substance} is, such as "37 %"',))
    try:
        of = read_strength(brings.acid, text)
    except ValueError as error:
        raise InputError("strength", (str(error),)) from error
    try:
        volume_ml = _above_0("amount", amount, "mL")
    except InputError:
        volume_ml = _above_0("amount", amount, "g") / of.density_g_cm3
    pure_g = volume_ml / 1000 * of.g_l
    name = substance if text == brings.usual else f"{substance} of {text}"
    return Written(
        {brings.component: pure_g * brings.share, VOLUME: volume_ml / 1000},
        {"as": name, "volume_ml": volume_ml},
    )


def _solid(substance: str) -> tuple[str, float, str]:
    """The component that a solid brings, g of it in each g, and how the solid is called."""
    if substance == COPPER_SULFATE:
        return COPPER, PENTAHYDRATE.copper_share, PENTAHYDRATE.name
    if substance == "sodium chloride":
        return CHLORIDE, CHLORIDE_IN_SODIUM_CHLORIDE, substance
    if substance.upper().startswith("CUSO"):
        try:
            salt = hydrate_named(substance)
        except ValueError as error:
            raise InputError("substance", (str(error),)) from error
        return COPPER, salt.copper_share, salt.name
    return substance, 1.0, substance


def water(amount: str, level: str | None = None) -> Written:
    """Water that was added, such as "0.5 L", and the level at which the bath then stands."""
    return Written({VOLUME: _above_0("amount", amount, "L")}, _level(level))


def taken(amount: str) -> Written:
    """Bath that was taken out or carried away, such as "10 mL"."""
    return Written({VOLUME: -_above_0("amount", amount, "L")})


def anodes(area: str | None, mass: str | None) -> Written:
    """The anodes as they hang: the area that faces the parts, and their mass."""
    facts: Facts = {}
    if area is not None:
        facts["area_dm2"] = _above_0("area", area, "dm²")
    if mass is not None:
        facts["mass_g"] = _above_0("mass", mass, "g")
    return Written({}, facts)


def moment(where: str, text: str, zone: tzinfo | None = None) -> datetime:
    """A day with a time of day, such as "2026-11-20 18:00", in `zone`; None is the machine's own.

    A text with an offset of its own, such as "2026-11-20T18:00Z", is as it says.
    """
    day = _moment(where, text)
    if len(text.strip()) <= len("2026-11-20"):
        raise InputError(where, (f'expected a time too, such as "{text} 18:00", got {text!r}',))
    return _aware(day, zone)


def day_begin(where: str, text: str, zone: tzinfo | None = None) -> datetime:
    """The beginning of a day such as "2026-11-20", or a moment of it as `moment` reads it."""
    return _aware(_moment(where, text), zone)


def day_end(where: str, text: str, zone: tzinfo | None = None) -> datetime:
    """The end of a day such as "2026-11-20", or a moment of it as `moment` reads it."""
    day = _moment(where, text)
    if len(text.strip()) > len("2026-11-20"):
        return _aware(day, zone)
    return _aware(datetime.combine(day + timedelta(days=1), time()), zone) - timedelta(
        milliseconds=1
    )


def _moment(where: str, text: str) -> datetime:
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(
            where, (f'expected a day and a time such as "2026-11-20 18:00", got {text!r}',)
        ) from error
    if not 2000 <= found.year < 2200:
        raise InputError(where, (f"expected a year from 2000 to 2199, got {text!r}",))
    return found


def _aware(moment: datetime, zone: tzinfo | None) -> datetime:
    """The moment with an offset; one without is of the clocks in `zone`."""
    if moment.tzinfo is not None:
        return moment
    return moment.astimezone() if zone is None else moment.replace(tzinfo=zone)


def _level(text: str | None) -> Facts:
    return {} if text is None else {"level_l": _above_0("level", text, "L")}


def _above_0(where: str, text: str, unit: str) -> float:
    try:
        value = parse(text, unit)
    except UnitError as error:
        raise InputError(where, (str(error),)) from error
    if not value > 0:
        raise InputError(where, (f"must be above 0 {unit}, got {text!r}",))
    return value
