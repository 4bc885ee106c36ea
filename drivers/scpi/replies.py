"""What a supply's replies mean. Pure: bytes in, a value or `GarbledReplyError` out.

Number forms NR1, NR2 and NR3 and the suffix rules are those of IEEE 488.2, the two values that
stand for "not a number" and "infinity" those of SCPI-99 (from memory, not checked).
"""

import re
from collections.abc import Callable
from typing import Literal

from drivers.errors import GarbledReplyError

Units = Literal["never", "always", "maybe"]

_NUMBER = rb"([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)"
_SUFFIX = {"never": rb"()", "always": rb"\s*([mM]?%b)", "maybe": rb"(?:\s*([mM]?%b))?"}
_INTEGER = re.compile(rb"\s*([+-]?[0-9]{1,10})\s*")
_ERROR = re.compile(rb"\s*([+-]?[0-9]{1,10})\s*(?:[,\s](.*))?", re.DOTALL)
_SWITCH = {b"1": True, b"+1": True, b"ON": True, b"0": False, b"+0": False, b"OFF": False}

_NOT_A_VALUE = 9.9e37
"""From here on a magnitude is no measurement: SCPI-99 answers 9.9E37 for infinity (either sign)
and 9.91E37 for "not a number"."""

_SHOWN_BYTES = 60


def shown(reply: bytes) -> str:
    """A reply as an error message shows it: printable, and not longer than a line."""
    tail = f"... ({len(reply)} bytes)" if len(reply) > _SHOWN_BYTES else ""
    return f"{reply[:_SHOWN_BYTES]!r}{tail}"


def number_parser(unit: Literal["A", "V"], units: Units) -> Callable[[bytes], float]:
    """A function that takes a whole reply for one number, in amperes or volts.

    `units` tells whether the reply carries its unit ("12.3A", "850 mA"); a wrong unit is refused,
    and so are the values that stand for infinity and for "not a number".
    """
    letter = b"[%b%b]" % (unit.encode(), unit.lower().encode())
    suffix = _SUFFIX[units] if units == "never" else _SUFFIX[units] % letter
    pattern = re.compile(rb"\s*" + _NUMBER + suffix + rb"\s*")
    form = {
        "never": "a number",
        "always": f"a number and {unit}",
        "maybe": f"a number, maybe {unit}",
    }

    def parse(reply: bytes) -> float:
        match = pattern.fullmatch(reply)
        if match is None:
            raise GarbledReplyError(f"expected {form[units]}, got {shown(reply)}")
        value = float(match[1])
        if not -_NOT_A_VALUE < value < _NOT_A_VALUE:
            raise GarbledReplyError(f"the supply measured no value: it answered {shown(reply)}")
        if match[2] and len(match[2]) == 2:
            # In a suffix M stands for milli in either case, save before Hz and Ohm.
            value /= 1000
        return value

    return parse


def pair_parser(
    current: Callable[[bytes], float],
    voltage: Callable[[bytes], float],
    separator: str,
    *,
    voltage_first: bool,
) -> Callable[[bytes], tuple[float, float]]:
    """A function that takes a reply for current and voltage, and gives them in this order."""
    mark = separator.encode()

    def parse(reply: bytes) -> tuple[float, float]:
        fields = reply.split(mark)
        if len(fields) != 2:
            raise GarbledReplyError(
                f"expected two numbers with {separator!r} between them, got {shown(reply)}"
            )
        if voltage_first:
            fields.reverse()
        return current(fields[0]), voltage(fields[1])

    return parse


def parse_switch(reply: bytes) -> bool:
    """Whether the output is on: 1, +1 or ON; 0, +0 or OFF."""
    state = _SWITCH.get(reply.strip().upper())
    if state is None:
        raise GarbledReplyError(f"expected 1, 0, ON or OFF, got {shown(reply)}")
    return state


def parse_status(reply: bytes) -> int:
    """A status register, at least 0."""
    match = _INTEGER.fullmatch(reply)
    if match is None or int(match[1]) < 0:
        raise GarbledReplyError(f"expected a whole number of at least 0, got {shown(reply)}")
    return int(match[1])


def parse_error(reply: bytes) -> tuple[int, str]:
    """One entry of the error queue: its number, 0 for "no error", and the whole entry as text."""
    match = _ERROR.fullmatch(reply)
    if match is None:
        raise GarbledReplyError(f"expected an error's number and text, got {shown(reply)}")
    return int(match[1]), reply.decode("ascii", "backslashreplace").strip()
