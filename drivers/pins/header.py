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


def heartbeat_refusal(pin: int) -> str | None:
    """Why `pin` cannot carry the heartbeat; None if it can."""
    allowed = [each for each in PULLED_DOWN if each not in MOVED_BY_OTHERS]
    if pin in allowed:
        return None
    if pin in PULLED_UP:
        why = "is pulled up from power-on"
    elif pin in MOVED_BY_OTHERS:
        why = "may be moved by SPI, the serial console, PWM or audio"
    else:
        why = "is not on the header"
    return f"GPIO{pin} {why}; allowed for the heartbeat: {', '.join(map(str, allowed))}"


def contact_refusal(pin: int) -> str | None:
    """Why no contact can be read at `pin`; None if one can."""
    if pin in PULLED_DOWN:
        return None
    first, last = PULLED_DOWN[0], PULLED_DOWN[-1]
    why = "is not on the header"
    if pin in PULLED_UP:
        why = "is pulled up from power-on, so that a broken wire would read closed"
    return f"GPIO{pin} {why}; allowed for a contact: {first} to {last}"
