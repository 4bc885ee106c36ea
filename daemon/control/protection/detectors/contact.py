"""Bad contacts: a voltage that has become restless, and is restless upwards. Pure."""

from math import exp, sqrt

from daemon.control.protection.alarms import Figures, Sign
from daemon.control.protection.causes import BAD_CONTACT
from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.lasting import Lasting
from daemon.control.protection.detectors.observation import Observation

MOST_WEIGHT = 0.2
"""Of one reading in an average over seconds, where readings are that far apart: one in five."""

FIRST_READINGS = 10
"""Readings before anything is judged."""

SQUARE_MOST = 9.0
"""Times the usual square: what one counts for at the most, so that a fault teaches no quiet."""

QUIET = 4.0
"""Times the usual square: below, nothing is wrong."""

QUIET_S = 10.0
"""s of quiet without a break before its level is known, and again after any unrest."""

RESTLESS_TEACHES = 0.2
"""How much less is learned from what may be a fault; a tank that has become noisier is learned all
the same."""

CHANCES = 2.0
"""Standard errors of the mean: one in 40 by chance, on top of the share, and it has to last."""

DUST_V2 = 1e-8
"""V²: below 0.1 mV nothing is restless."""

ONE_MOST = 0.3
"""Of what makes it restless: what one reading's departure adds at the most. A glitch has three
departures and a step has two, so that neither is restlessness by itself."""

GROWN, GROWN_LEAST = 3.0, 0.25
"""Times the usual square, and of the square that is restless: twice what is left of a step after
the seconds for which it is watched."""

LEVEL_S = 10.0
"""s over which the level in quiet is averaged."""

MEAN_S = 30.0
"""s over which the mean in unrest is averaged, which is held against that level; as many readings
where they are further apart."""


class Restless:
    """How much the voltage jumps from reading to reading, and how much it usually does.

    Measured by how far each reading is from the middle of its neighbours, so that slopes count for
    nothing. Noise is learned in V, for a meter's stays the same while the current grows; what is
    said about it is a share of the voltage, a standard deviation of ln V - p·ln I.
    """

    def __init__(self, thresholds: CellThresholds) -> None:
        self._t = thresholds
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        self._usual_v2 = 0.0
        self._readings = 0
        self._least_v2 = 0.0
        self.interrupt()

    def interrupt(self) -> None:
        """Compare nothing after this moment with anything before it. What is usual stays known."""
        self._last: tuple[float, float] | None = None
        self._last_s = 0.0
        self._level = self._mean = 0.0
        self._quiet_s = self._slope_per_s = self._mean_weight = 0.0
        self._level_is_known = False
        self._unquiet = 0
        self._voltage_v = 1.0
        self._now_v2 = self._whole_v2 = self._usual_v2

    def take(
        self, at_s: float, value: float, voltage_v: float, grain: float, slope_per_s: float
    ) -> None:
        """Take in one reading.

        `value` is its ln V - p·ln I; `grain` what last digits may make of that, and `slope_per_s`
        how it is changing.
        """
        last = self._last
        if last is None:
            self._last, self._last_s, self._level, self._mean = (value, value), at_s, value, value
            return
        dt_s, self._last_s = at_s - self._last_s, at_s
        self._voltage_v = voltage_v
        bend_v = (last[0] - 2.0 * last[1] + value) * voltage_v
        self._last = (last[1], value)
        self._readings += 1
        weight = min(MOST_WEIGHT, dt_s / self._t.restless_s)
        quiet = self._learn(bend_v * bend_v / 6.0, weight, dt_s, grain)
        self._quiet_s = min(self._quiet_s + dt_s, QUIET_S) if quiet else 0.0
        self._follow(value, dt_s, slope_per_s)

    def _follow(self, value: float, dt_s: float, slope_per_s: float) -> None:
        """Bring level and mean up to date: the level in quiet, the mean in unrest."""
        sloped = self._slope_per_s * dt_s
        self._level += sloped
        if self._quiet_s >= QUIET_S:
            self._level += min(MOST_WEIGHT, dt_s / LEVEL_S) * (value - self._level)
            self._mean = self._level
            self._unquiet = 0
            self._slope_per_s = slope_per_s
            self._level_is_known = True
            return
        # How it would have gone on is known for some seconds only.
        self._slope_per_s *= 1.0 - min(1.0, dt_s / LEVEL_S)
        self._unquiet += 1
        self._mean_weight = max(1.0 / self._unquiet, min(dt_s, 1.0) / MEAN_S)
        self._mean += sloped
        self._mean += self._mean_weight * (value - self._mean)

    def _learn(self, now_v2: float, weight: float, dt_s: float, grain: float) -> bool:
        """Average one reading's square; whether it is as quiet as usual."""
        if self._readings <= FIRST_READINGS:
            self._usual_v2 += (now_v2 - self._usual_v2) / self._readings
            self._now_v2 = self._whole_v2 = self._usual_v2
            return True
        t, usual_v2 = self._t, self._usual_v2
        least = max(grain, t.restless_least) * self._voltage_v
        self._least_v2 = least_v2 = max(t.restless_times**2 * usual_v2, least * least)
        self._whole_v2 += weight * (now_v2 - self._whole_v2)
        self._now_v2 += weight * (min(now_v2, ONE_MOST * least_v2 / weight) - self._now_v2)
        quiet = self._now_v2 < QUIET * usual_v2 + DUST_V2
        learn = max(1.0 / self._readings, min(MOST_WEIGHT, dt_s / t.restless_learn_s))
        learn *= 1.0 if quiet else RESTLESS_TEACHES
        most_v2 = SQUARE_MOST * usual_v2 + DUST_V2
        self._usual_v2 = usual_v2 + learn * (min(now_v2, most_v2) - usual_v2)
        return quiet

    @property
    def usual(self) -> float:
        """How much it usually jumps."""
        return sqrt(self._usual_v2) / self._voltage_v

    @property
    def amount(self) -> float:
        """How much it jumps now, steps and glitches included."""
        return sqrt(self._whole_v2) / self._voltage_v

    @property
    def chance(self) -> float:
        """How far the mean may be off by chance: its standard error."""
        return self.amount * sqrt(self._mean_weight)

    @property
    def up(self) -> float | None:
        """By how much the mean is above where it would be in quiet; None while nobody knows."""
        return self._mean - self._level if self._level_is_known else None

    @property
    def is_there(self) -> bool:
        """Whether it jumps far more than usual, and than the meters' last digits may make of it."""
        return self._readings > FIRST_READINGS and self._now_v2 > self._least_v2

    @property
    def has_grown(self) -> bool:
        """Whether it jumps more than usual; a lost part does not make it so."""
        least_v2 = max(GROWN * self._usual_v2, GROWN_LEAST * self._least_v2)
        return self._now_v2 > least_v2


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
        there, up = restless.is_there, restless.up
        if there and not self.signs:
            least = self._t.contact_up * restless.amount + CHANCES * restless.chance
            there = up is not None and up > least
        if not self._lasting.seen(there, seen.at_s):
            self.signs = ()
        elif not self.signs:
            jumps, up = restless.amount, exp(up or 0.0) - 1.0
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
