"""Drag-out: how much bath the parts carry away.

Three ways to a figure: by the area and how it drains, which is an order of magnitude; by a tracer,
a component that neither plates nor evaporates, and so leaves with the bath only; and by weighing,
which is the user's. In acid copper the tracer is the sulfuric acid. Areas dm², volumes mL or L.
"""

from dataclasses import dataclass

from daemon.chemistry.checks import require_not_negative, require_positive
from daemon.chemistry.uncertainty import Budget, Share

ML_DM2_PER_GAL_1000_FT2 = 3.785411784e3 / (1000 * 9.290304)
"""1 US gal on 1000 ft² in mL on 1 dm²: 0.40746, exact by gallon and foot."""

USUAL_ML_DM2 = 1.0
"""100 mL/m², where nothing is known of the parts (common practice)."""


@dataclass(frozen=True, slots=True)
class Drained:
    """How a part hangs and drains, and what it carries away at least and at most, gal/1000 ft²."""

    how: str
    least_gal_1000_ft2: float
    greatest_gal_1000_ft2: float

    @property
    def ml_dm2(self) -> tuple[float, float]:
        """The least and the greatest, mL/dm²."""
        return (
            self.least_gal_1000_ft2 * ML_DM2_PER_GAL_1000_FT2,
            self.greatest_gal_1000_ft2 * ML_DM2_PER_GAL_1000_FT2,
        )


DRAINED = (
    Drained("vertical, well drained", 0.4, 0.4),
    Drained("vertical, poorly drained", 2.0, 2.0),
    Drained("vertical, very poorly drained", 4.0, 4.0),
    Drained("horizontal, well drained", 0.8, 0.8),
    Drained("horizontal, very poorly drained", 10.0, 10.0),
    Drained("cup-shaped, holds bath", 8.0, 24.0),
)
"""Of plating baths in general, after the Electroplating Engineering Handbook; from memory, not
checked."""


def carried_l(area_dm2: float, ml_dm2: float = USUAL_ML_DM2) -> float:
    """The bath that parts of this area carry away, L."""
    require_positive("area", area_dm2, "dm²")
    return area_dm2 * require_not_negative("drag-out", ml_dm2, "mL/dm²") / 1000


@dataclass(frozen=True, slots=True)
class Tracer:
    """What is known of a tracer over some time, each with its standard uncertainty.

    added_g: what was added, g. start_g_l and end_g_l: what analyses found before and after, g/L.
    volume_l: the bath at both, L.
    """

    added_g: float
    start_g_l: float
    end_g_l: float
    volume_l: float
    u_added_g: float = 0.0
    u_start_g_l: float = 0.0
    u_end_g_l: float = 0.0
    u_volume_l: float = 0.0


def by_tracer(tracer: Tracer) -> Budget:
    """The bath that left meanwhile, L: what was added and is not in the bath, over its mean g/L.

    Both analyses are taken as independent: what they share (titrant, pipette) matters less to
    their difference than this says. Raises ValueError where nothing was lost: then the tracer does
    not tell.
    """
    require_not_negative("tracer that was added", tracer.added_g, "g")
    require_positive("volume of the bath", tracer.volume_l, "L")
    for concentration_g_l in (tracer.start_g_l, tracer.end_g_l):
        require_positive("concentration of the tracer", concentration_g_l, "g/L")
    more_g_l = tracer.end_g_l - tracer.start_g_l
    mean_g_l = (tracer.start_g_l + tracer.end_g_l) / 2
    left_l = (tracer.added_g - more_g_l * tracer.volume_l) / mean_g_l
    if left_l < 0:
        raise ValueError(
            f"the bath holds {more_g_l * tracer.volume_l:.4g} g more than before, and only "
            f"{tracer.added_g:.4g} g were added: by this tracer no bath was lost"
        )
    half_l = left_l / 2
    return Budget(
        left_l,
        (
            Share("added", tracer.u_added_g / mean_g_l),
            Share("first analysis", abs(tracer.volume_l - half_l) * tracer.u_start_g_l / mean_g_l),
            Share("last analysis", (tracer.volume_l + half_l) * tracer.u_end_g_l / mean_g_l),
            Share("volume", abs(more_g_l) * tracer.u_volume_l / mean_g_l),
        ),
    )
