"""One of a supply's two set-points: its registers for writing and for reading back."""

from dataclasses import dataclass
from typing import Self

from drivers.modbus.description import Description, ReadTable, WriteTable
from drivers.set_points import Limit


@dataclass(frozen=True, slots=True)
class SetPoint:
    """How current (A) or voltage (V) is set."""

    limit: Limit
    target: WriteTable
    read_back: ReadTable

    @classmethod
    def of_current(cls, description: Description) -> Self:
        """The current limit of the described supply."""
        rating = description.rating
        return cls(
            limit=Limit("current", "A", rating.current_step_a, rating.current_a),
            target=description.set_current,
            read_back=description.read_back_current,
        )

    @classmethod
    def of_voltage(cls, description: Description) -> Self:
        """The voltage limit of the described supply."""
        rating = description.rating
        return cls(
            limit=Limit("voltage", "V", rating.voltage_step_v, rating.voltage_v),
            target=description.set_voltage,
            read_back=description.read_back_voltage,
        )

    def as_sent(self, value: float) -> float:
        """The value as near as the registers can hold it.

        Raises `SetPointRefusedError` if it is not a number from 0 to the supply's rating.
        """
        self.limit.check_range(value)
        return self.target.value(self.target.words(value))
