"""What people enter of a bath: the fields of each kind of entry, and what comes of them."""

from collections.abc import Callable
from dataclasses import dataclass

from daemon.api.analyses.restoring import ACID_CAUTION
from daemon.api.bath import bath_texts
from daemon.api.bath.bath_texts import Written
from daemon.api.errors import InputError
from daemon.api.socket.messages import EntryKind
from daemon.bath.description import Description
from daemon.bath.kinds import LOOKS
from web.forms import Field, Form, Group
from web.language import gettext as _
from web.language import marked

_SALT = marked(
    "Copper sulfate is harmful if swallowed, damages eyes, and is very toxic to aquatic life: no "
    "dust, nothing down the drain; the safety data sheet of what you use comes first"
)
_GLOVES = marked("Eye protection and gloves; the safety data sheet of what you use comes first")
_NO_DRAINS = marked("What is taken out holds copper and acid: no drains, no soil")


@dataclass(frozen=True, slots=True)
class Entry:
    """A kind of entry: tab, heading, fields, what comes of them, what may hurt somebody."""

    kind: EntryKind
    tab: str
    says: str
    fields: tuple[Field, ...]
    write: Callable[[Form, Description], Written]
    cautions: tuple[str, ...] = ()

    @property
    def groups(self) -> tuple[Group, ...]:
        """Its fields as the groups of a form."""
        return (Group("What", self.fields),) if self.fields else ()


def _addition(form: Form, description: Description) -> Written:
    substance = form.text("substance")
    if not substance:
        raise InputError("substance", (_('say what it was, such as "copper sulfate"'),))
    return bath_texts.addition(
        description, substance, form.text("amount"), form.text("strength") or None
    )


def _water(form: Form, _bath: Description) -> Written:
    return bath_texts.water(form.text("amount"), form.text("level") or None)


def _taken(form: Form, _bath: Description) -> Written:
    return bath_texts.taken(form.text("amount"))


def _looks(form: Form, _bath: Description) -> Written:
    looks = list(dict.fromkeys(form.tree().get("looks", [])))
    if not looks:
        raise InputError("looks[1]", (_("say how it looks: %(looks)s", looks=", ".join(LOOKS)),))
    return Written({}, {"looks": looks})


def _anodes(form: Form, _bath: Description) -> Written:
    area, mass = form.text("area"), form.text("mass")
    if not area and not mass:
        raise InputError("area", (_('say their area, such as "4 dm²", their mass, or both'),))
    return bath_texts.anodes(area or None, mass or None)


def _nothing(_: Form, __: Description) -> Written:
    return Written()


_AMOUNT = Field("amount", "How much", "", "10 mL")

ENTRIES = (
    Entry(
        "addition", "Addition", "Something was added.",
        (
            Field("substance", "Substance", "", "copper sulfate"),
            Field("amount", "How much", "", "50 g"),
            Field("strength", "Of an acid, its strength", "", "96 %"),
        ),
        _addition, (ACID_CAUTION, _SALT),
    ),
    Entry(
        "water", "Water", "Water was added.",
        (
            Field("amount", "How much", "", "0.5 L"),
            Field("level", "Bath's volume afterwards, if known", "", "15 L"),
        ),
        _water,
    ),
    Entry(
        "appearance", "Looks", "A deposit looks so.",
        (
            Field("looks[1]", "It is", options=("", *LOOKS)),
            Field("looks[2]", "and", options=("", *LOOKS)),
            Field("run", "Run whose deposit it is", "", "12"),
        ),
        _looks,
    ),
    Entry("sample", "Sample", "Bath was taken out.", (_AMOUNT,), _taken, (_NO_DRAINS,)),
    Entry("drag-out", "Drag-out", "Parts carried bath away.", (_AMOUNT,), _taken),
    Entry(
        "anodes", "Anodes", "The anodes hang so now.",
        (
            Field("area", "Area that faces the parts", "", "4 dm²"),
            Field("mass", "Mass of all of them", "", "1.8 kg"),
        ),
        _anodes, (_GLOVES,),
    ),
    Entry("filtration", "Filtered", "The bath was filtered.", (), _nothing),
    Entry("carbon treatment", "Carbon", "It was treated with carbon.", (), _nothing, (_NO_DRAINS,)),
)  # fmt: skip
"""The kinds in the order of their tabs. Make-up, analyses and doses have places of their own."""
