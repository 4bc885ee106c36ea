"""Why a thickness is no surer: the causes of its doubt, as page and command line list them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from daemon.api.socket.messages import RunStatus
from daemon.chemistry.uncertainty import Budget

LABELS = {
    "gain": "the meter's gain",
    "offset": "the meter's zero",
    "gain and offset": "the meter, as calibrated",
    "reference": "the reference it was compared with",
    "resolution": "the meter's steps",
    "noise": "noise of its readings",
    "clock": "the clock",
    "gaps": "times without a reading",
    "between readings": "between two readings",
    "ramps": "the steps of a ramp",
    "area": "the plated area",
    "efficiency": "the bath's efficiency",
}
"""What the causes are called by who plates."""

LEAST_SHOWN_UM = 0.005
"""µm. What is less would be shown as 0.00."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause of doubt.

    share: of the square of the whole, 0 to 1, since independent causes add up by their squares
    (JCGM 100, 5.1.2). part_um: what it is of the ± µm on the same terms, so that the squares of the
    parts add up to the square of the whole.
    """

    label: str
    part_um: float
    share: float


def causes(run: RunStatus) -> tuple[Cause, ...]:
    """The causes that can be seen in the figure, biggest first; none where nothing is in doubt."""
    return _causes([(share.name, share.u_um) for share in run.doubt], run.thickness_u95_um)


def of_budget(thickness: Budget) -> tuple[Cause, ...]:
    """The same of a thickness, µm, that is at hand as a budget."""
    shares = [(share.name, share.u) for share in thickness.shares]
    return _causes(shares, thickness.expanded(0.95))


def _causes(shares: Sequence[tuple[str, float]], expanded_um: float) -> tuple[Cause, ...]:
    whole = math.fsum(u**2 for _, u in shares)
    if whole == 0:
        return ()
    found = [_cause(name, u**2 / whole, expanded_um) for name, u in shares]
    seen = [cause for cause in found if cause.part_um >= LEAST_SHOWN_UM]
    return tuple(sorted(seen, key=lambda cause: cause.share, reverse=True))


def _cause(name: str, share: float, expanded_um: float) -> Cause:
    return Cause(LABELS.get(name, name), expanded_um * math.sqrt(share), share)
