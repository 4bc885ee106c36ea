"""What an entry becomes that is corrected by an amount, or by words for how a deposit looks."""

from daemon.api.bath import bath_texts
from daemon.api.bath.bath_texts import Written
from daemon.api.errors import InputError
from daemon.bath import account, kinds
from daemon.bath.account import Standing
from daemon.bath.book import Book
from daemon.bath.components import VOLUME


def corrected(book: Book, number: int, values: tuple[str, ...]) -> Written:
    """The entry `number` with the amount or the words that are right.

    Raises NoSuchBathEntryError, and InputError: for words that cannot be read, and for an entry
    that has more to it than those.
    """
    before = account.one(book.entries, number)
    if before.kind == kinds.APPEARANCE:
        return Written({}, {**(before.facts or {}), "looks": list(values)})
    if len(values) != 1:
        raise InputError(f"entry {number}", (f"takes one amount, got {len(values)}",))
    return _with_amount(before, book, values[0])


def _with_amount(before: Standing, book: Book, amount: str) -> Written:
    made = before.first.made
    names = [substance for substance in made.amounts if substance != VOLUME]
    match before.kind:
        case kinds.DOSE:
            return bath_texts.dose(book.description, names[0], amount)
        case kinds.ADDITION if len(names) == 1:
            # What it was added as, such as "CuSO4·5H2O" or "sulfuric acid of 96 %".
            name = (before.facts or {}).get("as", names[0])
            substance, _, strength = name.partition(" of ")
            return bath_texts.addition(book.description, substance, amount, strength or None)
        case kinds.WATER:
            return Written(bath_texts.water(amount).amounts, before.facts or {})
        case kinds.SAMPLE | kinds.DRAG_OUT:
            return Written(bath_texts.taken(amount).amounts, before.facts or {})
    raise InputError(
        f"entry {before.id}",
        (f"of kind {before.kind!r} has more to it than an amount: withdraw it, enter it anew",),
    )
