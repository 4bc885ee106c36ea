"""What lists out of the record have in common: their pages, and what is told without a record."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from flask import abort, request

from daemon.record.errors import RecordError
from web.language import gettext as _
from web.record import record_number
from web.text import Trouble
from web.trouble import show
from web.typography import capital

A_PAGE = 50
"""Entries on a page."""

Entry = TypeVar("Entry")


def page_token() -> int | None:
    """The number before which the page asked for begins; None for the newest. Aborts with 400."""
    if "before" not in request.args:
        return None
    token = record_number(request.args["before"])
    if token is None:
        abort(400)
    return token


def page_after(
    found: Sequence[Entry], number: Callable[[Entry], int], before: int | None
) -> tuple[Sequence[Entry], int | None]:
    """Give the page of a list, newest first, that follows its entry `before`, or the first page.

    With it comes the number before which the next page begins; None on the last. Lists that are not
    in the order of their numbers go by it too. Aborts with 404 where no entry has that number.
    """
    start = 0
    if before is not None:
        start = next((at for at, each in enumerate(found, 1) if number(each) == before), 0)
        if not start:
            abort(404)
    page = found[start : start + A_PAGE]
    return page, number(page[-1]) if len(found) > start + A_PAGE else None


def unreadable(error: RecordError) -> tuple[str, int]:
    """The page where the record does not give what was asked of it."""
    return show(Trouble(_("The record cannot be read."), f"{capital(str(error))}."), 503)
