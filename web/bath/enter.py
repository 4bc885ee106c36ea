"""The pages on which is entered what was done to the bath, or seen of it."""

from flask import Flask, abort, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.api.errors import InputError
from daemon.api.socket.client import DaemonUnreachableError
from web.bath.enter_forms import ENTRIES, Entry
from web.bath.entering import WHO, entered, run_number
from web.bath.known import Known, known
from web.forms import Form, filled
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.record import Runs
from web.tank import Tank
from web.text import UNSURE
from web.trouble import show


class EnterPages:
    """The views, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        app.add_url_rule("/bath/enter", "enter_first", self.first)
        app.add_url_rule("/bath/enter/<kind>", "enter", self.page)
        keep = limiter.limit(ACTS_A_MINUTE)(self.keep)
        app.add_url_rule("/bath/enter/<kind>", "enter_keep", keep, methods=["POST"])

    def first(self) -> ResponseReturnValue:
        """Lead to the first of the forms."""
        return redirect(url_for("enter", kind=ENTRIES[0].kind))

    def page(self, kind: str) -> ResponseReturnValue:
        """Show the form of a kind of entry; 503 without a daemon, which alone enters."""
        return _shown(_entry(kind), known(self._tank, self._runs), _opened(_entry(kind), False))

    def keep(self, kind: str) -> ResponseReturnValue:
        """Have the daemon enter it."""
        entry, of_bath = _entry(kind), known(self._tank, self._runs)
        form = _opened(entry, True)
        try:
            run = run_number(form.text("run")) if form.text("run") else None
            written = entry.write(form, of_bath.description)
            number = entered(self._tank, entry.kind, written, form.typed, run=run)
        except InputError as error:
            return _shown(entry, of_bath, form.refused(error))
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        flash(_("Entered as number %(number)s.", number=number), "done")
        return redirect(url_for("bath"), 303)


def _entry(kind: str) -> Entry:
    found = next((each for each in ENTRIES if each.kind == kind), None)
    if found is None:
        abort(404)
    return found


def _opened(entry: Entry, sent: bool) -> Form:
    return filled((*entry.groups, WHO), request.form if sent else {})


def _shown(entry: Entry, of_bath: Known, form: Form) -> ResponseReturnValue:
    html = render_template("enter.html", entry=entry, entries=ENTRIES, of_bath=of_bath, form=form)
    if of_bath.status is None:
        return html, 503
    return html, 422 if form.is_wrong else 200
