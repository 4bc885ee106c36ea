"""The fields of a titration by each titrant, filled in as the last one by it was."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from daemon.api.analyses.titration import TitrantName
from daemon.bath import kinds
from daemon.bath.book import Book
from web.forms import Field, Group
from web.language import gettext as _

MOST_READINGS, MOST_BLANKS = 5, 2
"""Fields for them; the command line takes more."""

RESTORING = ("volume", "volume-limit", "least", "target", "greatest", "purity", "acid")
"""The keys that say what the bath wants; all others are the titration's."""

_COMPONENTS = ("copper", "sulfuric acid", "chloride")


@dataclass(frozen=True, slots=True)
class Method:
    """A titration: its address, what it finds by which titrant, and what is usual for both.

    short: what leads to it. component: "" where it is chosen in the form.
    """

    address: str
    short: str
    title: str
    component: str
    titrant: TitrantName
    strength: str
    sample: str


METHODS = (
    Method("edta", "EDTA", "Copper by EDTA", "copper", "EDTA", "0.1 mol/L", "2 mL"),
    Method(
        "thiosulfate", "Thiosulfate", "Copper by thiosulfate", "copper", "thiosulfate",
        "0.1 mol/L", "2 mL",
    ),
    Method(
        "hydroxide", "Hydroxide", "Acid by hydroxide", "sulfuric acid", "hydroxide", "1 mol/L",
        "10 mL",
    ),
    Method(
        "silver-nitrate", "Silver nitrate", "Chloride by silver nitrate", "chloride",
        "silver nitrate", "0.01 mol/L", "50 mL",
    ),
    Method("other", "Other titrant", "By another titrant", "", "other", "", ""),
)  # fmt: skip


def groups(method: Method, book: Book | None) -> tuple[Group, ...]:
    """The fields of a titration; strength, sample and glass are those of the last one kept."""
    last = {} if book is None else _last(method, book)
    titrant = _("Each mL finds") if method.titrant == "other" else f"{_capital(method.titrant)}"
    strength = Field(
        "strength", titrant, last.get("strength", method.strength),
        method.strength or "0.355 mg/mL",
    )  # fmt: skip
    component = Field("component", "It finds", options=_COMPONENTS)
    return (
        Group(
            "What was taken",
            (
                *(() if method.component else (component,)),
                strength,
                Field("factor", "Factor", last.get("factor", ""), "1"),
                Field("sample", "Bath taken", last.get("sample", method.sample), "5 mL"),
                Field("diluted-to", "Made up to", last.get("diluted-to", ""), "100 mL"),
                Field("aliquot", "Of that, titrated", last.get("aliquot", ""), "20 mL"),
            ),
        ),
        Group(
            "What each titration took, mL",
            tuple(
                Field(f"readings[{number}]", _("Titration %(number)s", number=number), "", example)
                for number, example in zip(
                    range(1, MOST_READINGS + 1), ("7.62", "7.62-15.25", "", "", ""), strict=True
                )
            ),
        ),
        Group("Blanks, mL", tuple(_blanks()), folded=True),
        Group("What the bath shall hold", _restoring(), folded=True),
        Group("How far the glass may be off", tuple(_limits(last)), folded=True),
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _blanks() -> list[Field]:
    return [
        Field(f"blank[{number}]", _("Blank %(number)s", number=number), "", "0.06")
        for number in range(1, MOST_BLANKS + 1)
    ]


def _restoring() -> tuple[Field, ...]:
    return (
        Field("volume", "Bath's volume, if not its account's", "", "15 L"),
        Field("volume-limit", "How far that may be off", "", "5 %"),
        Field("least", "Least, if not the settings'", "", "50 g/L"),
        Field("target", "Target", "", "55 g/L"),
        Field("greatest", "Greatest", "", "60 g/L"),
        Field("purity", "Purity of the crystals", "", "99 %"),
        Field("acid", "Strength of the acid", "", "96 %"),
    )


def _limits(last: Mapping[str, str]) -> list[Field]:
    rows = (
        ("burette-limit", _("Burette"), "0.05 mL"),
        ("sample-limit", _("Sample"), "0.02 mL or 1 %"),
        ("flask-limit", _("Flask"), "0.4 %"),
        ("aliquot-limit", _("Aliquot"), "1 %"),
        ("titrant-limit", _("Titrant's strength"), "0.5 %"),
        ("end-point", _("End point"), "0.05 mL"),
    )
    return [Field(key, label, last.get(key, ""), example) for key, label, example in rows]


def _last(method: Method, book: Book) -> dict[str, str]:
    """The form of the newest analysis by this titrant, as it was written."""
    for entry in reversed(book.holding):
        details: Any = (entry.facts or {}).get("details")
        if (
            entry.kind == kinds.ANALYSIS
            and isinstance(details, dict)
            and details.get("titrant") == method.titrant
        ):
            return {key: text for key, text in details.items() if isinstance(text, str)}
    return {}
