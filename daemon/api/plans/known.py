"""What a plan may leave to the daemon: the area of a kept part, and a learned efficiency."""

from collections.abc import Callable
from dataclasses import dataclass

from daemon.chemistry.metals import Metal
from daemon.chemistry.uncertainty import coverage_factor
from daemon.record.errors import NoSuchPartError
from daemon.record.queries import Run

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Sure:
    """A figure, and its uncertainty as a share of it, ± with 95 %."""

    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class Known:
    """part: the area, dm², of so many of a kept part; raises NoSuchPartError.

    efficiency: the cathode efficiency that was learned of a metal, None where none was. given: is
    told of the one that the plan itself gives, which goes first.
    """

    part: Callable[[str, int], Sure]
    efficiency: Callable[[Metal], Sure | None] = lambda _: None
    given: Callable[[Metal, float], None] = lambda metal, value: None  # noqa: ARG005


def _no_part(name: str, copies: int) -> Sure:  # noqa: ARG001
    raise NoSuchPartError(f"{name!r} is known to a daemon alone; here the area has to be given")


NOTHING_KNOWN = Known(_no_part)
"""Where no record is at hand: a plan with a part cannot be read."""


def known_of(run: Run) -> Known:
    """What was known to a run of the record when it started."""
    reckoning, factor = run.reckoning, coverage_factor(CONFIDENCE)
    area_u = 0.0 if reckoning is None else reckoning.area_u
    area = Sure(run.area_dm2, factor * area_u)
    if reckoning is None:
        return Known(lambda name, copies: area)  # noqa: ARG005
    efficiency = Sure(reckoning.efficiency, factor * reckoning.efficiency_u)
    return Known(lambda name, copies: area, lambda metal: efficiency)  # noqa: ARG005
