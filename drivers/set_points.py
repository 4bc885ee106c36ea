"""A supply's two set-points: their ranges, their order, and whether what is read back is it."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, Literal, Protocol, TypeVar

from drivers.contracts import Mode
from drivers.errors import SetPointRefusedError

_ROUNDING = 1e-9
"""Slack when a difference is compared with a step: 1.001 - 1.000 is not 0.001 in binary."""


@dataclass(frozen=True, slots=True)
class Limit:
    """What a set-point may be. `step` and `greatest` are in `unit`."""

    quantity: str
    unit: Literal["A", "V"]
    step: float
    greatest: float

    def check_range(self, value: float) -> None:
        """Raises `SetPointRefusedError` if it is not a number from 0 to the supply's rating."""
        if not (math.isfinite(value) and 0 <= value <= self.greatest):
            raise SetPointRefusedError(
                f"{self.quantity}: cannot be set to {value:g} {self.unit}; "
                f"allowed: 0 to {self.greatest:g} {self.unit}"
            )

    def check_held(self, wanted: float, read_back: float) -> None:
        """Raises `SetPointRefusedError` if the supply holds something else, by more than a step."""
        # Said this way round, since a read-back that is no number differs from everything.
        if not abs(read_back - wanted) <= self.step * (1 + _ROUNDING) + _ROUNDING:
            raise SetPointRefusedError(
                f"{self.quantity}: set to {wanted:g} {self.unit}, but the supply holds "
                f"{read_back:g} {self.unit} (its step is {self.step:g} {self.unit})"
            )


class SetPoint(Protocol):
    """How one of the two is said on the wire."""

    @property
    def limit(self) -> Limit:
        """What it may be."""

    def as_sent(self, value: float) -> float:
        """The value as near as the wire can say it; raises `SetPointRefusedError` out of range."""


P = TypeVar("P", bound=SetPoint)


class SetPointPair(Generic[P]):
    """Both set-points of a supply, and what it is known to hold.

    `settle` is called before anything is sent, `put` sends a value, `ask` reads it back. Set-points
    that the supply has confirmed are not sent again, since many supplies store each in a memory
    that wears out. They have to be forgotten after any failure: the supply may have restarted.
    """

    def __init__(
        self,
        current: P,
        voltage: P,
        settle: Callable[[], None],
        put: Callable[[P, float], None],
        ask: Callable[[P], float],
    ) -> None:
        self._points = (current, voltage)
        self._settle = settle
        self._put = put
        self._ask = ask
        self._held: tuple[float, float] | None = None

    @property
    def held(self) -> tuple[float, float] | None:
        """What the supply has confirmed, A and V; None if that is not known."""
        return self._held

    def forget(self) -> None:
        """What the supply holds is not known any more."""
        self._held = None

    def set(self, current_a: float, voltage_v: float) -> None:
        """Set both, A and V, and read each back.

        What is lowered is lowered first, and confirmed, before anything is raised: so the product
        of the limits, the power the supply could give, is never above the greater of before and
        after. Raises `SetPointRefusedError` if a value is outside the rating (nothing is sent) or
        reads back as another, and whatever the three callables raise.
        """
        current, voltage = self._points
        wanted = (current.as_sent(current_a), voltage.as_sent(voltage_v))
        if wanted == self._held:
            return
        known, self._held = self._held, None
        self._settle()
        held = known or (self._ask(current), self._ask(voltage))
        changes = [
            (point, new, old)
            for point, new, old in zip(self._points, wanted, held, strict=True)
            if known is None or new != old
        ]
        changes.sort(key=lambda change: change[1] > change[2])
        for point, new, _ in changes:
            self._put(point, new)
            point.limit.check_held(new, self._ask(point))
        self._held = wanted

    def mode_by_nearness(
        self, current_a: float, voltage_v: float, near_a: float, near_v: float
    ) -> Mode | None:
        """Which of the two the measured values are this near to; None if that cannot be told."""
        if self._held is None:
            return None
        set_a, set_v = self._held
        if set_a <= near_a or set_v <= near_v:
            # An idle output is as near to a set-point of 0 as a working one.
            return None
        holds_current = abs(current_a - set_a) <= near_a
        holds_voltage = abs(voltage_v - set_v) <= near_v
        if holds_current is holds_voltage:
            return None
        return Mode.CONSTANT_CURRENT if holds_current else Mode.CONSTANT_VOLTAGE
