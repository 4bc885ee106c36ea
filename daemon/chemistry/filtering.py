"""Filtration: how often a pump turns the bath over, and how much of its dirt that takes out.

A filter that returns clean bath into a tank that is well mixed leaves e^-n of the dirt after n
turnovers, if no new dirt comes in (the balance of a mixed tank). The Metal Finishing Guidebook 2013
(filtration) has the same: 4 to 5 turnovers take out about 97 %. Volumes L, times h.
"""

import math

from daemon.chemistry.checks import require_not_negative, require_positive

USUAL_TURNOVERS_H = (2.0, 3.0)
"""Turnovers in an hour that most baths get (Metal Finishing Guidebook 2013, filtration)."""

ALL_SOLIDS_TURNOVERS_H = (10.0, 20.0)
"""Where all solids have to go (the same)."""


def turnovers_h(volume_l: float, flow_l_h: float) -> float:
    """How often in an hour as much as the whole bath goes through the pump."""
    require_positive("volume of the bath", volume_l, "L")
    return require_not_negative("flow", flow_l_h, "L/h") / volume_l


def through_filter_l(flow_l_h: float, duration_h: float) -> float:
    """How much bath goes through the filter, L; some of it more than once."""
    require_not_negative("flow", flow_l_h, "L/h")
    return flow_l_h * require_not_negative("time", duration_h, "h")


def share_taken_out(turnovers: float) -> float:
    """The share of the dirt that so many turnovers take out, from 0 to 1."""
    return -math.expm1(-require_not_negative("turnovers", turnovers, ""))


def turnovers_for(share: float) -> float:
    """How many turnovers take out that share of the dirt; ValueError unless 0 <= share < 1."""
    if not 0 <= share < 1:
        raise ValueError(f"the share taken out must be from 0 to below 1 (100 %), got {share:g}")
    return -math.log1p(-share)
