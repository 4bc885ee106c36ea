"""The detectors that need to learn little or nothing of the cell. Pure."""

from daemon.control.protection.electrical_circuit import NoCurrent, Short, VoltageCeiling
from daemon.control.protection.electrical_current import OffPlan, OverCurrent
from daemon.control.protection.electrical_meter import ReadingFrozen
from daemon.control.protection.observation import Detector
from daemon.control.protection.thresholds import Thresholds


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
