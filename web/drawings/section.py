"""The section through the deposit, drawn to scale: where the ruler's marks stand.

Everything is a share of the drawing's width, so that it fits any screen without a script.
"""

import math
from dataclasses import dataclass

from daemon.api.socket.messages import RunStatus
from web.units import shown

HEADROOM = 1.08
"""How far the ruler runs past the target, so that the target's line stands inside the drawing."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark of the ruler: its label in µm or mil and its share of the width, 0 to 1."""

    label: str
    at: float


def share(thickness_um: float, run: RunStatus) -> float:
    """Tell how far across the drawing `thickness_um` reaches, 0 to 1."""
    return min(1.0, thickness_um / (run.target_um * HEADROOM))


def marks(run: RunStatus) -> tuple[Mark, ...]:
    """Divide the ruler in steps of 1, 2 or 5 times a power of ten, four to nine of them."""
    end = shown(run.target_um, "µm") * HEADROOM
    power = 10.0 ** math.floor(math.log10(end / 4))
    step = next(m * power for m in (5.0, 2.0, 1.0) if end / (m * power) >= 4)
    count = math.floor(end / step)
    return tuple(Mark(f"{i * step:g}", i * step / end) for i in range(count + 1))
