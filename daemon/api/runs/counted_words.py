"""What counted a run and how its readings were corrected, in words."""

from datetime import UTC, datetime

from daemon.record.calibrations import Calibration
from daemon.record.entries import CountedBy


def counted_by(by: CountedBy, calibration: Calibration | None) -> str:
    """The meter, what was done with each reading, and by which calibration.

    `shunt; current = (reading - 0.004 A) / 1.01, by calibration 3 of 2026-03-01`.
    """
    if (by.gain, by.offset_a) == (1.0, 0.0):
        return f"{by.meter}; readings as they came{_by(calibration)}"
    sign = "+" if by.offset_a < 0 else "-"
    line = f"(reading {sign} {abs(by.offset_a):.6g} A) / {by.gain:.6g}"
    return f"{by.meter}; current = {line}{_by(calibration)}"


def _by(calibration: Calibration | None) -> str:
    if calibration is None:
        return ""
    made = datetime.fromtimestamp(calibration.made.utc_ms / 1000, UTC)
    return f", by calibration {calibration.id} of {made:%Y-%m-%d}"
