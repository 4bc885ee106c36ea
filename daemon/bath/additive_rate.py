"""Which rate a log of additions amounts to, and how sure that is.

Whoever adds an additive whenever the deposit turns dull adds each time what is then used up until
it turns dull again. So the charge from the first such addition to the last has used all of them but
the last. What a new bath got, and the charge until it was first dull, say nothing: how much of the
make-up is left when the deposit turns dull is not known.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from daemon.bath import dosing, kinds
from daemon.bath.book import Book
from daemon.chemistry.student import student_factor

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Addition:
    """So much was added, mL, when the bath had seen so much charge, A·h."""

    charge_ah: float
    amount_ml: float


@dataclass(frozen=True, slots=True)
class RateFound:
    """A rate from a log, mL/kAh, over so many intervals and so much charge.

    u_ml_kah: its standard uncertainty by the intervals' scatter, None with fewer than two of them.
    """

    rate_ml_kah: float
    u_ml_kah: float | None
    intervals: int
    charge_ah: float

    @property
    def expanded_ml_kah(self) -> float | None:
        """Half the width of the interval with 95 %: JCGM 100:2008, G.3.2, with Student's t."""
        if self.u_ml_kah is None:
            return None
        return self.u_ml_kah * student_factor(CONFIDENCE, self.intervals - 1)


def rate_of(additions: Sequence[Addition]) -> RateFound | None:
    """The rate that a log of additions amounts to; None where no charge lies between two of them.

    Additions at the same charge are one. The rate is the sum of what was added, but for the last,
    over the charge between the first and the last (the estimate of a ratio by sums). Its standard
    uncertainty is that of n intervals which scatter around it: with r the rate, a what was added
    and q the charge of its interval, u² = Σ(a - r·q)² / (n·(n - 1)) / mean(q)², the usual variance
    of a ratio of sums (Cochran, Sampling Techniques, 2.11; from memory, not checked).
    """
    ordered = _merged(additions)
    charges_ah = [after.charge_ah - each.charge_ah for each, after in pairwise(ordered)]
    if not charges_ah:
        return None
    amounts_ml = [each.amount_ml for each in ordered[:-1]]
    charge_ah = math.fsum(charges_ah)
    per_ah = math.fsum(amounts_ml) / charge_ah
    n = len(charges_ah)
    u = None
    if n > 1:
        off = (a - per_ah * q for a, q in zip(amounts_ml, charges_ah, strict=True))
        u = math.sqrt(math.fsum(x * x for x in off) / (n * (n - 1))) / (charge_ah / n)
    in_kah = dosing.AH_IN_KAH
    return RateFound(per_ah * in_kah, None if u is None else u * in_kah, n, charge_ah)


def rates_found(book: Book) -> dict[str, RateFound]:
    """By additive the rate that the book's doses amount to, since its level was last set."""
    found = {}
    for name in book.description.additive_names:
        begin_ms = dosing.begun_utc_ms(book, name, book.utc_ms)
        rate = rate_of([
            Addition(book.charge_at_ah(each.at_utc_ms), each.amounts[name])
            for each in book.holding
            if each.kind == kinds.DOSE and name in each.amounts and each.at_utc_ms > begin_ms
        ])  # fmt: skip
        if rate is not None:
            found[name] = rate
    return found


def _merged(additions: Sequence[Addition]) -> list[Addition]:
    """In order of charge, those at the same charge together."""
    found: list[Addition] = []
    for each in sorted(additions, key=lambda addition: addition.charge_ah):
        if found and found[-1].charge_ah == each.charge_ah:
            found[-1] = Addition(each.charge_ah, found[-1].amount_ml + each.amount_ml)
        else:
            found.append(each)
    return found
