"""What the API answers where it does not do what was asked: one shape, that of RFC 9457."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from flask import Response
from pydantic import ConfigDict, Field, ValidationError
from werkzeug import Response as AnyResponse
from werkzeug.exceptions import HTTPException, InternalServerError

from daemon.api.socket.message import Message
from daemon.record.errors import NoSuchAlarmError, NoSuchRunError, RecordError

MEDIA_TYPE = "application/problem+json"

SHORTEST_WAIT_S = 60
"""Real s that presses are counted for; after so long one is taken again."""


class Fault(Message):
    """One thing that cannot be used in what was sent: where it stands, and why not."""

    model_config = ConfigDict(use_attribute_docstrings=True)

    where: str
    """The key or parameter, keys within keys joined by dots; empty for the whole."""
    what: str


class Problem(Message):
    """Why it was not done (RFC 9457, problem details)."""

    model_config = ConfigDict(use_attribute_docstrings=True)

    type: str
    """Which kind of problem it is: the address of its line in the API's page."""
    title: str
    """The kind in words, always the same."""
    status: int = Field(ge=400, le=599)
    """The answer's own status."""
    detail: str
    """What was wrong this time, and what to do."""
    errors: tuple[Fault, ...] = ()
    """Everything that cannot be used in what was sent; of an invalid request only."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of problem: its status, its title, and what is told where nothing better is known."""

    name: str
    status: int
    title: str
    detail: str


UNREADABLE = Kind("unreadable", 400, "The request cannot be read", "Nothing was done.")
NO_TOKEN = Kind(
    "no-token", 401, "A token is needed",
    "Send one with the header 'Authorization: Bearer ...'; `tankhand token add` makes it.",
)  # fmt: skip
WRONG_TOKEN = Kind(
    "wrong-token", 401, "This token is worth nothing",
    "It was never made here, has been revoked, or is over. Nothing was done.",
)  # fmt: skip
NO_RIGHT = Kind(
    "no-right", 403, "This token may not do that", "Nothing was done. Stop needs no token."
)
FOREIGN = Kind(
    "foreign", 403, "Sent by another site's page",
    "Nothing was done. A browser's page uses the tank's own pages, a program a token.",
)  # fmt: skip
NOT_FOUND = Kind("not-found", 404, "There is nothing of that kind", "Nothing was done.")
METHOD = Kind(
    "method", 405, "This address takes other methods",
    "Those that it takes are in the header 'Allow'. Nothing was done.",
)  # fmt: skip
REFUSED = Kind("refused", 409, "The tank is not in a state for that", "Nothing was done.")
TOO_LARGE = Kind("too-large", 413, "What was sent is too large", "Nothing was done.")
MEDIA = Kind(
    "media-type", 415, "What was sent is no JSON",
    "Say 'Content-Type: application/json' and send an object, {} at least. Nothing was done.",
)  # fmt: skip
INVALID = Kind("invalid", 422, "What was sent cannot be used", "Nothing was done.")
TOO_MANY = Kind(
    "too-many", 429, "Too often",
    "Nothing was done; the header 'Retry-After' says in how many seconds it may be asked again. "
    "Stop and abort are always taken.",
)  # fmt: skip
FAILED = Kind(
    "failed", 500, "The page's process has failed",
    "Whether it was done is not known. A run goes on by itself: look at the state.",
)  # fmt: skip
SILENT = Kind("daemon-silent", 503, "The daemon does not answer", "How the tank is, is not known.")
UNSURE = Kind(
    "not-known", 503, "The daemon gave no answer to a command",
    "Whether it did what was asked is not known. Look at the state, and at the tank.",
)  # fmt: skip
NO_RECORD = Kind("record-unreadable", 503, "The record cannot be read", "Ask again later.")
NO_ACCESS = Kind(
    "access-unreadable", 503, "Who may what cannot be read",
    "Nothing was done. Stop, hold and abort are taken all the same.",
)  # fmt: skip

KINDS: tuple[Kind, ...] = (
    UNREADABLE, NO_TOKEN, WRONG_TOKEN, NO_RIGHT, FOREIGN, NOT_FOUND, METHOD, REFUSED, TOO_LARGE,
    MEDIA, INVALID, TOO_MANY, FAILED, SILENT, UNSURE, NO_RECORD, NO_ACCESS,
)  # fmt: skip
"""All of them; the API's page has a line for each."""

_BY_STATUS: Mapping[int, Kind] = {
    kind.status: kind
    for kind in (UNREADABLE, NO_TOKEN, NO_RIGHT, NOT_FOUND, METHOD, TOO_LARGE, MEDIA, INVALID,
                 TOO_MANY, FAILED)
}  # fmt: skip


@dataclass(frozen=True)
class ProblemError(Exception):
    """Ends a request of the API with a problem."""

    kind: Kind
    detail: str = ""
    errors: tuple[Fault, ...] = ()
    headers: Mapping[str, str] = field(default_factory=dict)

    def answer(self) -> Response:
        """Put it into an answer."""
        told = Problem(
            type=f"/api#{self.kind.name}",
            title=self.kind.title,
            status=self.kind.status,
            detail=self.detail or self.kind.detail,
            errors=self.errors,
        )
        response = Response(told.model_dump_json(), self.kind.status, mimetype=MEDIA_TYPE)
        response.headers.update(self.headers)
        if self.kind.status == 401:
            # RFC 6750, 3: an error is named only where a token was sent.
            why = ', error="invalid_token"' if self.kind is WRONG_TOKEN else ""
            response.headers["WWW-Authenticate"] = f'Bearer realm="tankhand"{why}'
        return response


def of_http(error: HTTPException) -> AnyResponse:
    """Tell an error of the server's own as a problem; a redirect stays one."""
    status = error.code or InternalServerError.code
    if status < 400:
        return error.get_response()
    headers = {}
    if status == TOO_MANY.status:
        headers["Retry-After"] = str(SHORTEST_WAIT_S)
    for name, value in error.get_headers():
        if name == "Allow":
            headers[name] = value
    return ProblemError(_BY_STATUS.get(status, UNREADABLE), headers=headers).answer()


def of_record(error: RecordError) -> AnyResponse:
    """Tell that the record has not what was asked for, or does not give it."""
    kind = NOT_FOUND if isinstance(error, NoSuchAlarmError | NoSuchRunError) else NO_RECORD
    return ProblemError(kind, f"{error}.").answer()


def faults(error: ValidationError) -> tuple[Fault, ...]:
    """Tell everything that a model refuses, without what came, which may be large or secret."""
    return tuple(
        Fault(where=".".join(map(str, each["loc"])), what=each["msg"])
        for each in error.errors(include_url=False, include_input=False, include_context=False)
    )
