"""A browser's choice of units: the press in the foot of every page, which needs no right."""

from flask import Flask, make_response, redirect, request
from flask.typing import ResponseReturnValue

from web.gate.own_paths import path_of_referrer
from web.units import COOKIE, known

KEPT_S = 400 * 86_400
"""Browsers keep a cookie no longer."""


def route_choice(app: Flask) -> None:
    """Give the press its address."""
    app.add_url_rule("/units", "units", _choose, methods=["POST"])


def _choose() -> ResponseReturnValue:
    """Keep the choice, `units` in the form, and lead back to where it was made.

    A word that is no choice changes nothing.
    """
    response = make_response(redirect(path_of_referrer(), 303))
    chosen = known(request.form.get("units"))
    if chosen is not None:
        response.set_cookie(
            COOKIE,
            chosen,
            max_age=KEPT_S,
            httponly=True,
            samesite="Strict",
            secure=request.is_secure,
        )
    return response
