"""One of a supply's two set-points: its words, its range, and whether what is read back is it."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Self

from drivers.errors import SetPointRefusedError
from drivers.scpi.description import Description
from drivers.scpi.replies import number_parser

_ROUNDING = 1e-9
"""Slack when a difference is compared with a step: 1.001 - 1.000 is not 0.001 in binary."""


@dataclass(frozen=True, slots=True)
class SetPoint:
    """How current (A) or voltage (V) is set. `step` and `greatest` are in `unit`."""

    quantity: str
    unit: Literal["A", "V"]
    words: str
    question: bytes
    decimals: int
    step: float
    greatest: float
    parse: Callable[[bytes], float]

    @classmethod
    def of_current(cls, description: Description) -> Self:
        """The current limit of the described supply."""
        rating = description.rating
        return cls(
            quantity="current",
            unit="A",
            words=description.words.set_current,
            question=description.words.read_back_current.encode(),
            decimals=rating.current_decimals,
            step=rating.current_step_a,
            greatest=rating.current_a,
            parse=number_parser("A", description.replies.units),
        )

    @classmethod
    def of_voltage(cls, description: Description) -> Self:
        """The voltage limit of the described supply."""
        rating = description.rating
        return cls(
            quantity="voltage",
            unit="V",
            words=description.words.set_voltage,
            question=description.words.read_back_voltage.encode(),
            decimals=rating.voltage_decimals,
            step=rating.voltage_step_v,
            greatest=rating.voltage_v,
            parse=number_parser("V", description.replies.units),
        )

    def as_sent(self, value: float) -> float:
        """The value with the decimals that are sent.

        Raises `SetPointRefusedError` if it is not a number from 0 to the supply's rating.
        """
        if not (math.isfinite(value) and 0 <= value <= self.greatest):
            raise SetPointRefusedError(
                f"{self.quantity}: cannot be set to {value:g} {self.unit}; "
                f"allowed: 0 to {self.greatest:g} {self.unit}"
            )
        return round(value, self.decimals)

    def command(self, value: float) -> bytes:
        """The words that set it."""
        return self.words.replace("{value}", f"{value:.{self.decimals}f}").encode()

    def check(self, wanted: float, read_back: float) -> None:
        """Raises `SetPointRefusedError` if the supply holds something else, by more than a step."""
        if abs(read_back - wanted) > self.step * (1 + _ROUNDING) + _ROUNDING:
            raise SetPointRefusedError(
                f"{self.quantity}: set to {wanted:g} {self.unit}, but the supply holds "
                f"{read_back:g} {self.unit} (its step is {self.step:g} {self.unit})"
            )
