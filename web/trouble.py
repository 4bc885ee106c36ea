"""Pages about what went wrong, in the page's own grammar, each with its stop button."""

from flask import Flask, render_template, request
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException, InternalServerError, SecurityError
from werkzeug.wrappers import Response

from web import problems
from web.gate.protection import ForeignForm
from web.gate.rights import PREFIX
from web.language import spoken
from web.problems import ProblemError
from web.text import BY_STATUS, FOREIGN_FORM, FORM_TOO_OLD, WRONG_HOST, Trouble


def handle_troubles(app: Flask) -> None:
    """Answer every error with a page of ours; a program's with a problem."""
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(CSRFError, lambda _: show(FORM_TOO_OLD, 400))
    app.register_error_handler(ForeignForm, _foreign)
    app.register_error_handler(ProblemError, lambda error: error.answer())
    app.register_error_handler(SecurityError, _wrong_host)


def show(trouble: Trouble, status: int, lead: tuple[str, str] | None = None) -> tuple[str, int]:
    """Draw the page about one trouble; `lead` is an address that helps, and the link's words."""
    return render_template("trouble.html", trouble=trouble, lead=lead), status


def _for_programs() -> bool:
    return request.path.startswith(f"{PREFIX}/")


def _foreign(_: ForeignForm) -> Response | tuple[str, int]:
    if _for_programs():
        return ProblemError(problems.FOREIGN).answer()
    return show(FOREIGN_FORM, 403)


def _http(error: HTTPException) -> Response | tuple[str, int]:
    if _for_programs():
        return problems.of_http(error)
    status = error.code or InternalServerError.code
    if status < 400:
        return error.get_response()
    return show(BY_STATUS.get(status, BY_STATUS[400]), status)


def _wrong_host(_: SecurityError) -> Response | tuple[str, int, dict[str, str]]:
    if _for_programs():
        return ProblemError(problems.UNREADABLE, WRONG_HOST).answer()
    # Plain: without a host that we trust there are no addresses to link to.
    return f"{spoken(WRONG_HOST)}\n", 400, {"Content-Type": "text/plain; charset=utf-8"}
