"""Bringing a component of a bath back into its window: what to add, or what to dilute.

Concentrations are g/L, volumes L. `Found` is what an analysis found, with the half-width of its
95 % interval: nothing that is suggested leads beyond the window at either end of that interval,
nor if the bath's volume is off by its limit. Mass balances; no constants.
"""

from dataclasses import dataclass
from enum import Enum

from daemon.chemistry.checks import require_not_negative, require_positive

VOLUME_LIMIT = 0.05
"""Of the bath's volume: as well as a level on a tank's wall can be read (common practice)."""


@dataclass(frozen=True, slots=True)
class Found:
    """A concentration and how far it may be off, g/L."""

    value_g_l: float
    expanded_g_l: float = 0.0

    def __post_init__(self) -> None:
        require_not_negative("concentration", self.value_g_l, "g/L")
        require_not_negative("uncertainty of the concentration", self.expanded_g_l, "g/L")

    @property
    def lower_g_l(self) -> float:
        """The lower end of the interval, at least 0."""
        return max(0.0, self.value_g_l - self.expanded_g_l)

    @property
    def upper_g_l(self) -> float:
        """The upper end of the interval."""
        return self.value_g_l + self.expanded_g_l


@dataclass(frozen=True, slots=True)
class Window:
    """Within which a component shall be, g/L; None where nothing is said.

    Raises ValueError where nothing at all is said, or the limits do not rise.
    """

    least_g_l: float | None = None
    target_g_l: float | None = None
    greatest_g_l: float | None = None

    def __post_init__(self) -> None:
        said = [
            limit
            for limit in (self.least_g_l, self.target_g_l, self.greatest_g_l)
            if limit is not None
        ]
        if not said:
            raise ValueError("a window needs least, target or greatest")
        for limit in said:
            require_not_negative("a limit of the window", limit, "g/L")
        if said != sorted(said):
            shown = ", ".join(f"{limit:g}" for limit in said)
            raise ValueError(f"least, target and greatest must rise, got {shown} g/L")

    @property
    def aim_g_l(self) -> float:
        """The target; else the middle of both limits; else the one limit."""
        limits = [limit for limit in (self.least_g_l, self.greatest_g_l) if limit is not None]
        return self.target_g_l if self.target_g_l is not None else sum(limits) / len(limits)


class Verdict(Enum):
    """Where a concentration stands to its window."""

    BELOW = "below the window"
    INSIDE = "inside the window"
    ABOVE = "above the window"


def verdict(found: Found, window: Window) -> tuple[Verdict, bool]:
    """Where the value stands, and whether its whole interval stands there too."""
    least, greatest = window.least_g_l, window.greatest_g_l
    if least is not None and found.value_g_l < least:
        return Verdict.BELOW, found.upper_g_l < least
    if greatest is not None and found.value_g_l > greatest:
        return Verdict.ABOVE, found.lower_g_l > greatest
    below = least is not None and found.lower_g_l < least
    above = greatest is not None and found.upper_g_l > greatest
    return Verdict.INSIDE, not (below or above)


@dataclass(frozen=True, slots=True)
class Source:
    """What is added, by the unit in which it is measured out: 1 g of a solid, 1 mL of a liquid.

    holds_g: g of the component in it. grows_ml: by how many mL it makes the bath more.
    """

    holds_g: float
    grows_ml: float = 0.0

    def __post_init__(self) -> None:
        require_positive("content of what is added", self.holds_g, "g")
        require_not_negative("volume of what is added", self.grows_ml, "mL")

    @property
    def strength_g_l(self) -> float | None:
        """What a bath of nothing else would hold, g/L; None where it takes no room."""
        return 1000 * self.holds_g / self.grows_ml if self.grows_ml else None


@dataclass(frozen=True, slots=True)
class Addition:
    """So much of a source, in its unit: where it leads, and where to at the most, g/L.

    grows_l: by so much the bath becomes more. held_back: less than the aim takes, so as not to
    lead beyond the window.
    """

    amount: float
    reaches_g_l: float
    at_most_g_l: float
    grows_l: float
    held_back: bool


