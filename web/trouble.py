"""Pages about what went wrong, in the page's own grammar, each with its stop button."""

from flask import Flask, render_template
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException, InternalServerError, SecurityError
from werkzeug.wrappers import Response

from web.protection import ForeignForm
from web.text import BY_STATUS, FOREIGN_FORM, FORM_TOO_OLD, WRONG_HOST, Trouble


def handle_troubles(app: Flask) -> None:
    """Answer every error with a page of ours."""
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(CSRFError, lambda _: show(FORM_TOO_OLD, 400))
    app.register_error_handler(ForeignForm, lambda _: show(FOREIGN_FORM, 403))
    app.register_error_handler(SecurityError, _wrong_host)


def show(trouble: Trouble, status: int, lead: tuple[str, str] | None = None) -> tuple[str, int]:
    """Draw the page about one trouble; `lead` is an address that helps, and the link's words."""
    return render_template("trouble.html", trouble=trouble, lead=lead), status


def _http(error: HTTPException) -> Response | tuple[str, int]:
    status = error.code or InternalServerError.code
    if status < 400:
        return error.get_response()
    return show(BY_STATUS.get(status, BY_STATUS[400]), status)


def _wrong_host(_: SecurityError) -> tuple[str, int, dict[str, str]]:
    # Plain: without a host that we trust there are no addresses to link to.
    return f"{WRONG_HOST}\n", 400, {"Content-Type": "text/plain; charset=utf-8"}
