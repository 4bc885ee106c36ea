import pytest

from daemon.api.prices import Price, one_currency, price_in


def read(text, *units):
    return price_in(*units).func(text)


@pytest.mark.parametrize(
    ("text", "units", "amount", "currency", "unit"),
    [
        ("12.50 EUR/kg", ("kg",), 12.5, "EUR", "kg"),
        ("4 USD/lb", ("kg",), 4 / 0.45359237, "USD", "kg"),  # the pound, by definition
        ("20 $/gal", ("L",), 20 / 3.785411784, "$", "L"),  # the US gallon, by definition
        ("3 EUR/L", ("L", "kg"), 3.0, "EUR", "L"),
        ("3 EUR/kg", ("L", "kg"), 3.0, "EUR", "kg"),
    ],
)
def test_a_price_by_the_unit_that_fits(text, units, amount, currency, unit):
    assert read(text, *units) == Price(pytest.approx(amount), currency, unit)


@pytest.mark.parametrize("text", ["12.50", "12.50 EUR", "EUR 12/kg", "12 EUR/m", "-1 EUR/kg", 5])
def test_what_is_no_price_is_refused(text):
    with pytest.raises(ValueError, match="expected a price such as") as refused:
        read(text, "L", "kg")
    assert '"12.50 EUR/L" or "12.50 EUR/kg"' in str(refused.value)


def test_prices_of_one_currency_can_be_added():
    euros = Price(1, "EUR", "kg")
    assert one_currency([]) == ""
    assert one_currency([euros, Price(2, "EUR", "L")]) == "EUR"
    with pytest.raises(ValueError, match="must be in one currency, got EUR and USD"):
        one_currency([Price(2, "USD", "L"), euros])
