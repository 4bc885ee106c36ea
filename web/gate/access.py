"""Who asks, and whether they may: held against the table of rights before anything else is done."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Literal

from flask import Flask, current_app, g, has_request_context, redirect, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.http import parse_cookie

from daemon.access.errors import UnreadableError
from daemon.access.operators import Operator, Operators, operators_at
from daemon.access.sessions import Sessions, sessions_at
from daemon.access.tokens import Token
from daemon.api.listen import Listen
from web.gate.bearers import Bearers, shown
from web.gate.own_paths import path_here, path_of_referrer
from web.gate.rights import API, SAFE, Right, is_piece, needed
from web.problems import NO_TOKEN, ProblemError
from web.text import NOT_READABLE, SIGN_IN_FIRST
from web.trouble import show

COOKIE = "tankhand_operator"
"""Holds a session's token, and nothing else."""

FORWARDED = ("Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "Via")
"""What a proxy adds. Where none is set to be believed, its bearer is nobody of this machine."""

ACCESS = "tankhand access"
"""Under which an app of ours has it among its extensions."""

Reading = Literal["anyone", "operators"]


class Access:
    """The operators and sessions of one page.

    As long as there is no operator and the page is for this machine only, everybody may do all.
    Operators that cannot be read are no reason to let anybody in. Machines come with a token, of
    which `bearers` know.
    """

    def __init__(self, record: Path, listen: Listen, reading: Reading, bearers: Bearers) -> None:
        self.operators = Operators(operators_at(record))
        self.sessions = Sessions(sessions_at(record), lambda: time.time_ns() // 1_000_000)
        self.reading = reading
        self._listen = listen
        self._bearers = bearers

    def route(self, app: Flask) -> None:
        """Tell the app's views and templates who asks."""
        app.extensions[ACCESS] = self
        app.jinja_env.globals.update(
            operator=signed_in,
            may_operate=lambda: self.may(Right.OPERATE),
            is_open=self.is_open,
            sign_in_here=lambda: url_for("sign_in", next=path_here()),
        )

    def operator(self) -> str | None:
        """The name of the operator who asks; None for anybody else."""
        if "operator" not in g:
            g.operator = self._operator_of(request.cookies.get(COOKIE, ""))
        name: str | None = g.operator
        return name

    def is_open(self) -> bool:
        """Whether everybody who asks may do all, since there is nobody who could sign in."""
        if not self._listen.only_this_machine or any(name in request.headers for name in FORWARDED):
            return False
        return self._has_none()

    def may(self, right: Right) -> bool:
        """Whether who asks has this right."""
        if right is Right.ANYONE or (right is Right.READ and self.reading == "anyone"):
            return True
        return self.operator() is not None or self.is_open()

    def may_upload(self, cookies: str) -> bool:
        """Whether a request with this header of cookies may have a large body."""
        if self._listen.only_this_machine and self._has_none():
            return True
        return self._operator_of(parse_cookie(cookies).get(COOKIE, "")) is not None

    def begin(self, operator: Operator, where: str) -> str:
        """Begin a session in place of the one that this browser has; its token. Raises OSError."""
        self.end()
        return self.sessions.begin(operator, where)

    def end(self) -> None:
        """End the session that this browser has, if any. Raises OSError."""
        if token := request.cookies.get(COOKIE):
            self.sessions.end(token)

    def known(self, where: str) -> bool:
        """Whether an operator is signed in from this address."""
        return any(each.where == where for each in self.sessions.living())

    def _has_none(self) -> bool:
        try:
            return not self.operators.all()
        except UnreadableError:
            return False

    def _operator_of(self, token: str) -> str | None:
        session = self.sessions.find(token) if token else None
        if session is None:
            return None
        try:
            operator = self.operators.find(session.name)
        except UnreadableError:
            return None
        # A new password ends what was begun with the old one.
        if operator is None or operator.mark != session.mark:
            return None
        if has_request_context() and not is_piece(request.endpoint):
            self.sessions.look(session)
        return operator.name

    def guard(self) -> ResponseReturnValue | None:
        """Answer a request in place of its view if it needs a right that is not there."""
        if request.endpoint is None:
            return None
        if request.blueprint == API:
            self._guard_program(needed(request))
            return None
        if self.may(needed(request)):
            return None
        if request.method not in SAFE:
            return show(
                SIGN_IN_FIRST, 403, (url_for("sign_in", next=path_of_referrer()), "Sign in")
            )
        if is_piece(request.endpoint):
            return show(NOT_READABLE, 403)
        return redirect(url_for("sign_in", next=path_here()), 303)

    def token(self) -> Token | None:
        """The token with which a machine asks; None without one, and for one of no worth."""
        return self._bearers.token()

    def _guard_program(self, right: Right) -> None:
        """Refuse what a program may not have. Raises `ProblemError`.

        A browser's cookie lets it look, as the page does, and is worth nothing for a command: those
        are given by a token, or by whoever uses a machine that everybody may use.
        """
        if right is Right.ANYONE:
            return
        if shown(request) is not None:
            self._bearers.need(right)
            return
        if not (self.may(right) if request.method in SAFE else self.is_open()):
            raise ProblemError(NO_TOKEN)


def access() -> Access:
    """The access of the app that answers just now."""
    found: Access = current_app.extensions[ACCESS]
    return found


def signed_in() -> str | None:
    """The name of the operator who asks; None for anybody else."""
    return access().operator()
