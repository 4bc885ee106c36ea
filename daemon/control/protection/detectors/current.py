"""Currents that are not what was asked for: above it, far above it, below it. Pure."""

from daemon.control.protection.alarms import Sign
from daemon.control.protection.causes import OFF_PLAN, OVER_CURRENT, SPIKE
from daemon.control.protection.detectors.dose import Dose
from daemon.control.protection.detectors.lasting import Lasting
from daemon.control.protection.detectors.limits import at_ceiling, figures_of, plan_floor_a
from daemon.control.protection.detectors.observation import Observation
from daemon.control.protection.detectors.thresholds import Thresholds


class OverCurrent:
    """More current than was asked for, by inverse time; and a spike far above it at once.

    A supply may be slow to come down: what is allowed falls from a greater set-point no faster than
    such a supply.
    """

    def __init__(self, thresholds: Thresholds) -> None:
        self._t = thresholds
        self._over = Dose(thresholds.over_dose_s, thresholds.over_off_s)
        self._spike = Lasting(0.0, thresholds.spike_off_s)
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        self._over.forget()
        self._spike.forget()
        self._allowed_a = 0.0
        self._peak_a = 0.0
        self._last_s = 0.0
        self._over_sign: tuple[Sign, ...] = ()
        self._spike_sign: tuple[Sign, ...] = ()

    def look(self, seen: Observation) -> tuple[Sign, ...]:
        """Over-current and spike, as of this reading."""
        t, at_s, current_a = self._t, seen.at_s, seen.current_a
        allowed_a = self._allowed(seen.before_a, at_s)
        limit_a = allowed_a * (1.0 + t.over_share) + t.over_least_a
        spike_a = allowed_a * (1.0 + t.spike_share) + t.spike_least_a
        over = self._over.taken(current_a / limit_a - 1.0, at_s)
        spikes = current_a > spike_a and at_s - seen.started_s >= t.spike_after_s
        spike = self._spike.seen(spikes, at_s)
        if not over and not spike:
            self._over_sign = self._spike_sign = ()
            return ()
        text = f"{current_a:.3f} A where at most {allowed_a:.3f} A is asked for"
        if not over:
            self._over_sign = ()
        elif not self._over_sign:
            self._over_sign = (Sign(OVER_CURRENT, text, figures_of(seen)),)
        if not spike:
            self._spike_sign = ()
        elif not self._spike_sign:
            self._spike_sign = (Sign(SPIKE, text, figures_of(seen)),)
        return self._over_sign + self._spike_sign

    def _allowed(self, before_a: float, at_s: float) -> float:
        """The greatest current that a slow supply may still give, A."""
        if before_a >= self._allowed_a:
            self._peak_a = self._allowed_a = before_a
        else:
            fallen_a = self._peak_a * (at_s - self._last_s) / self._t.come_down_s
            self._allowed_a = max(before_a, self._allowed_a - fallen_a)
            if self._allowed_a == before_a:
                self._peak_a = before_a
        self._last_s = at_s
        return self._allowed_a


class OffPlan:
    """Less current than was asked for, though it is not the voltage ceiling that holds it down."""

    def __init__(self, thresholds: Thresholds) -> None:
        self._t = thresholds
        self._below = Dose(thresholds.off_plan_dose_s, thresholds.off_plan_off_s)
        self._sign: tuple[Sign, ...] = ()

    def forget(self) -> None:
        """Begin anew."""
        self._below.forget()
        self._sign = ()

    def look(self, seen: Observation) -> tuple[Sign, ...]:
        """Current off the plan, as of this reading."""
        least_a = plan_floor_a(seen.set_current_a, self._t)
        below = 0.0
        if seen.current_a < least_a and at_ceiling(seen, self._t) is False:
            below = (least_a - seen.current_a) / least_a
        if not self._below.taken(below, seen.at_s):
            self._sign = ()
        elif not self._sign:
            text = f"{seen.current_a:.3f} A where {seen.set_current_a:.3f} A is asked for"
            if seen.voltage_v is not None:
                text += f", at {seen.voltage_v:.2f} V of {seen.ceiling_v:.2f} V"
            self._sign = (Sign(OFF_PLAN, text, figures_of(seen)),)
        return self._sign
