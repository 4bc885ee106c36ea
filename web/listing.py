"""What lists out of the record have in common: pages, and times on this machine's clock."""

from datetime import UTC, datetime

from flask import abort, request

from daemon.record.errors import RecordError
from web.runs import record_number
from web.text import Trouble
from web.trouble import show

A_PAGE = 50
"""Entries on a page."""


def page_token() -> int | None:
    """The number before which the page asked for begins; None for the newest. Aborts with 400."""
    if "before" not in request.args:
        return None
    token = record_number(request.args["before"])
    if token is None:
        abort(400)
    return token


def unreadable(error: RecordError) -> tuple[str, int]:
    """The page where the record does not give what was asked of it."""
    return show(Trouble("The record cannot be read.", f"{capital(str(error))}."), 503)


def stamp(utc_ms: int) -> str:
    """A moment of the record on this machine's clock: `2026-03-02 02:09:14`."""
    return f"{datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone():%Y-%m-%d %H:%M:%S}"


def day(utc_ms: float) -> str:
    """The day of a moment on this machine's clock: `2026-03-02`, not to be broken."""
    day = f"{datetime.fromtimestamp(utc_ms / 1000, UTC).astimezone():%Y-%m-%d}"
    return day.replace("-", "\N{NON-BREAKING HYPHEN}")


def zone_name() -> str:
    """The zone of this machine's clock, as people call it."""
    return f"{datetime.now(UTC).astimezone():%Z}"


def capital(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]
