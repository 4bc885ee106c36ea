"""What is entered into the bath's account from a page: by whom, when, and what came of it."""

from collections.abc import Mapping

from flask import flash

from daemon.api.bath.bath_texts import Written, moment
from daemon.api.errors import InputError
from daemon.api.socket.messages import BathEntryRequest, EntryKind
from web.forms import Field, Group
from web.language import gettext as _
from web.presses import whose
from web.record import record_number
from web.tank import Tank

WHO = Group(
    "Who enters it",
    (
        Field("who", "You are", example="name"),
        Field("at", "When, if not now", example="2026-11-20 18:00"),
        Field("note", "Note, if any"),
    ),
)
"""What every entry may be told besides."""


def entered(
    tank: Tank,
    kind: EntryKind,
    written: Written | None,
    told: Mapping[str, str],
    run: int | None = None,
    corrects: int | None = None,
) -> int:
    """Have the daemon enter it; what it has to say besides is shown on the next page.

    Without `written` it withdraws the entry `corrects`. `told` is what was typed into the fields of
    `WHO`. Gives the entry's number. Raises InputError where nothing was entered, and
    DaemonUnreachableError where that is not known.
    """
    at = told.get("at", "")
    answer = tank.act(
        BathEntryRequest(
            kind=kind,
            amounts={} if written is None else written.amounts,
            facts=None if written is None else written.facts,
            at_utc=moment("at", at) if at else None,
            note=told.get("note", ""),
            run=run,
            corrects=corrects,
            **whose(told.get("who", "")),
        )
    )
    if not answer.ok or answer.entry is None:
        raise InputError(_("not entered"), (answer.error or "refused",))
    for note in answer.notes:
        flash(note, "warning")
    return answer.entry


def run_number(text: str) -> int:
    """Read the number of a run that was typed into the field `run`. Raises InputError."""
    run = record_number(text)
    if run is None:
        raise InputError(
            "run", (_("expected the number of a run, such as 12, got %(text)s", text=repr(text)),)
        )
    return run
