"""One point of a comparison: what a meter of the daemon's reads, averaged over some seconds."""

from collections.abc import Callable
from dataclasses import dataclass

from daemon.api.socket.messages import MeterStatus, Status
from daemon.chemistry.calibration import Point, mean_reading

LOOK_EVERY_S = 0.1
"""Real s between two looks: as often as readings come, by default."""

PATIENCE = 3.0
PATIENCE_MORE_S = 5.0
"""A point may take this many times as long as it is wanted to, and this much, in real s."""

SAME_S = 1e-4
"""s. A reading's moment comes out this much different at two looks at most; readings are further
apart."""


class NoPointError(Exception):
    """No point could be taken: says why, in one line."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A meter's readings over some seconds: mean and its standard uncertainty, A, and their number.

    `output_on` is what the supply was told: with the output off the current is 0 A.
    """

    reading_a: float
    u_reading_a: float
    readings: int
    output_on: bool

    def point(self, shown: tuple[float, float]) -> Point:
        """The point with what the reference shows and the uncertainty of that, both A.

        With the output off the reference is not asked.
        """
        reference_a, u_reference_a = shown if self.output_on else (0.0, 0.0)
        return Point(self.reading_a, self.u_reading_a, reference_a, u_reference_a)


def take(
    status: Callable[[], Status],
    meter: str,
    seconds: float,
    pause: Callable[[float], None],
) -> Taken:
    """Average the uncorrected readings of a meter over `seconds` of the daemon's time.

    `status` asks the daemon, `pause` waits for so many real seconds. Each reading counts once,
    however often it is looked at. Raises NoPointError: no such meter, no new readings, or the
    output was switched meanwhile; and whatever `status` raises.
    """
    first = status()
    began_s = newest_s = first.monotonic_s
    readings_a: list[float] = []
    looks = int((PATIENCE * seconds + PATIENCE_MORE_S) / LOOK_EVERY_S)
    for _ in range(looks):
        pause(LOOK_EVERY_S)
        now = status()
        if now.output_on != first.output_on:
            raise NoPointError("the output was switched while the readings were taken")
        seen = _meter(now, meter)
        read_s = now.monotonic_s - seen.age_s
        if seen.raw_current_a is not None and read_s > newest_s + SAME_S:
            newest_s = read_s
            readings_a.append(seen.raw_current_a)
        if len(readings_a) > 1 and now.monotonic_s - began_s >= seconds:
            mean_a, u_a = mean_reading(readings_a)
            return Taken(mean_a, u_a, len(readings_a), first.output_on)
    raise NoPointError(
        f"{meter} gave {len(readings_a)} new readings in {looks * LOOK_EVERY_S:.0f} s; "
        "2 at least are wanted"
    )


def _meter(status: Status, name: str) -> MeterStatus:
    for meter in status.meters:
        if meter.name == name:
            return meter
    names = ", ".join(meter.name for meter in status.meters) or "none"
    raise NoPointError(f"no meter is called {name!r}; meters that have been read: {names}")
