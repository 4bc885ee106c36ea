"""One of a supply's two set-points: its words, and its decimals."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

from drivers.scpi.description import Description
from drivers.scpi.replies import number_parser
from drivers.set_points import Limit


@dataclass(frozen=True, slots=True)
class SetPoint:
    """How current (A) or voltage (V) is set."""

    limit: Limit
    words: str
    question: bytes
    decimals: int
    parse: Callable[[bytes], float]

    @classmethod
    def of_current(cls, description: Description) -> Self:
        """The current limit of the described supply."""
        rating = description.rating
        return cls(
            limit=Limit("current", "A", rating.current_step_a, rating.current_a),
            words=description.words.set_current,
            question=description.words.read_back_current.encode(),
            decimals=rating.current_decimals,
            parse=number_parser("A", description.replies.units),
        )

    @classmethod
    def of_voltage(cls, description: Description) -> Self:
        """The voltage limit of the described supply."""
        rating = description.rating
        return cls(
            limit=Limit("voltage", "V", rating.voltage_step_v, rating.voltage_v),
            words=description.words.set_voltage,
            question=description.words.read_back_voltage.encode(),
            decimals=rating.voltage_decimals,
            parse=number_parser("V", description.replies.units),
        )

    def as_sent(self, value: float) -> float:
        """The value with the decimals that are sent.

        Raises `SetPointRefusedError` if it is not a number from 0 to the supply's rating.
        """
        self.limit.check_range(value)
        return round(value, self.decimals)

    def command(self, value: float) -> bytes:
        """The words that set it."""
        return self.words.replace("{value}", f"{value:.{self.decimals}f}").encode()
