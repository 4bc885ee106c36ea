"""What people write about a reference ammeter: its class, and what it shows.

A class is "0.5 %" of what is read, "0.5 % of 10 A" of a range, "3 mA", or a sum of such terms as in
"± (0.5 % + 3 mA)". What it shows is a current as it stands there, each digit of it.
"""

import re
from decimal import Decimal
from functools import reduce

from daemon.api.errors import InputError
from daemon.chemistry.calibration import ReferenceClass
from daemon.chemistry.uncertainty import rectangular
from daemon.units import UnitError, parse

_SHOWS = "what the reference shows"
_AROUND = re.compile(r"^\s*(?:±|\+/-|\+-)?\s*(\(?)(.*?)(\)?)\s*$", re.DOTALL)
_OF = re.compile(r"(.+?)\s+of\s+(?:the\s+)?(.+)")
_OF_READING = {"reading", "value", "rdg"}
_DIGITS = re.compile(r"digit|dgt|count|lsd", re.IGNORECASE)
_SHOWN = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))\s*([^\W\d_]*)\s*")

NO_REFERENCE, NO_CLASS = "none, the output was off", "0 A"
"""What stands for the reference of a zero, which is known without one."""


def read_class(text: str) -> ReferenceClass:
    """Read a reference's class, see above. Raises InputError with what came and what would do."""
    around = _AROUND.match(text)
    if around is None or bool(around[1]) != bool(around[3]) or not around[2].strip():
        raise _refused(text, "not a class")
    terms = [_term(term.strip(), text) for term in around[2].split("+")]
    return reduce(_sum, terms)


def read_shown(text: str) -> tuple[float, float]:
    """Read what a reference shows: the current, A, and its uncertainty for want of digits, A.

    A bare number is in A. The last digit stands for all that lies within ± half of it, as likely
    everywhere (JCGM 100, F.2.2.1). Raises InputError.
    """
    found = _SHOWN.fullmatch(text)
    if found is None:
        raise _not_shown(text)
    number, unit = found.groups()
    try:
        current_a = parse(f"{number} {unit or 'A'}", "A")
        digit = Decimal(1).scaleb(int(Decimal(number).as_tuple().exponent))
        digit_a = parse(f"{digit:f} {unit or 'A'}", "A")
    except UnitError as error:
        raise InputError(_SHOWS, (str(error),)) from error
    return current_a, rectangular(digit_a / 2)


def _not_shown(text: str) -> InputError:
    hint = ": a decimal comma where a point belongs" if "," in text else ""
    wanted = 'expected a current such as "2.500" (in A) or "2500 mA"'
    return InputError(_SHOWS, (f"{wanted}, got {text[:80]!r}{hint}",))


def _term(term: str, text: str) -> ReferenceClass:
    """One term of a class: of a range or of the reading, or a current."""
    of = _OF.fullmatch(term)
    try:
        if of is not None and of[2] not in _OF_READING:
            return ReferenceClass(offset_a=_share(of[1], text) * parse(of[2], "A"))
        share = of[1] if of is not None else term
        if "%" in share or "ppm" in share:
            return ReferenceClass(gain=_share(share, text))
        return ReferenceClass(offset_a=parse(term, "A"))
    except UnitError as error:
        raise _refused(text, str(error)) from error
    except ValueError as error:  # below 0
        raise _refused(text, str(error)) from error


def _share(term: str, text: str) -> float:
    if "%" not in term and "ppm" not in term:
        raise _refused(text, f"{term!r} is no share: % or ppm is wanted")
    return parse(term, "")


def _sum(a: ReferenceClass, b: ReferenceClass) -> ReferenceClass:
    return ReferenceClass(a.gain + b.gain, a.offset_a + b.offset_a)


def _refused(text: str, why: str) -> InputError:
    wanted = 'expected "0.5 %", "0.5 % of 10 A", "3 mA", or a sum such as "± (0.5 % + 3 mA)"'
    if _DIGITS.search(text):
        why = "digits are to be given as the current they stand for: 3 digits of 1 mA are 3 mA"
    return InputError("the reference's class", (f"{wanted}, got {text[:80]!r}: {why}",))
