"""The detectors that need to learn little or nothing of the cell. Pure."""

from daemon.control.protection.detectors.circuit import NoCurrent, Short, VoltageCeiling
from daemon.control.protection.detectors.current import OffPlan, OverCurrent
from daemon.control.protection.detectors.meter import ReadingFrozen
from daemon.control.protection.detectors.observation import Detector
from daemon.control.protection.detectors.thresholds import Thresholds


def electrical_detectors(thresholds: Thresholds) -> tuple[Detector, ...]:
    """One of each, for one tank."""
    return (
        Short(thresholds),
        OverCurrent(thresholds),
        NoCurrent(thresholds),
        OffPlan(thresholds),
        VoltageCeiling(thresholds),
        ReadingFrozen(thresholds),
    )
