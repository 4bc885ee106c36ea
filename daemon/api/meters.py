"""What is said of the meters and thermometers: which counts, how far the others are, and ripple."""

from daemon.api.sentence import STALE_AFTER_S, duration
from daemon.api.socket.messages import MeterStatus, RippleStatus, Status, ThermometerStatus

WARMTH_STALE_AFTER_S = 60.0
"""Real s. A bath keeps its temperature for longer than a current lasts."""

RIPPLE_DEFINITION = (
    "rms of the alternating part, % of the mean current; "
    "peak to peak, the greatest less the least value, % of the mean current"
)
"""What the two figures of a ripple mean."""

TOO_SLOW = "not measured: read too slowly"


def is_silent(meter: MeterStatus, status: Status) -> bool:
    """Whether a meter's newest reading is too old to be shown as how the current is now."""
    return meter.age_s / status.rate > STALE_AFTER_S


def standing(meter: MeterStatus, status: Status) -> str:
    """What a meter is for, or how it stands to the one that counts."""
    if is_silent(meter, status):
        return f"silent for {duration(meter.age_s / status.rate)}"
    if meter.counts:
        return "counts"
    if meter.current_a is None:
        return "reads no current"
    apart_a = _apart_a(meter, status)
    if apart_a is None:
        return "nothing to compare with"
    way = "more" if apart_a > 0 else "less"
    said = f"{abs(apart_a):.3f} A {way}" if round(apart_a, 3) else "the same"
    if meter.explained_a is None:
        return said
    if abs(apart_a) > meter.explained_a:
        return f"{said}; their doubt explains only {meter.explained_a:.3f} A"
    return f"{said}; their doubt explains up to {meter.explained_a:.3f} A"


def agreement(status: Status) -> str:
    """All meters in a few words; worst news first."""
    counts = next((meter.name for meter in status.meters if meter.counts), None)
    if counts is None:
        return "the one that counts has not been read yet"
    silent = [meter.name for meter in status.meters if is_silent(meter, status)]
    if silent:
        return f"{counts} counts; {' and '.join(silent)} silent"
    apart = [meter.name for meter in status.meters if _disagrees(meter, status)]
    if apart:
        return f"{counts} counts; {' and '.join(apart)} off by more than their doubt"
    agreeing = [m.name for m in status.meters if m.explained_a is not None]
    if not agreeing:
        return f"{counts} counts"
    return f"{counts} counts; {' and '.join(agreeing)} agree{'s' if len(agreeing) == 1 else ''}"


def ripples(status: Status) -> dict[str, str]:
    """The ripple that each meter sees, by its name, while something plates.

    A meter that is read too slowly is named only where no other is looked at.
    """
    if status.state not in ("running", "restarting"):
        return {}
    heard = [m for m in status.meters if m.current_a is not None and not is_silent(m, status)]
    looked_at = [meter for meter in heard if meter.ripple is not None]
    return {m.name: ripple(m.ripple) for m in looked_at or [m for m in heard if m.counts]}


def ripple(look: RippleStatus | None) -> str:
    """A look at the ripple while something plates: both its figures, or why there are none."""
    if look is None:
        return TOO_SLOW
    if look.rms_percent is None or look.peak_to_peak_percent is None:
        return f"not measured: {look.not_measured}"
    return f"{look.rms_percent:.1f} % rms, {look.peak_to_peak_percent:.1f} % peak to peak"


def is_warmth_old(seen: ThermometerStatus, rate: float) -> bool:
    """Whether a temperature tells how warm it was, not how warm it is."""
    return seen.age_s / rate > WARMTH_STALE_AFTER_S


def temperature(seen: ThermometerStatus, rate: float) -> str:
    """A thermometer's newest reading, with its age where that matters."""
    old = f", {duration(seen.age_s / rate)} ago" if is_warmth_old(seen, rate) else ""
    return f"{seen.temperature_c:z.1f} °C{old}"


def _apart_a(meter: MeterStatus, status: Status) -> float | None:
    """How much more this meter reads than the counting one, A; None where that means nothing."""
    counting_a = next((other.current_a for other in status.meters if other.counts), None)
    if meter.counts or meter.current_a is None or counting_a is None:
        return None
    return meter.current_a - counting_a


def _disagrees(meter: MeterStatus, status: Status) -> bool:
    apart_a = _apart_a(meter, status)
    return (
        apart_a is not None and meter.explained_a is not None and (abs(apart_a) > meter.explained_a)
    )
