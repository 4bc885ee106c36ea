"""What keeps other sites, other names and too many presses away from the tank."""

from collections.abc import Callable

from flask import Flask, Request, Response, request
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter
from flask_limiter.util import get_remote_address
from flask_wtf import CSRFProtect
from werkzeug.exceptions import Forbidden

from daemon.bath.parts.apart import MOST_BYTES
from web.gate.bearers import shown
from web.gate.rights import SAFE

FORM_LIMIT_BYTES = 8192
"""A form here holds a token, and at most a bath's recipe. Anything longer is not from our page."""

FILE_LIMIT_BYTES = MOST_BYTES + 65_536
"""Of a form with a mesh file: what is taken of the file, and the fields around it."""

FILE_FORM_MEMORY_BYTES = 262_144
"""Of such a form without its file, which goes to the disk."""

TAKE_A_PLAN = frozenset({"/plans/check", "/plans/keep", "/api/v1/commands/start"})
"""The addresses of the form of a plan, and that of the API that takes a plan's whole text."""

PLAN_LIMIT_BYTES = 60_000
"""Of a plan's form, whose stages have many fields, and of a plan in JSON, which may have 50,000
characters; below the server's own limit."""

TAKES_A_FILE = "/parts/new/work"
"""The address of the one form that may hold a file."""

ACTS_A_MINUTE = "20 per minute"
"""More than a person presses. Stop and abort are never counted."""

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    # Not "no-referrer": with it browsers send "Origin: null" with our own forms.
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


class ForeignForm(Forbidden):
    """A form that another site sent, by what the browser says."""


def protect(app: Flask, guard: Callable[[], ResponseReturnValue | None]) -> Limiter:
    """Put every protection on the app; the limiter is for the routes that act.

    `guard` answers those who may not have what they ask for.
    """
    app.config.update(
        MAX_CONTENT_LENGTH=FORM_LIMIT_BYTES,
        MAX_FORM_MEMORY_SIZE=FORM_LIMIT_BYTES,
        SESSION_COOKIE_NAME="tankhand",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Strict",
        # A page left open over night must still be able to stop the run.
        WTF_CSRF_TIME_LIMIT=None,
        # Over TLS it would want a Referer, which some browsers keep to themselves: Stop has to work
        # there too. Where a form comes from is judged by Origin.
        WTF_CSRF_SSL_STRICT=False,
        RATELIMIT_STORAGE_URI="memory://",
    )
    # Before the form is read, which the token's check does.
    app.before_request(_allow_more)
    # Before the token is looked at, so that a foreign form is called what it is.
    app.before_request(_refuse_foreign_forms)
    # Before anything that was sent is read: of who may not, nothing is.
    app.before_request(guard)
    CSRFProtect(app)
    app.after_request(_add_headers)
    return Limiter(get_remote_address, app=app)


def is_foreign(asked: Request) -> bool:
    """Whether the browser says that another site sent this request.

    `Sec-Fetch-Site` is judged where it is sent, and `Origin` too; what sends neither is no browser
    of today, and is left to the token.
    """
    site = asked.headers.get("Sec-Fetch-Site")
    origin = asked.headers.get("Origin")
    if site not in (None, "same-origin"):
        return True
    return origin is not None and origin != asked.host_url.rstrip("/")


def exempt_stops() -> bool:
    """Whether the act asked for takes the current away: those are never too many."""
    return (request.view_args or {}).get("ask") in ("stop", "abort")


def _allow_more() -> None:
    # Another kind of form would be read into memory as a whole.
    if request.path == TAKES_A_FILE and request.mimetype == "multipart/form-data":
        request.max_content_length = FILE_LIMIT_BYTES
        # It bounds what is read at a time too, which is 64 KiB.
        request.max_form_memory_size = FILE_FORM_MEMORY_BYTES
    if request.path in TAKE_A_PLAN:
        request.max_content_length = PLAN_LIMIT_BYTES
        request.max_form_memory_size = PLAN_LIMIT_BYTES


def _refuse_foreign_forms() -> None:
    # What shows a token was sent by a program: a page could not without our leave.
    if request.method in SAFE or (request.path.startswith("/api/") and shown(request) is not None):
        return
    if is_foreign(request):
        raise ForeignForm


def _add_headers(response: Response) -> Response:
    response.headers.extend(HEADERS)
    response.headers.setdefault("Cache-Control", "no-store")
    return response
