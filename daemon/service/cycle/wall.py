"""Watches the wall clock against the monotonic one: a step of it is an event, never a duration."""

from datetime import datetime

STEP_LIMIT_S = 0.5
"""s. A wall clock that is slewed drifts by at most 0.5 ms a second; a jump of more is a step."""


class WallWatch:
    """Remembers how the two clocks stood to each other."""

    def __init__(self) -> None:
        self._offset_s: float | None = None

    def stepped_s(self, monotonic_s: float, utc: datetime) -> float | None:
        """By how much the wall clock was set since the last call, s; None if it was not."""
        offset_s = utc.timestamp() - monotonic_s
        before_s, self._offset_s = self._offset_s, offset_s
        if before_s is None or abs(offset_s - before_s) <= STEP_LIMIT_S:
            return None
        return offset_s - before_s
