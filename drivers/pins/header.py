"""Which of the Pi's pins may do what, by how they stand before any program has set them.

Numbers are those of the chip (GPIO17 is 17), not those of the header's plug.
"""

PULLED_UP = range(9)
"""GPIO 0 to 8 are pulled up from power-on, 9 to 27 down (BCM2835 ARM Peripherals, p. 102; the same
on later models, from memory, not checked)."""

PULLED_DOWN = range(9, 28)

MOVED_BY_OTHERS = frozenset({9, 10, 11, 12, 13, 14, 15, 18, 19})
"""SPI, the serial console, PWM and digital audio: the kernel or firmware may move these by itself,
the console at every boot."""

BUSES = frozenset({0, 1, 2, 3, 4, 7, 8})
"""Among those that are pulled up: the buses that the firmware asks for boards with (0, 1) and that
meters and thermometers hang on (I²C on 2 and 3, 1-Wire on 4), and SPI's selects (7, 8)."""


def heartbeat_refusal(pin: int) -> str | None:
    """Why `pin` cannot carry the heartbeat; None if it can."""
    return _low_output_refusal(pin, "the heartbeat")


def pump_refusal(pin: int) -> str | None:
    """Why `pin` cannot carry a dosing pump's line; None if it can."""
    return _low_output_refusal(pin, "a dosing pump")


def signal_refusal(pin: int, *, active_high: bool) -> str | None:
    """Why `pin` cannot drive a beacon or siren that is on at this level; None if it can.

    From power-on until tankhand has the pin, its pull has to keep the signal off: down for one that
    is on at the high level, up for one that is on at the low level.
    """
    if active_high:
        return _low_output_refusal(pin, "a signal that is on at the high level")
    allowed = [each for each in PULLED_UP if each not in BUSES]
    if pin in allowed:
        return None
    if pin in PULLED_DOWN:
        why = "is pulled down from power-on, so that the signal would be on while the Pi boots"
    elif pin in BUSES:
        why = "may be moved by I²C, 1-Wire or SPI"
    else:
        why = "is not on the header"
    return _refusal(pin, why, "a signal that is on at the low level", allowed)


def contact_refusal(pin: int) -> str | None:
    """Why no contact can be read at `pin`; None if one can."""
    if pin in PULLED_DOWN:
        return None
    first, last = PULLED_DOWN[0], PULLED_DOWN[-1]
    why = "is not on the header"
    if pin in PULLED_UP:
        why = "is pulled up from power-on, so that a broken wire would read closed"
    return f"GPIO{pin} {why}; allowed for a contact: {first} to {last}"


def _low_output_refusal(pin: int, what: str) -> str | None:
    """Why `pin` cannot be an output that has to be low until it is asked for; None if it can."""
    allowed = [each for each in PULLED_DOWN if each not in MOVED_BY_OTHERS]
    if pin in allowed:
        return None
    if pin in PULLED_UP:
        why = "is pulled up from power-on"
    elif pin in MOVED_BY_OTHERS:
        why = "may be moved by SPI, the serial console, PWM or audio"
    else:
        why = "is not on the header"
    return _refusal(pin, why, what, allowed)


def _refusal(pin: int, why: str, what: str, allowed: list[int]) -> str:
    return f"GPIO{pin} {why}; allowed for {what}: {', '.join(map(str, allowed))}"
