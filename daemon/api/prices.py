"""Prices as people write them: "12.50 EUR/kg", "4 USD/lb", "38 EUR/L". The currency is any word."""

import re
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass

from pydantic import BeforeValidator

from daemon.units import UnitError, parse

_PRICE = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*([^\s/0-9][^/]{0,11}?)\s*/\s*(\S.*)")


@dataclass(frozen=True, slots=True)
class Price:
    """So much of a currency for one of the unit: that of those it was asked in which fits."""

    amount: float
    currency: str
    unit: str


def price_in(*units: str) -> BeforeValidator:
    """A field's validator for a price by one of these units, such as "kg" or "L"."""
    return BeforeValidator(_reader(units))


def _reader(units: tuple[str, ...]) -> Callable[[object], Price]:
    def read(value: object) -> Price:
        found = _PRICE.fullmatch(value.strip()) if isinstance(value, str) else None
        if found is not None:
            for unit in units:
                with suppress(UnitError):
                    return Price(float(found[1]) / parse(f"1 {found[3]}", unit), found[2], unit)
        examples = " or ".join(f'"12.50 EUR/{unit}"' for unit in units)
        raise ValueError(f"expected a price such as {examples}, got {value!r}")

    return read


def one_currency(prices: Iterable[Price]) -> str:
    """The currency of all of them, "" if there are none. Raises ValueError for two."""
    currencies = sorted({price.currency for price in prices})
    if len(currencies) > 1:
        raise ValueError(f"must be in one currency, got {' and '.join(currencies)}")
    return currencies[0] if currencies else ""
