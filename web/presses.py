"""A press on the page, handed on to the daemon."""

from flask import abort, flash, redirect, request, url_for
from flask.typing import ResponseReturnValue
from pydantic import ValidationError

from daemon.api.client import DaemonUnreachableError
from daemon.api.messages import ActRequest, AlarmRequest
from web.tank import Tank
from web.text import UNSURE
from web.trouble import show


def pass_on(
    tank: Tank, kind: type[ActRequest | AlarmRequest], ask: str, **fields: object
) -> ResponseReturnValue:
    """Have the daemon do what was pressed, then show the tank with what it said.

    A press that no button makes is 404; a daemon that gives no answer leaves it open whether it was
    done, and is 503.
    """
    address = request.remote_addr
    said = {"ask": ask, "who": f"the page at {address}", "where": f"page, {address}", **fields}
    try:
        act = kind.model_validate(said)
    except ValidationError:
        abort(404)
    try:
        answer = tank.act(act)
    except DaemonUnreachableError:
        return show(UNSURE, 503)
    if not answer.ok:
        flash(answer.error or "refused")
    return redirect(url_for("now"), 303)
