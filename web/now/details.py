"""What is behind the figures, for those who open it: why a thickness is no surer; every meter."""

from dataclasses import dataclass

from daemon.api import meters
from daemon.api.meters import RIPPLE_DEFINITION
from daemon.api.runs.causes import Cause, causes
from daemon.api.socket.messages import MeterStatus, Status
from web.typography import UNKNOWN
from web.units import in_units


@dataclass(frozen=True, slots=True)
class MeterLine:
    """One meter, in words: its current in A, how it stands to the one that counts, its ripple.

    `ripple` is None where there is none to tell.
    """

    name: str
    current: str
    standing: str
    ripple: str | None


@dataclass(frozen=True, slots=True)
class Details:
    """Causes of doubt, biggest first; the meters, where there are several.

    `ripple` tells that of the only meter, where there is one alone and something plates.
    """

    causes: tuple[Cause, ...]
    meters: tuple[MeterLine, ...]
    ripple: str | None
    definition: str = RIPPLE_DEFINITION


def details_of(status: Status) -> Details:
    """Put what is behind the figures into words."""
    ripples = meters.ripples(status)
    lines = tuple(
        _line(meter, status, ripples.get(meter.name))
        for meter in sorted(status.meters, key=lambda meter: not meter.counts)
    )
    found = causes(status.run) if status.run else ()
    if len(lines) > 1:
        return Details(found, lines, None)
    return Details(found, (), next(iter(ripples.values()), None))


def _line(meter: MeterStatus, status: Status, ripple: str | None) -> MeterLine:
    known = meter.current_a is not None and not meters.is_silent(meter, status)
    current = f"{meter.current_a:z.3f}" if known else UNKNOWN
    return MeterLine(meter.name, current, in_units(meters.standing(meter, status)), ripple)
