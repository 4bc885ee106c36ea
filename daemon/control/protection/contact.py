"""Bad contacts: a voltage that has become restless, and is restless upwards. Pure."""

from math import exp, sqrt

from daemon.control.protection.alarms import Figures, Sign
from daemon.control.protection.causes import BAD_CONTACT
from daemon.control.protection.cell_thresholds import CellThresholds
from daemon.control.protection.lasting import Lasting
from daemon.control.protection.observation import Observation

MOST_WEIGHT = 0.2
"""Of one reading in an average over seconds, where readings are that far apart: one in five."""

FIRST_READINGS = 10
"""Readings before anything is judged."""

STEP_SQUARE_MOST = 9.0
"""Times the usual square: what one counts for at the most, so that a fault teaches no quiet."""

ONE_MOST = 0.3
"""Of what makes it restless: what one reading's departure adds at the most. A glitch has three
departures and a step has two, so that neither is restlessness by itself."""

LEVEL_S = 20.0
"""s over which the level is averaged that restlessness is held against."""


class Restless:
    """How much the voltage jumps from reading to reading, and how much it usually does.

    Measured by how far each reading is from the middle of its neighbours, so that slopes count for
    nothing; as a standard deviation of ln V - p·ln I. `grain` is what the meters' last digits may
    make of it.
    """

    def __init__(self, thresholds: CellThresholds) -> None:
        self._t = thresholds
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        self._square = 0.0
        self._usual_square = 0.0
        self._readings = 0
        self.grain = 0.0
        self.interrupt()

    def interrupt(self) -> None:
        """Compare nothing after this moment with anything before it. What is usual stays known."""
        self._last: tuple[float, float] | None = None
        self._last_s = 0.0
        self._level: float | None = None
        self._mean = 0.0
        self._square = self._usual_square

    def take(self, at_s: float, value: float) -> None:
        """Take in one reading's ln V - p·ln I."""
        last = self._last
        if last is None:
            self._last, self._last_s, self._level, self._mean = (value, value), at_s, value, value
            return
        dt_s, self._last_s = at_s - self._last_s, at_s
        bend = last[0] - 2.0 * last[1] + value
        self._last = (last[1], value)
        self._readings += 1
        weight = min(MOST_WEIGHT, dt_s / self._t.restless_s)
        square = bend * bend / 6.0
        self._mean += weight * (value - self._mean)
        if self._readings <= FIRST_READINGS:
            self._usual_square += (square - self._usual_square) / self._readings
            self._square, self._level = self._usual_square, self._mean
            return
        self._square += weight * (min(square, ONE_MOST * self._least() / weight) - self._square)
        usual = self._usual_square
        learn = max(1.0 / self._readings, min(MOST_WEIGHT, dt_s / self._t.restless_learn_s))
        self._usual_square += learn * (min(square, STEP_SQUARE_MOST * usual + 1e-9) - usual)
        if self._square < 4.0 * usual + 1e-6 and self._level is not None:
            self._level += min(MOST_WEIGHT, dt_s / LEVEL_S) * (value - self._level)

    @property
    def is_there(self) -> bool:
        """Whether the voltage jumps far more than usual."""
        return self._readings > FIRST_READINGS and self._square > self._least()

    def _least(self) -> float:
        """The mean square from which on the voltage is restless."""
        t = self._t
        return max(t.restless_times**2 * self._usual_square, t.restless_least**2, self.grain**2)

    @property
    def amount(self) -> float:
        """How much it jumps now: a standard deviation."""
        return sqrt(self._square)

    @property
    def up(self) -> float:
        """By how much the mean is above what it was in quiet."""
        return 0.0 if self._level is None else self._mean - self._level

    def has_grown_by(self, size: float) -> bool:
        """Whether it jumps more than before by a good part of `size`."""
        grown = self._square - self._usual_square
        return (
            self._square > 4.0 * self._usual_square and grown > (self._t.restless_step * size) ** 2
        )


class BadContact:
    """A restless voltage whose mean is up: a contact only adds resistance."""

    def __init__(self, thresholds: CellThresholds) -> None:
        self._t = thresholds
        self._lasting = Lasting(thresholds.contact_on_s, thresholds.contact_off_s)
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        self._lasting.forget()
        self.signs: tuple[Sign, ...] = ()

    def look(self, seen: Observation, restless: Restless) -> None:
        """Bring `signs` up to date with one more reading."""
        there = restless.is_there
        if there and not self.signs:
            there = restless.up > self._t.contact_up * restless.amount
        if not self._lasting.seen(there, seen.at_s):
            self.signs = ()
        elif not self.signs:
            jumps, up = restless.amount, exp(restless.up) - 1.0
            text = (
                f"the voltage jumps by {jumps:.1%} from reading to reading, and is up by {up:.1%} "
                f"in the mean, at {seen.current_a:.2f} A"
            )
            figures: Figures = {
                "current_a": seen.current_a,
                "voltage_v": seen.voltage_v,
                "jumps_percent": round(100.0 * jumps, 2),
                "up_percent": round(100.0 * up, 2),
            }
            self.signs = (Sign(BAD_CONTACT, text, figures),)
