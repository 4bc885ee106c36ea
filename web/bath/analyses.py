"""Pages of analyses: those that are kept and where they lead, and a form for each titration."""

from dataclasses import dataclass
from typing import Any

from flask import Flask, abort, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.api.analyses.analysis import cautions, entry_facts, found
from daemon.api.analyses.kept_analyses import completed, listing
from daemon.api.analyses.restoring import read_restoring, restored
from daemon.api.analyses.titration import Titrated, read_titration, titrated
from daemon.api.bath.bath_texts import Written
from daemon.api.errors import InputError
from daemon.api.report import Report, Row
from daemon.api.socket.client import DaemonUnreachableError
from daemon.bath.analyses import Against
from daemon.bath.book import Book
from web.bath.analysis_forms import METHODS, RESTORING, Method, groups
from web.bath.entering import WHO, entered
from web.bath.known import Known, known
from web.drawings.trends import HEIGHT, WIDTH, drawings
from web.forms import Form, filled
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.record import Runs
from web.tank import Tank
from web.text import UNSURE
from web.trouble import show

NEWEST = 30
"""Kept analyses that are listed."""

NEAR = {"readings": "readings[1]", "blank": "blank[1]", "aliquot": "aliquot"}
"""Where what is wrong with a whole list is told."""


@dataclass(frozen=True, slots=True)
class Answer:
    """A titration worked out: the form as it was written, what was found, what the bath wants."""

    tree: dict[str, Any]
    done: Titrated
    found: Report
    wanted: Report


class AnalysisPages:
    """The views, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        app.add_url_rule("/analyses", "analyses", self.kept)
        app.add_url_rule("/analyses/<address>", "analysis", self.page)
        keep = limiter.limit(ACTS_A_MINUTE)(self.keep)
        app.add_url_rule("/analyses/<address>/keep", "analysis_keep", keep, methods=["POST"])

    def kept(self) -> ResponseReturnValue:
        """Show the trends and the list; 503 without a daemon, which says which bath it is."""
        of_bath = known(self._tank, self._runs)
        book = of_bath.book
        html = render_template(
            "analyses.html",
            methods=METHODS,
            of_bath=of_bath,
            drawings=() if book is None else drawings(book),
            rows=() if book is None else _listed(book),
            width=WIDTH,
            height=HEIGHT,
        )
        return html, 200 if of_bath.status else 503

    def page(self, address: str) -> ResponseReturnValue:
        """Show the form of a titration, and the answer to what was sent of it."""
        method, of_bath = _method(address), known(self._tank, self._runs)
        form = filled(groups(method, of_bath.book), request.args)
        form, answer = _answered(method, of_bath, form)
        return _shown(method, of_bath, form, answer)

    def keep(self, address: str) -> ResponseReturnValue:
        """Have the daemon enter a titration that was worked out."""
        method, of_bath = _method(address), known(self._tank, self._runs)
        form = filled(groups(method, of_bath.book), request.form)
        keep = filled((WHO,), request.form)
        form, answer = _answered(method, of_bath, form)
        if answer is None:
            return _shown(method, of_bath, form, None, keep)
        written = Written({}, entry_facts(answer.done, answer.tree))
        try:
            number = entered(self._tank, "analysis", written, keep.typed)
        except InputError as error:
            return _shown(method, of_bath, form, answer, keep.refused(error))
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        flash(_("Kept as entry %(number)s.", number=number), "done")
        return redirect(url_for("analyses"), 303)


def _method(address: str) -> Method:
    found = next((each for each in METHODS if each.address == address), None)
    if found is None:
        abort(404)
    return found


def _answered(method: Method, of_bath: Known, form: Form) -> tuple[Form, Answer | None]:
    if not form.asked:
        return form, None
    try:
        return form, _answer(method, of_bath, form)
    except InputError as error:
        return form.refused(error, NEAR), None


def _answer(method: Method, of_bath: Known, form: Form) -> Answer:
    tree = form.tree()
    restoring = {key: tree.pop(key) for key in RESTORING if key in tree}
    tree["titrant"] = method.titrant
    tree["component"] = method.component or tree["component"]
    done = titrated(read_titration(tree))
    wanted = read_restoring(restoring, done.form.component)
    if of_bath.book is not None:
        wanted = completed(wanted, of_bath.book)
    return Answer(tree, done, found(done), restored(wanted, done.analysis.concentration))


def _shown(
    method: Method,
    of_bath: Known,
    form: Form,
    answer: Answer | None,
    keep: Form | None = None,
) -> ResponseReturnValue:
    keep = filled((WHO,), {}) if keep is None else keep
    wrong = form.is_wrong or keep.is_wrong
    html = render_template(
        "analysis.html",
        methods=METHODS,
        method=method,
        bath=of_bath.bath,
        form=form,
        answer=answer,
        keep=keep,
        cautions=cautions(method.titrant),
    )
    return html, 422 if wrong else 200


def _listed(book: Book) -> tuple[Row, ...]:
    """The kept analyses, newest first; what is told of trends stands beside their drawings."""
    rows = listing(book, None, Against.TIME).rows
    return tuple(row for row in rows if row.name.isdigit())[:NEWEST]
