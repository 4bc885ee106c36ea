"""The bath: what is due, what was entered last, and one press that says that a dose is in."""

from flask import Flask, abort, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter
from pydantic import ValidationError

from daemon.api import pump_words
from daemon.api.bath import due_words
from daemon.api.sentence import utc_of
from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import BathEntryRequest, DueStatus, Status
from daemon.bath.components import VOLUME
from daemon.clock import to_ms
from daemon.record.errors import RecordError
from daemon.units import UnitError, parse
from web.bath.seen import Seen, seen
from web.gate.protection import ACTS_A_MINUTE
from web.presses import whose
from web.record import Runs
from web.tank import Tank
from web.text import UNSURE
from web.times import zone_name
from web.trouble import show
from web.typography import capital


class BathPage:
    """The view and its press, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        app.add_url_rule("/bath", "bath", self.page)
        limited = limiter.limit(ACTS_A_MINUTE)(self.dose)
        app.add_url_rule("/bath/dose", "dose", limited, methods=["POST"])

    def page(self) -> ResponseReturnValue:
        """Show what is due and what was entered last; 503 without a daemon, which knows it."""
        status = self._tank.status()
        seen, absent = self._seen(status)
        html = render_template(
            "bath.html",
            status=status,
            dues=due_lines(status) if status else [],
            doses=doses(status) if status else [],
            pumps=pump_lines(status) if status else [],
            seen=seen,
            absent=absent,
            zone=zone_name(),
        )
        return html, 200 if status else 503

    def dose(self) -> ResponseReturnValue:
        """Have the daemon enter a dose. Forms: `additive`, `amount` with its unit, `back`."""
        form = request.form
        back = url_for("bath" if form.get("back") == "bath" else "now")
        try:
            amount_ml = parse(form.get("amount", ""), "mL")
            asked = BathEntryRequest(
                kind="dose",
                amounts={form.get("additive", ""): amount_ml, VOLUME: amount_ml / 1000},
                **whose(),
            )
        except UnitError as error:
            flash(str(error))
            return redirect(back, 303)
        except ValidationError:
            abort(400)
        try:
            answer = self._tank.act(asked)
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        if not answer.ok:
            flash(answer.error or "refused")
        return redirect(back, 303)

    def _seen(self, status: Status | None) -> tuple[Seen | None, str | None]:
        """The bath in words and drawings; None with the reason where it cannot be read."""
        if status is None:
            return None, None
        try:
            return seen(self._runs.foresight(status.bath, to_ms(utc_of(status.utc))), status), None
        except RecordError as error:
            return None, str(error)


def doses(status: Status) -> list[tuple[str, DueStatus]]:
    """The doses that can be pressed, each with the key of the text that shows its press."""
    return [
        (dose_key(place), due)
        for place, due in enumerate(status.dues)
        if due.kind == "dose" and due.amount_ml is not None
    ]


def due_lines(status: Status) -> list[tuple[DueStatus, str, bool]]:
    """What falls due, in words, and whether somebody has to do it now: not what a pump gives."""
    by_pump = {pump.additive for pump in status.pumps if pump.gives_by_itself}
    return [
        (due, capital(due_words.line(due)), bool(due.doses) and due.name not in by_pump)
        for due in status.dues
    ]


def pump_lines(status: Status) -> list[tuple[str, bool]]:
    """What each dosing pump does, why it does not, and did last; whether somebody has to see."""
    return [
        (capital(pump_words.line(pump, status)), pump.kept_utc is not None) for pump in status.pumps
    ]


def dose_key(place: int) -> str:
    """The key among the page's texts of the dose at a place among what falls due."""
    return f"dose_{place}"
