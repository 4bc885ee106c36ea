"""What keeps other sites, other names and too many presses away from the tank."""

from flask import Flask, Request, Response, request
from flask_limiter import Limiter
from flask_limiter.util import get_remote_address
from flask_wtf import CSRFProtect
from werkzeug.exceptions import Forbidden

FORM_LIMIT_BYTES = 8192
"""A form here holds a token, and at most a bath's recipe. Anything longer is not from our page."""

ACTS_A_MINUTE = "20 per minute"
"""More than a person presses. Stop and abort are never counted."""

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
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


def protect(app: Flask) -> Limiter:
    """Put every protection on the app; the limiter is for the routes that act."""
    app.config.update(
        MAX_CONTENT_LENGTH=FORM_LIMIT_BYTES,
        MAX_FORM_MEMORY_SIZE=FORM_LIMIT_BYTES,
        SESSION_COOKIE_NAME="tankhand",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Strict",
        # A page left open over night must still be able to stop the run.
        WTF_CSRF_TIME_LIMIT=None,
        RATELIMIT_STORAGE_URI="memory://",
    )
    # Before the token is looked at, so that a foreign form is called what it is.
    app.before_request(_refuse_foreign_forms)
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


def _refuse_foreign_forms() -> None:
    if request.method not in ("GET", "HEAD", "OPTIONS") and is_foreign(request):
        raise ForeignForm


def _add_headers(response: Response) -> Response:
    response.headers.extend(HEADERS)
    response.headers.setdefault("Cache-Control", "no-store")
    return response
