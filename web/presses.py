"""A press on the page, handed on to the daemon."""

from collections.abc import Callable
from typing import TypedDict

from flask import abort, flash, redirect, request, url_for
from flask.typing import ResponseReturnValue
from pydantic import ValidationError

from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import Answer
from web.gate.access import signed_in
from web.tank import Pressed, Tank
from web.text import UNSURE
from web.trouble import show

NAME_LIMIT = 80
"""Characters of a name that somebody types."""


class Whose(TypedDict):
    """Who has pressed, and from where, as messages have it."""

    who: str
    where: str


def whose(name: str = "") -> Whose:
    """Who has pressed: the operator, else by the name that was typed if any, and from where."""
    address = request.remote_addr
    operator = signed_in()
    if operator is not None:
        return {"who": operator, "where": f"page, {address}"}
    page = f"the page at {address}"
    given = name.strip()[:NAME_LIMIT]
    return {"who": f"{given}, {page}" if given else page, "where": f"page, {address}"}


def pass_on(
    tank: Tank,
    kind: type[Pressed],
    *,
    name: str = "",
    to: Callable[[Answer], str] | None = None,
    **fields: object,
) -> ResponseReturnValue:
    """Have the daemon do what was pressed, then go to where `to` says, with what it said.

    A press that no button makes is 404; a daemon that gives no answer leaves it open whether it was
    done, and is 503.
    """
    try:
        asked = kind.model_validate({**whose(name), **fields})
    except ValidationError:
        abort(404)
    try:
        answer = tank.act(asked)
    except DaemonUnreachableError:
        return show(UNSURE, 503)
    if not answer.ok:
        flash(answer.error or "refused")
    elif answer.warning is not None:
        flash(answer.warning, "warning")
    return redirect(url_for("now") if to is None else to(answer), 303)