def addition(
    found: Found,
    window: Window,
    volume_l: float,
    source: Source,
    volume_limit: float = VOLUME_LIMIT,
) -> Addition | None:
    """What brings a component that is below its window to its aim; None where nothing is to add.

    That is inside or above the window, and where the interval reaches so far up that any addition
    might overshoot. (c·V + m)/(V + v) is what is reached. Raises ValueError for a volume that is
    not above 0, a limit of it outside 0 to 1, and a source too weak for the aim.
    """
    least_l = _least_volume(volume_l, volume_limit)
    if verdict(found, window)[0] is not Verdict.BELOW:
        return None
    wanted = _amount(found.value_g_l, window.aim_g_l, volume_l, source)
    amount = wanted
    if window.greatest_g_l is not None:
        amount = min(wanted, _amount(found.upper_g_l, window.greatest_g_l, least_l, source))
    if amount <= 0:
        return None
    return Addition(
        amount,
        _after(found.value_g_l, volume_l, source, amount),
        _after(found.upper_g_l, least_l, source, amount),
        amount * source.grows_ml / 1000,
        held_back=amount < wanted,
    )


def _amount(from_g_l: float, to_g_l: float, volume_l: float, source: Source) -> float:
    """How much of the source leads from one concentration to another, less than 0 downwards."""
    each_g = source.holds_g - to_g_l * source.grows_ml / 1000
    if each_g <= 0:
        raise ValueError(
            f"what is added holds {source.strength_g_l:.4g} g/L: with it a bath never reaches "
            f"{to_g_l:.4g} g/L"
        )
    return (to_g_l - from_g_l) * volume_l / each_g


def _after(from_g_l: float, volume_l: float, source: Source, amount: float) -> float:
    total_l = volume_l + amount * source.grows_ml / 1000
    return (from_g_l * volume_l + amount * source.holds_g) / total_l


@dataclass(frozen=True, slots=True)
class Dilution:
    """So much bath is taken out and replaced by water, L; the rest of everything is `stays`.

    reaches_g_l and at_least_g_l: where that leads, and where to at the least. held_back: less than
    the aim takes.
    """

    take_out_l: float
    stays: float
    reaches_g_l: float
    at_least_g_l: float
    held_back: bool


def dilution(
    found: Found, window: Window, volume_l: float, volume_limit: float = VOLUME_LIMIT
) -> Dilution | None:
    """What brings a component that is above its window to its aim; None where nothing is to do.

    That is inside or below the window, where the interval reaches so far down that it might fall
    below it, and where the aim is 0: then the bath is to be made up anew. x of V litres replaced
    leave c·(1 - x/V). Raises ValueError as `addition` does.
    """
    least_l = _least_volume(volume_l, volume_limit)
    if verdict(found, window)[0] is not Verdict.ABOVE or window.aim_g_l == 0:
        return None
    wanted_l = volume_l * (1 - window.aim_g_l / found.value_g_l)
    take_out_l = wanted_l
    if window.least_g_l is not None:
        lower_g_l = found.lower_g_l
        if lower_g_l <= window.least_g_l:
            return None
        take_out_l = min(wanted_l, least_l * (1 - window.least_g_l / lower_g_l))
    stays = 1 - take_out_l / volume_l
    return Dilution(
        take_out_l,
        stays,
        stays * found.value_g_l,
        max(0.0, 1 - take_out_l / least_l) * found.lower_g_l,
        held_back=take_out_l < wanted_l,
    )


def _least_volume(volume_l: float, limit: float) -> float:
    require_positive("volume of the bath", volume_l, "L")
    if not 0 <= limit < 1:
        raise ValueError(f"limit of the volume must be from 0 to below 1, got {limit:g}")
    return volume_l * (1 - limit)
