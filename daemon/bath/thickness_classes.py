"""Thickness classes of standards, as far as they concern copper.

All of it is from memory and to be checked against the standard in force. Standards ask for a
least thickness, at named places or all over the significant surface; a plan's target is the mean,
which edges exceed and hollows do not reach. So a class is no target by itself: the mean has to be
larger by how much the thinnest place falls behind it.
"""

from dataclasses import dataclass

from daemon.chemistry.checks import require_finite

CHECK = "from memory: to be checked against the standard in force"

LARGEST_MEAN_UM = 5000.0


@dataclass(frozen=True, slots=True)
class ThicknessClass:
    """A class: its least thickness of copper, µm, the most if it has one, and what it is for."""

    name: str
    least_um: float
    greatest_um: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Standard:
    """A standard, what it is about, and its classes."""

    name: str
    about: str
    classes: tuple[ThicknessClass, ...]


STANDARDS = (
    Standard(
        "ASTM B604",
        "copper, nickel and chromium on plastics",
        (ThicknessClass("every service condition", 15.0, note="the copper beneath the nickel"),),
    ),
    Standard(
        "ISO 4525",
        "nickel and chromium on plastics",
        (ThicknessClass("Cu15a", 15.0, note="ductile acid copper; some grades want 20 µm"),),
    ),
    Standard(
        "ASTM B456",
        "copper, nickel and chromium on metals, not on plastics",
        (ThicknessClass("Fe/Cu15a", 15.0),),
    ),
    Standard(
        "ASTM B734",
        "copper for engineering uses; class x is as agreed",
        (
            ThicknessClass("class 25", 25.0),
            ThicknessClass("class 20", 20.0),
            ThicknessClass("class 12", 12.0),
            ThicknessClass("class 5", 5.0),
        ),
    ),
    Standard(
        "MIL-C-14550B",
        "copper; withdrawn, AMS 2418 follows it",
        (
            ThicknessClass("class 0", 25.0, 127.0),
            ThicknessClass("class 1", 25.4),
            ThicknessClass("class 2", 12.7),
            ThicknessClass("class 3", 5.1),
            ThicknessClass("class 4", 2.5),
        ),
    ),
)
"""What is known of copper. ASTM B832, for electroforming, leaves the thickness to the design."""


def mean_um(least_um: float, thinnest: float) -> float:
    """The mean thickness at which the thinnest place has `least_um`.

    thinnest: its thickness as a share of the mean, above 0 and at most 1. Raises ValueError.
    """
    require_finite("the thinnest place", thinnest, "")
    if not 0 < thinnest <= 1:
        raise ValueError(f"must be above 0 and at most 100 % of the mean, got {100 * thinnest:g} %")
    mean = least_um / thinnest
    if mean > LARGEST_MEAN_UM:
        raise ValueError(
            f"a mean of {mean:.4g} µm is more than can be meant, at most {LARGEST_MEAN_UM:g} µm"
        )
    return mean
