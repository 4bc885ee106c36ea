"""Figures as people write them: rounded to what is known, with their doubt: `24.8 ± 0.9 µm (95 %)`.

The one place where a figure and its expanded uncertainty become text, for the page and the command
line alike.
"""

import math

from daemon.api.socket.messages import RunStatus
from daemon.api.trade_units import UnitSystem, decimals, shown

FINEST_UM_DECIMALS = 2
"""Nobody measures a deposit finer than to 0.01 µm, and the last digits of a new run would flicker.
"""

_TWO_DIGITS_UP_TO = 3.0
"""An uncertainty that begins with 1 or 2 keeps two digits: one would be too coarse a step."""

_LEAST_SHOWN = 0.95
"""Of an uncertainty. Where rounding would take more than 5 % off it, it is rounded up (EA-4/02
M:2013, 6.3): what is shown is never surer than what is known."""


def fixed(value: float, decimals: int, below: float | None = None) -> str:
    """The value with so many decimals, which may be negative; never "-0".

    A value short of `below` never reads as if it were there: it is rounded down instead.
    """
    shown = round(value, decimals)
    if below is not None and value < below <= shown:
        shown = math.floor(value * 10.0**decimals) / 10.0**decimals
    return f"{shown:z.{max(0, decimals)}f}"


def rounded(
    value: float, expanded: float, most_decimals: int, below: float | None = None
) -> tuple[str, str]:
    """The value and its expanded uncertainty as texts, both to the same place.

    The uncertainty has one significant digit, or two where it begins with 1 or 2, and no more
    decimals than `most_decimals`; the value goes with it (JCGM 100:2008, 7.2.6). `below` as for
    `fixed`. Raises ValueError for an uncertainty that is not finite and above 0.
    """
    if not (math.isfinite(expanded) and expanded > 0):
        raise ValueError(f"uncertainty must be finite and above 0, got {expanded}")
    exponent = math.floor(math.log10(expanded))
    digits = 2 if expanded / 10.0**exponent < _TWO_DIGITS_UP_TO else 1
    decimals = min(digits - 1 - exponent, most_decimals)
    shown = round(expanded, decimals)
    if shown < _LEAST_SHOWN * expanded:
        shown += 10.0**-decimals
    return fixed(value, decimals, below), fixed(shown, decimals)


def thickness_figures(run: RunStatus, system: UnitSystem = "metric") -> tuple[str, str]:
    """Mean thickness and its doubt, `("24.8", "0.9")`; the doubt is "" where none is known.

    Both in µm or, with "trade", in mil. Short of the target the thickness never reads as there.
    """
    value, target = (
        shown(each_um, "µm", system).value for each_um in (run.thickness_um, run.target_um)
    )
    coarse, finest = 1, FINEST_UM_DECIMALS
    if system == "trade":
        coarse, finest = (decimals(run.thickness_um, "µm", places) for places in (coarse, finest))
    if not run.thickness_u95_um > 0:
        return fixed(value, coarse, target), ""
    return rounded(value, shown(run.thickness_u95_um, "µm", system).value, finest, target)


def thickness_with_doubt(run: RunStatus) -> str:
    """Mean thickness with its unit and, where known, its doubt: `24.8 ± 0.9 µm (95 %)`."""
    value, doubt = thickness_figures(run)
    return f"{value} ± {doubt} µm (95 %)" if doubt else f"{value} µm"
