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

_AROUND = re.compile(r"^\s*(?:±|\+/-|\+-)?\s*(\(?)(.*?)(\)?)\s*$", re.DOTALL)
_OF = re.compile(r"(.+?)\s+of\s+(?:the\s+)?(.+)")
_OF_READING = {"reading", "value", "rdg"}
_NUMBER = re.compile(r"\s*([+-]?[0-9.]+)\s*(.*?)\s*$", re.DOTALL)


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
    found = _NUMBER.match(text)
    number, unit = found.groups() if found else (text, "")
    try:
        current_a = parse(f"{number} {unit or 'A'}", "A")
        digit = Decimal(1).scaleb(int(Decimal(number).as_tuple().exponent))
        digit_a = parse(f"{digit:f} {unit or 'A'}", "A")
    except UnitError as error:
        raise InputError("what the reference shows", (str(error),)) from error
    return current_a, rectangular(abs(digit_a) / 2)


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
    return InputError("the reference's class", (f"{wanted}, got {text[:80]!r}: {why}",))
