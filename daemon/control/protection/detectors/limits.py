"""What the electrical detectors ask of a reading in the same words. Pure."""

from daemon.control.protection.alarms import Figures
from daemon.control.protection.detectors.observation import Observation
from daemon.control.protection.detectors.thresholds import Thresholds
from drivers.contracts import Mode


def at_ceiling(seen: Observation, thresholds: Thresholds) -> bool | None:
    """Whether the supply holds the voltage and not the current; None if nothing tells."""
    if seen.mode is Mode.CONSTANT_VOLTAGE:
        return True
    if seen.voltage_v is None:
        return None if seen.mode is None else False
    return seen.voltage_v >= (
        seen.ceiling_v * (1.0 - thresholds.ceiling_share) - thresholds.ceiling_least_v
    )


def plan_floor_a(set_current_a: float, thresholds: Thresholds) -> float:
    """The least current, A, that is as good as what was asked for; 0 or less if any is."""
    return set_current_a * (1.0 - thresholds.off_plan_share) - thresholds.off_plan_least_a


def figures_of(seen: Observation) -> Figures:
    """The reading's figures for an alarm: current and set-point in A, voltage in V."""
    return {
        "current_a": seen.current_a,
        "voltage_v": seen.voltage_v,
        "set_current_a": seen.set_current_a,
    }
