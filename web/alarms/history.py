"""Alarms out of the record: a list of the last ones, and a page for each with its close-up."""

import math
from datetime import UTC, datetime

from flask import Flask, abort, render_template, request
from flask.typing import ResponseReturnValue

from daemon.api.effects import done
from daemon.api.sentence import utc_of
from daemon.clock import to_ms
from daemon.record.close_ups import AFTER_S
from daemon.record.errors import CodecError, NoSuchAlarmError, RecordError
from web.alarms.past import advice, past, steps, stop_of
from web.alarms.presses import LEADS
from web.drawings.close_up import NEAR_S, Drawing, drawn, kinds
from web.language import gettext as _
from web.listing import A_PAGE, page_token, unreadable
from web.record import Runs, record_number
from web.tank import Tank
from web.text import NO_SUCH_ALARM
from web.times import zone_name
from web.trouble import show

LAST_DAYS = 30
"""Days that the list reaches back, unless all is asked for."""

_DAY_MS = 24 * 3600 * 1000


class HistoryPages:
    """The views, over one record. `tank` tells what time it is on the clock that labels alarms."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask) -> None:
        """Give each view its address."""
        app.add_url_rule("/alarms/history", "history", self.history)
        app.add_url_rule("/alarm/<number>", "alarm", self.alarm)

    def history(self) -> ResponseReturnValue:
        """List alarms, newest first: of the last 30 days, or with `all` in the query every one.

        `before` in the query is the number of an alarm; the list then begins with the one before.
        """
        before, everything = page_token(), "all" in request.args
        try:
            found = self._runs.alarms(0 if everything else self._since_ms(), A_PAGE + 1, before)
        except RecordError as error:
            return unreadable(error)
        return render_template(
            "history.html",
            alarms=[past(alarm) for alarm in found[:A_PAGE]],
            older=found[A_PAGE - 1].number if len(found) > A_PAGE else None,
            before=before,
            everything=everything,
            days=LAST_DAYS,
            zone=zone_name(),
        )

    def alarm(self, number: str) -> ResponseReturnValue:
        """Show one alarm and its close-up; `near` in the query looks closer."""
        known, near = record_number(number), "near" in request.args
        if known is None:
            abort(404)
        try:
            alarm = self._runs.alarm(known)
        except NoSuchAlarmError:
            return show(NO_SUCH_ALARM, 404)
        except RecordError as error:
            return unreadable(error)
        drawing, meters, silence = self._close_up(known, near=near)
        cause, stop = alarm.raised.cause, stop_of(alarm)
        return render_template(
            "alarm.html",
            alarm=past(alarm),
            steps=steps(alarm),
            title=self._title(alarm.raised.run_id),
            run_id=alarm.raised.run_id,
            did=done(cause, stop),
            advice=advice(cause),
            leads=LEADS.get(cause),
            drawing=drawing,
            meters=meters,
            silence=silence,
            near=near,
            near_s=NEAR_S,
            zone=zone_name(),
        )

    def _since_ms(self) -> int:
        """30 days ago on the daemon's clock, or on this machine's where the daemon is silent."""
        status = self._tank.status()
        now = datetime.now(UTC) if status is None else utc_of(status.utc)
        return to_ms(now) - LAST_DAYS * _DAY_MS

    def _close_up(self, number: int, *, near: bool) -> tuple[Drawing | None, dict[str, str], str]:
        """A close-up's drawing, how its meters' lines look, and why there is no more to see."""
        try:
            found = self._runs.close_up(number)
        except CodecError as error:
            return (
                None,
                {},
                _("The close-up is damaged and cannot be drawn: %(error)s.", error=error),
            )
        except RecordError as error:
            return None, {}, _("The close-up cannot be read: %(error)s.", error=error)
        if found is None:
            return None, {}, _("No close-up was kept of this alarm.")
        drawing = drawn(found, NEAR_S if near else math.inf)
        if drawing is None:
            return None, {}, _("Around this alarm nothing was read.")
        to_come = _(
            "What follows the alarm is kept %(seconds)s s after it.", seconds=f"{AFTER_S:g}"
        )
        return drawing, kinds(found.traces), "" if found.to_s > 0 else to_come

    def _title(self, run_id: int | None) -> str:
        try:
            return "" if run_id is None else self._runs.title(run_id)
        except RecordError:
            return ""
