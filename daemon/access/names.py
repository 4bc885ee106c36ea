"""Names of operators and tokens: which are taken, and which are the same."""

import unicodedata

LONGEST_NAME = 40
"""Characters of a name."""

ALLOWED = f"1 to {LONGEST_NAME} characters that can be printed"


def kept_name(text: str) -> str | None:
    """The name as it is kept; None for one that is not taken, which is not as `ALLOWED` says."""
    name = unicodedata.normalize("NFC", text.strip())
    return name if 0 < len(name) <= LONGEST_NAME and name.isprintable() else None


def same(name: str) -> str:
    """Equal for names that a person takes for the same."""
    return unicodedata.normalize("NFC", name.strip()).casefold()
