"""Signing in and out.

One password is worked out at a time, so that guessing never takes more than one of the server's few
threads, nor more memory than one: whoever presses Stop finds one free.
"""

import math
import threading
import time

from flask import Flask, flash, make_response, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue

from daemon.access.errors import UnreadableError
from daemon.access.operators import Operator
from daemon.access.passwords import MOST_CHARACTERS, matches
from daemon.access.sessions import LONGEST_S
from daemon.api.listen import is_loopback
from daemon.api.sentence import duration
from web.gate.access import COOKIE, Access
from web.gate.attempts import Attempts
from web.gate.own_paths import own_path
from web.gate.told import tell
from web.language import gettext as _
from web.language import marked
from web.presses import NAME_LIMIT
from web.tank import Tank

WRONG = marked("Name or password is not right.")
BUSY = marked("Somebody else signs in at this moment. Press again.")
BUSY_S = 2
"""s after which to press again: a password takes about one."""

SOMEBODY = "somebody"
"""Who has tried a name that is nobody's. That is not kept: it may be a password, misplaced."""


class SignInPages:
    """The page, its press, and signing out."""

    def __init__(self, tank: Tank, access: Access) -> None:
        self._tank = tank
        self._access = access
        self._attempts = Attempts(time.monotonic)
        self._one_at_a_time = threading.Lock()

    def route(self, app: Flask) -> None:
        """Give each its address. Attempts are limited by `web.gate.attempts`."""
        app.add_url_rule("/sign-in", "sign_in", self.page)
        app.add_url_rule("/sign-in", "sign_in_try", self.sign_in, methods=["POST"])
        app.add_url_rule("/sign-out", "sign_out", self.sign_out, methods=["POST"])

    def page(self) -> ResponseReturnValue:
        """Show the form. Query: `next`, where to go afterwards."""
        return _shown(request.args.get("next", ""))

    def sign_in(self) -> ResponseReturnValue:
        """Begin a session. Forms: `name`, `password`, `next`."""
        form, where = request.form, str(request.remote_addr)
        name, back = form.get("name", "")[:NAME_LIMIT], form.get("next", "")
        if not self._one_at_a_time.acquire(blocking=False):
            return _shown(back, name, _(BUSY), 429, BUSY_S)
        try:
            wait_s = self._attempts.begin(where, known=self._known(where))
            if wait_s > 0:
                return _shown(back, name, _too_many(wait_s), 429, math.ceil(wait_s))
            operator = self._access.operators.find(name)
            password = form.get("password", "")
            kept = None if operator is None else operator.password
            if not matches(password, kept) or operator is None:
                who = SOMEBODY if operator is None else operator.name
                tell(self._tank, "sign in", who, _page(where), WRONG)
                return _shown(back, name, _(WRONG), 403)
            self._attempts.good(where)
            return self._begun(operator, where, back)
        except UnreadableError as error:
            return _shown(back, name, _("Nobody can sign in now: %(error)s.", error=error), 503)
        except OSError as error:
            return _shown(
                back,
                name,
                _("The session cannot be kept: %(error)s.", error=error.strerror or error),
                503,
            )
        finally:
            self._one_at_a_time.release()

    def sign_out(self) -> ResponseReturnValue:
        """End the session."""
        operator = self._access.operator()
        try:
            self._access.end()
        except OSError as error:
            flash(_("the session cannot be ended: %(error)s", error=error.strerror or error))
            return redirect(url_for("now"), 303)
        if operator is not None:
            tell(self._tank, "sign out", operator, _page(str(request.remote_addr)), None)
        session.clear()
        response = make_response(redirect(url_for("now"), 303))
        response.delete_cookie(COOKIE, httponly=True, samesite="Strict", secure=request.is_secure)
        return response

    def _begun(self, operator: Operator, where: str, back: str) -> ResponseReturnValue:
        token = self._access.begin(operator, where)
        tell(self._tank, "sign in", operator.name, _page(where), None)
        # What this browser held before, the word against foreign forms too, was anybody's.
        session.clear()
        response = make_response(redirect(own_path(back), 303))
        response.set_cookie(
            COOKIE,
            token,
            # The server forgets it no later.
            max_age=int(LONGEST_S),
            httponly=True,
            samesite="Strict",
            secure=request.is_secure,
        )
        return response

    def _known(self, where: str) -> bool:
        return is_loopback(where) or self._access.known(where)


def _page(where: str) -> str:
    return f"page, {where}"


def _too_many(wait_s: float) -> str:
    return _(
        "Too many attempts. The next one is taken in %(time)s; from an address where an operator "
        "is signed in, at once. Stop always works.",
        time=duration(max(60.0, wait_s)),
    )


def _shown(
    back: str, name: str = "", wrong: str = "", status: int = 200, wait_s: int | None = None
) -> ResponseReturnValue:
    html = render_template(
        "sign_in.html",
        back=own_path(back),
        name=name,
        wrong=wrong,
        name_limit=NAME_LIMIT,
        # In characters as a browser counts them, which may be two for one.
        most=2 * MOST_CHARACTERS,
        plain=not request.is_secure and not is_loopback(str(request.remote_addr)),
    )
    response = make_response(html, status)
    if wait_s is not None:
        response.headers["Retry-After"] = str(wait_s)
    return response
