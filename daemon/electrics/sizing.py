"""Which supply, shunt, fuse and wire a plating current wants, and what they come to.

Each choice is the smallest that keeps its rule; the rules are constants below, each with where it
comes from.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from daemon.electrics.conductors import CONDUCTORS, HOTTEST_C, Conductor

RESERVE = 0.8
"""Of its rated current a supply or fuse carries for days (common practice)."""

SHUNT_SHARE = 2 / 3
"""Of its rated current a shunt carries without a break (common practice)."""

WIRE_SHARE = 0.7
"""Of its ampacity a wire gets, for a warm room, neighbours and nights (common practice)."""

SHUNTS_A: Sequence[float] = (1, 1.5, 2.5, 5, 10, 15, 20, 30, 50, 75, 100, 150, 200)
"""A. Usual ratings of shunts (common practice)."""

SHUNT_RATED_V = 0.075
"""V at a shunt's rated current: 50, 60, 75 and 100 mV are usual (common practice)."""

FUSES_A: Sequence[float] = (
    1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8, 10, 12.5, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125,
    160,
)  # fmt: skip
"""A. The R 10 series of ISO 3, with 3.15 and 32 as makers round it (common practice)."""

CONTACT_OHM = 0.002
"""Ω. A contactor's main contact and its terminals together, with some age (common practice)."""


class TooLargeError(ValueError):
    """The current is beyond what the tables hold: `what` says of which part."""


@dataclass(frozen=True, slots=True)
class Sizes:
    """What a circuit of `current_a` wants.

    supply_a, supply_v: what the supply is rated for at least, A and V. shunt_a: the shunt's rated
    current, A; shunt_v and shunt_w: voltage and heat at it, V and W. fuse_a: its rated current, A.
    wire: the core; wire_v and wire_w: what there and back lose at 70 °C, V and W. contact_w: the
    heat of the contactor's contact, W. wire_because: which rule made the wire as thick as it is.
    """

    current_a: float
    supply_a: float
    supply_v: float
    shunt_a: float
    shunt_v: float
    shunt_w: float
    fuse_a: float
    wire: Conductor
    wire_v: float
    wire_w: float
    contact_w: float
    wire_because: str


def size(current_a: float, ceiling_v: float, length_m: float, greatest_drop_v: float) -> Sizes:
    """What a plating current of `current_a`, A, wants at most `ceiling_v`, V, at the cell.

    length_m: one way from supply to tank, m. greatest_drop_v: what the wire may lose there and
    back, V. All above 0. Raises TooLargeError.
    """
    shunt_a = _at_least(SHUNTS_A, current_a / SHUNT_SHARE, "shunt")
    fuse_a = _at_least(FUSES_A, current_a / RESERVE, "fuse")
    wire, because = _wire(current_a, fuse_a, length_m, greatest_drop_v)
    shunt_v = SHUNT_RATED_V * current_a / shunt_a
    wire_v = current_a * wire.resistance_ohm(2 * length_m, HOTTEST_C)
    return Sizes(
        current_a=current_a,
        supply_a=current_a / RESERVE,
        supply_v=ceiling_v + wire_v + shunt_v + CONTACT_OHM * current_a,
        shunt_a=shunt_a,
        shunt_v=shunt_v,
        shunt_w=shunt_v * current_a,
        fuse_a=fuse_a,
        wire=wire,
        wire_v=wire_v,
        wire_w=wire_v * current_a,
        contact_w=CONTACT_OHM * current_a**2,
        wire_because=because,
    )


def _at_least(ratings: Sequence[float], least_a: float, what: str) -> float:
    # A current that was divided by a share and meant to fit exactly does.
    found = next((each for each in ratings if each >= least_a * (1 - 1e-9)), None)
    if found is None:
        raise TooLargeError(
            f"a {what} of at least {least_a:.4g} A is wanted; the tables end at {ratings[-1]:g} A"
        )
    return found


def _wire(
    current_a: float, fuse_a: float, length_m: float, greatest_drop_v: float
) -> tuple[Conductor, str]:
    """The thinnest wire that its fuse protects and that loses little enough; why not a thinner."""
    protected = [each for each in CONDUCTORS if WIRE_SHARE * each.ampacity_a >= fuse_a]
    if not protected:
        raise TooLargeError(
            f"no wire of the tables is protected by a fuse of {fuse_a:g} A; the thickest, "
            f"{CONDUCTORS[-1].area_mm2:g} mm², bears {WIRE_SHARE * CONDUCTORS[-1].ampacity_a:.3g} A"
        )
    for each in protected:
        drop_v = current_a * each.resistance_ohm(2 * length_m, HOTTEST_C)
        if drop_v <= greatest_drop_v:
            return each, "the fuse" if each is protected[0] else "the voltage that it may lose"
    raise TooLargeError(
        f"over {length_m:g} m each way even {CONDUCTORS[-1].area_mm2:g} mm² loses {drop_v:.3g} V, "
        f"and {greatest_drop_v:g} V is allowed: bring the supply closer to the tank"
    )
