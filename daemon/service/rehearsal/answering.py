"""Answers one request to rehearse: a line of JSON in, a line of JSON out."""

import sys
from pathlib import Path

from sqlalchemy.exc import DatabaseError

from daemon.api.errors import InputError
from daemon.api.rehearsal.mishaps import read_mishaps
from daemon.record.errors import RecordError
from daemon.record.store import refusal
from daemon.service.rehearsal.apart import Answered, Request
from daemon.service.rehearsal.assembly import Asked
from daemon.service.rehearsal.rehearse import rehearse
from daemon.service.settings.file import read_settings
from drivers.errors import DescriptionError


def answered(request: Request) -> Answered:
    """Rehearse what is asked for, or say why not."""
    asked = Asked(request.plan, "plan", request.goes_on_from, request.read_c, request.copies)
    try:
        mishaps = None if request.mishaps is None else read_mishaps(request.mishaps)
        settings = read_settings(Path(request.settings))
        return Answered(rehearsal=rehearse(settings, asked, mishaps))
    except DatabaseError as error:
        return Answered(error=f"the record cannot be read: {refusal(error)}")
    except (InputError, RecordError, DescriptionError) as error:
        return Answered(error=str(error))


def main() -> None:
    """Answer one request on standard input."""
    sys.stdout.write(answered(Request.model_validate_json(sys.stdin.read())).model_dump_json())
