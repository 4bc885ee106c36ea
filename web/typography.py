"""How words and figures are set. Pure."""

import re

_NUMBER_AND_UNIT = re.compile(
    r"(\d) (?=(?:µm|A|V|Ah|s|min|h|d|g|kg|mg|mL|L|oz|lb|fl oz|gal|wt|cm|mm|mil|ASF)\b"
    r"|(?:dm|in|ft)²|[%°])"
)

UNKNOWN = "–"
"""Stands where no honest figure exists."""


def unbroken(text: str) -> str:
    """Keep each number and its unit on one line."""
    return _NUMBER_AND_UNIT.sub("\\g<1>\N{NO-BREAK SPACE}", text)


def capital(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]
