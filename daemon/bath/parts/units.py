"""Units of length that mesh files are made in, and the guess when a size cannot be right."""

UNITS_MM = {"µm": 1e-3, "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
"""mm in each unit."""

PLAUSIBLE_MM = (10.0, 1000.0)
"""Between these a part's longest side is taken as it is; outside, somebody has to say its unit. A
part of 4 inches that is read as mm is 4 mm long, and one in metres 0.1 mm."""


def plausible(longest_mm: float) -> bool:
    """Whether a part is likely to be as long as this."""
    return PLAUSIBLE_MM[0] <= longest_mm <= PLAUSIBLE_MM[1]


def likely(longest: float) -> tuple[str, ...]:
    """The units in which a part that is `longest` of them long would be of a likely size."""
    return tuple(unit for unit, mm in UNITS_MM.items() if plausible(longest * mm))
