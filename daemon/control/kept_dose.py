"""That a pump is kept from a dose that is owed: told once for each reason, and no more. Pure.

Somebody has to see to it, or the bath goes without for the rest of the night. It is no alarm: the
run is not in danger, and what it needs can wait until morning.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from daemon.control.dosing_pump import Hindrance
from daemon.control.notices import DOSE_KEPT, DOSE_OWED_NO_MORE
from daemon.control.situation import Event

SETTLE_S = 10.0
"""s for which a reason has to stand before it is told. A wave passes, and so does the moment in
which a pin has not been looked at yet."""


@dataclass(frozen=True, slots=True)
class KeptDose:
    """A dose that is owed and not given.

    number: counts what was told of this pump since the daemon's start. since_s, since_utc_ms: when
    it began, on either clock. owed_ml: how much was owed when it was told. words: what keeps it.
    """

    additive: str
    number: int
    since_s: float
    since_utc_ms: int
    owed_ml: float
    words: str


@dataclass(frozen=True, slots=True)
class Keeping:
    """What is remembered of one pump.

    about: what keeps it from a dose now, since since_s; empty while nothing does. told: by what
    they were about, the reasons told since a dose was given last. number: the last that was told.
    kept: what is told and still so.
    """

    about: str = ""
    since_s: float = 0.0
    since_utc_ms: int = 0
    told: Mapping[str, KeptDose] = field(default_factory=dict)
    number: int = 0
    kept: KeptDose | None = None


@dataclass(frozen=True, slots=True)
class KeptLook:
    """What there is to know at a tick.

    hindrance: why no dose is under way. answered: nothing is owed any more, or a whole dose was
    given. run: one is under way, or was stopped by an alarm; without one no dose is missed.
    """

    now_s: float
    utc_ms: int
    owed_ml: float
    hindrance: Hindrance | None
    answered: bool
    run: bool


def look(before: Keeping, additive: str, seen: KeptLook) -> tuple[Keeping, Event | None]:
    """One more look, and the event if there is something to tell. `seen.now_s` never runs back."""
    if seen.answered or not seen.run:
        over = None
        if seen.answered and before.told:
            text = f"the pump of {additive} is kept from no dose any more"
            over = Event(DOSE_OWED_NO_MORE, text, {"additive": additive})
        return Keeping(number=before.number), over
    if seen.hindrance is None or seen.hindrance.passes:
        return replace(before, about="", kept=None), None
    about = seen.hindrance.about
    if about != before.about:
        before = replace(
            before, about=about, since_s=seen.now_s, since_utc_ms=seen.utc_ms, kept=None
        )
    if before.kept is not None or seen.now_s - before.since_s < SETTLE_S:
        return before, None
    if about in before.told:
        # It was so already, and has been told: what waits for somebody is shown again.
        return replace(before, kept=before.told[about]), None
    kept = KeptDose(
        additive,
        before.number + 1,
        before.since_s,
        before.since_utc_ms,
        seen.owed_ml,
        seen.hindrance.words,
    )
    text = f"{seen.owed_ml:.3g} mL of {additive} are owed and not given: {kept.words}"
    told = {**before.told, about: kept}
    return (
        replace(before, told=told, number=kept.number, kept=kept),
        Event(DOSE_KEPT, text, {"additive": additive, "owed_ml": seen.owed_ml}),
    )
