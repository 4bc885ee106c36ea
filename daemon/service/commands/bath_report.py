"""The bath as the command line prints it."""

from daemon.api.bath import bath_words, due_words
from daemon.bath import account, kinds
from daemon.bath.additive_rate import rates_found
from daemon.bath.appearance import suggestions
from daemon.bath.book import Book
from daemon.bath.components import VOLUME
from daemon.bath.due import Due, dues

RATES_MEAN = (
    "From the first dose to the last since the additive's level was set. It says something where\n"
    "doses were given when the deposit asked for them; of doses by the ampere-hour it only says\n"
    "which rate they followed."
)
"""What `tankhand bath rate` can and cannot tell."""


def shown(book: Book) -> str:
    """The bath at the book's moment, a line for each thing; no line for what is not there."""
    described, additives = book.description, account.additives_ever(book.entries)
    lines = [f"bath       {described.name}, {bath_words.stamp(book.utc_ms)}", *_volume(book)]
    lines.append(f"charge     {book.charge_ah:.3f} Ah")
    for each in book.holding:
        if each.kind == kinds.MAKE_UP:
            since_ah = book.charge_ah - book.charge_at_ah(each.at_utc_ms)
            made = f"made up    {bath_words.stamp(each.at_utc_ms)}, {since_ah:.3f} Ah ago"
            lines = [*(line for line in lines if not line.startswith("made up")), made]
    lines += [
        f"put in     {substance}: {bath_words.balance(substance, value, additives)}"
        for substance, value in account.balances(book.entries, book.utc_ms).items()
        if substance != VOLUME
    ]
    falling = dues(book).at(book.charge_ah, book.utc_ms)
    lines += [f"{_sort(each):10} {due_words.line(due_words.due_status(each))}" for each in falling]
    lines += [f"suggested  {bath_words.suggestion(each)}" for each in suggestions(book)]
    return "\n".join(lines)


def _sort(due: Due) -> str:
    if due.doses:
        return "due"
    return "later" if due.in_ah is not None or due.in_s is not None else "open"


def rates(book: Book) -> str:
    """What each additive's doses amount to, beside the rate in the settings."""
    found = rates_found(book)
    lines = [
        f"{additive.name}: {bath_words.rate_found(additive, found.get(additive.name))}"
        for additive in book.description.additives
    ]
    if not lines:
        return "no additive is described in the settings"
    return "\n".join([*lines, "", RATES_MEAN])


def _volume(book: Book) -> list[str]:
    said = bath_words.volume(book)
    return [f"volume     {said}"] if said else []


def listed(book: Book, limit: int) -> str:
    """The account's entries, newest first, at most `limit`; beneath each what has corrected it."""
    additives = account.additives_ever(book.entries)
    found = account.standing(book.entries, book.utc_ms)
    if not found:
        return "nothing was entered yet"
    lines = []
    for each in list(reversed(found))[:limit]:
        made = each.first.made
        run = "" if each.run_id is None else f", run {each.run_id}"
        lines.append(
            f"{each.id:6}  {bath_words.stamp(each.at_utc_ms)}  "
            f"{bath_words.entry(each, additives)}{run}, by {made.who}"
        )
        lines += [f"        {made.note}"] if made.note else []
        for correction in each.corrections:
            by = correction.made
            what = "withdrawn" if by.facts is None else "corrected"
            note = f": {by.note}" if by.note else ""
            entered = bath_words.stamp(by.utc_ms)
            lines.append(f"        {what} by entry {correction.id}, {entered}, {by.who}{note}")
    left = len(found) - limit
    return "\n".join([*lines, f"and {left} more"] if left > 0 else lines)
