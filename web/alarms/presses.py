"""Alarms as the page shows them, and the presses that acknowledge, shelve and unshelve them."""

from dataclasses import dataclass
from datetime import tzinfo

from flask import Flask, render_template, request
from flask.typing import ResponseReturnValue

from daemon.api.sentence import WITHOUT_CURRENT, clock, utc_of
from daemon.api.socket.effects import PriorityName
from daemon.api.socket.messages import AlarmRequest, AlarmStatus, Status
from daemon.control.protection.causes import PROOF_OVERDUE, RUN_INTERRUPTED
from web.language import gettext as _
from web.language import marked
from web.presses import pass_on
from web.tank import Tank
from web.typography import capital
from web.units import in_units

SHELF_S = {"1": 3600.0, "8": 8 * 3600.0}
"""How long an alarm can be shelved from the page, by hours."""


LEADS = {
    PROOF_OVERDUE: ("proof", None, marked("To the proof test")),
    RUN_INTERRUPTED: ("now", "interrupted", marked("Say what passed, and go on")),
}
"""Causes that a page of ours does something about: its view, the place there, the link's words."""


@dataclass(frozen=True, slots=True)
class AlarmCard:
    """One alarm in words.

    `quiet` says that nobody has to press anything for it: by whom it was acknowledged, or until
    when it is shelved; empty while it waits. `acts` are the presses that it takes. `leads` is what
    does something about it, as in `LEADS`, if there is anything.
    """

    number: int
    cause: str
    priority: PriorityName
    since: str
    seen: str
    did: str
    check: str
    need: str
    quiet: str
    acts: tuple[str, ...]
    leads: tuple[str, str | None, str] | None = None


def cards(status: Status, zone: tzinfo | None) -> tuple[AlarmCard, ...]:
    """All alarms that are not over, the most urgent first, with clock times in `zone`."""
    return tuple(_card(alarm, status, zone) for alarm in status.alarms)


def _card(alarm: AlarmStatus, status: Status, zone: tzinfo | None) -> AlarmCard:
    now = utc_of(status.utc)
    since = _("since %(at)s", at=clock(utc_of(alarm.raised_utc), now, zone))
    if alarm.times > 1:
        since += _(", %(times)s times", times=alarm.times)
    if alarm.life in ("returned, unacknowledged", "latched"):
        since += _(", gone since")
    if alarm.first_out:
        since += _(", the first cause")
    return AlarmCard(
        number=alarm.number,
        cause=capital(alarm.cause),
        priority=alarm.priority,
        since=since,
        seen=in_units(alarm.seen),
        did=alarm.did,
        check=capital(alarm.check),
        need=alarm.need,
        quiet=capital(_quiet(alarm, status, zone)),
        acts=_acts(alarm),
        # While a run is under way neither can be done.
        leads=LEADS.get(alarm.cause) if status.state in WITHOUT_CURRENT else None,
    )


def _quiet(alarm: AlarmStatus, status: Status, zone: tzinfo | None) -> str:
    if alarm.shelved_until_utc is not None:
        until = clock(utc_of(alarm.shelved_until_utc), utc_of(status.utc), zone)
        return _(
            "shelved by %(who)s until %(until)s",
            who=alarm.acknowledged_by,
            until=until,
        )
    if alarm.acknowledged_by is not None:
        return _("acknowledged by %(who)s", who=alarm.acknowledged_by)
    return ""


def _acts(alarm: AlarmStatus) -> tuple[str, ...]:
    if alarm.life == "shelved":
        return ("unshelve",)
    if alarm.acknowledged_by is None:
        return ("acknowledge",)
    return ("shelve",) if alarm.life == "acknowledged" else ()


class AlarmPages:
    """The alarms of one daemon: a piece of the page, and the presses on it."""

    def __init__(self, tank: Tank) -> None:
        self._tank = tank

    def route(self, app: Flask) -> None:
        """Give each view its address."""
        app.add_url_rule("/alarms", "alarms", self.alarms)
        app.add_url_rule("/alarms/<what>", "attend", self.attend, methods=["POST"])

    def alarms(self) -> ResponseReturnValue:
        """Give the alarms as a piece of the page; 503 without a daemon."""
        status = self._tank.status()
        if status is None:
            return "", 503
        return render_template("alarms.html", alarms=cards(status, None))

    def attend(self, what: str) -> ResponseReturnValue:
        """Pass a press on to the daemon, then show the tank with what the daemon said.

        Forms: `alarm`, a number, or none to acknowledge all; `hours` to shelve it for.
        """
        alarm, hours = request.form.get("alarm"), request.form.get("hours", "")
        for_s = SHELF_S.get(hours, 0.0)
        return pass_on(self._tank, AlarmRequest, ask=what, alarm=alarm, for_s=for_s)
