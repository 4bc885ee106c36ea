"""Between which concentrations an acid copper bath is kept, and how much bath a container takes."""

from dataclasses import dataclass

from daemon.chemistry.checks import require_not_negative, require_positive
from daemon.chemistry.make_up import Composition

USABLE_SHARE = 0.8
"""Of a container's brim, for the bath: 16 quarts in one of 20. Anodes and parts displace the rest,
and some free board stays (common practice); used where nothing better is told."""

COPPER_SULFATE, SULFURIC_ACID, CHLORIDE = "copper sulfate", "sulfuric acid", "chloride"


@dataclass(frozen=True, slots=True)
class Window:
    """Within which a component is kept, both ends included; pentahydrate and acid g/L, Cl mg/L."""

    component: str
    least: float
    greatest: float


@dataclass(frozen=True, slots=True)
class Formulation:
    """A kind of bath, the windows of its components, and where they are published."""

    name: str
    source: str
    windows: tuple[Window, ...]


STANDARD = Formulation(
    "standard acid copper bath",
    "Metal Finishing Guidebook 2011-12, Table VIII",
    (
        Window(COPPER_SULFATE, 195.0, 248.0),
        Window(SULFURIC_ACID, 30.0, 75.0),
        Window(CHLORIDE, 50.0, 120.0),
    ),
)
HIGH_THROW = Formulation(
    "high-throw acid copper bath",
    "Metal Finishing Guidebook 2011-12, Table IX",
    (
        Window(COPPER_SULFATE, 60.0, 75.0),
        Window(SULFURIC_ACID, 187.0, 225.0),
        Window(CHLORIDE, 50.0, 100.0),
    ),
)


@dataclass(frozen=True, slots=True)
class Verdict:
    """A component held against its window. `value` None: the bath has none, or it is not known."""

    window: Window
    value: float | None

    @property
    def inside(self) -> bool:
        """Whether it is known to lie within."""
        return self.value is not None and (
            self.window.least * (1 - _LAST_BIT)
            <= self.value
            <= self.window.greatest * (1 + _LAST_BIT)
        )

    @property
    def below(self) -> bool:
        """Whether there is too little of it."""
        return not self.inside and (self.value is None or self.value < self.window.least)


_LAST_BIT = 1e-9  # a bath made at the edge of its window is inside, whatever a float does to it


def judged(composition: Composition, formulation: Formulation) -> tuple[Verdict, ...]:
    """Each component of a kind of bath against its window."""
    values = {
        COPPER_SULFATE: composition.copper_sulfate_g_l,
        SULFURIC_ACID: composition.acid_g_l,
        CHLORIDE: composition.chloride_mg_l,
    }
    return tuple(Verdict(window, values[window.component]) for window in formulation.windows)


@dataclass(frozen=True, slots=True)
class Container:
    """A vessel up to its brim, and what of it is not for the bath, all L; None: not told.

    Raises ValueError for a brim that is not above 0, or for a negative volume.
    """

    brim_l: float
    anodes_l: float | None = None
    parts_l: float | None = None
    free_board_l: float | None = None

    def __post_init__(self) -> None:
        require_positive("brim", self.brim_l, "L")
        for name, volume_l in (
            ("anodes", self.anodes_l),
            ("parts", self.parts_l),
            ("free board", self.free_board_l),
        ):
            require_not_negative(name, volume_l or 0.0, "L")

    @property
    def told(self) -> bool:
        """Whether anything is known of what the bath may not take."""
        return any(
            volume_l is not None for volume_l in (self.anodes_l, self.parts_l, self.free_board_l)
        )

    @property
    def room_l(self) -> float:
        """How much bath it takes, L; by `USABLE_SHARE` where nothing is told. May be negative."""
        if not self.told:
            return USABLE_SHARE * self.brim_l
        taken_l = (self.anodes_l or 0.0) + (self.parts_l or 0.0) + (self.free_board_l or 0.0)
        return self.brim_l - taken_l
