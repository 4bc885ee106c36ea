"""Mishaps that can be rehearsed, as people write them.

`short at 4:12`, `power cut at 3 h for 20 min`: times are from the run's start.
"""

import re
from dataclasses import dataclass

from daemon.api.errors import InputError
from daemon.units import UnitError, parse

PART_LOST = "part lost"
SHORT = "short"
WHISKER = "whisker"
BAD_CONTACT = "bad contact"
OPEN_CIRCUIT = "open circuit"
OUTPUT_DROPPED = "output dropped"
POWER_CUT = "power cut"

KINDS = (PART_LOST, SHORT, WHISKER, BAD_CONTACT, OPEN_CIRCUIT, OUTPUT_DROPPED, POWER_CUT)
"""By the names of the causes that they raise, and what raises none because nothing has power."""

WHERE = "mishap"

LASTS_S = 600.0
"""s that a power cut lasts where nobody says it."""

MOST = 8
"""Mishaps of one rehearsal."""

_WRITTEN = re.compile(r"\s*(?P<kind>.+?)\s+at\s+(?P<at>.+?)(?:\s+for\s+(?P<lasts>.+?))?\s*")
_CLOCK = re.compile(r"(\d{1,3}):([0-5]\d)")


@dataclass(frozen=True, slots=True)
class Mishap:
    """A kind, when it happens, s from the run's start, and how long a power cut lasts, s."""

    kind: str
    at_s: float
    lasts_s: float = LASTS_S


def read_mishap(text: str) -> Mishap:
    """Read one mishap. Raises `InputError`."""
    written = _WRITTEN.fullmatch(text)
    kinds = ", ".join(KINDS)
    if written is None or written["kind"].lower() not in KINDS:
        raise InputError(
            WHERE,
            (f'expected one of {kinds}, and when, such as "short at 4:12", got {text!r}',),
        )
    kind, lasts = written["kind"].lower(), written["lasts"]
    if lasts is not None and kind != POWER_CUT:
        raise InputError(WHERE, (f"how long goes with a {POWER_CUT} alone, got {text!r}",))
    at_s = _seconds(written["at"], text)
    return Mishap(kind, at_s, LASTS_S if lasts is None else _seconds(lasts, text))


def _seconds(text: str, whole: str) -> float:
    clock = _CLOCK.fullmatch(text)
    if clock is not None:
        seconds = 3600.0 * int(clock[1]) + 60.0 * int(clock[2])
    else:
        try:
            seconds = parse(text, "s")
        except UnitError as error:
            raise InputError(WHERE, (f"{whole!r}: {error}",)) from error
    if seconds <= 0:
        raise InputError(WHERE, (f"{whole!r}: must be after the start, got {text}",))
    return seconds


def usual_mishaps(duration_s: float) -> tuple[Mishap, ...]:
    """What is shown where nobody names any: in the middle of the run and thereafter."""
    return (
        Mishap(PART_LOST, duration_s * 0.4),
        Mishap(SHORT, duration_s * 0.55),
        Mishap(POWER_CUT, duration_s * 0.7),
    )


def read_mishaps(texts: tuple[str, ...]) -> tuple[Mishap, ...]:
    """Read several. Raises `InputError`, for more than `MOST` too."""
    if len(texts) > MOST:
        raise InputError(WHERE, (f"at most {MOST} are rehearsed at once, got {len(texts)}",))
    return tuple(read_mishap(text) for text in texts)
