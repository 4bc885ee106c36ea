"""Weighings: what a mass before and after says of a run, and those that are kept."""

from collections.abc import Sequence
from dataclasses import dataclass

from flask import Flask, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.api.bath.bath_texts import Written
from daemon.api.errors import InputError
from daemon.api.report import Report
from daemon.api.runs import weighing_report
from daemon.api.runs.weighing import Weighed, WeighingForm, entry_facts, read_weighing, weighed
from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.unanswered import UnansweredError
from daemon.bath import weighings
from daemon.bath.parts.asked import Question
from daemon.bath.run_charge import PartCharge
from daemon.bath.weighings import KeptWeighing
from daemon.record.errors import RecordError
from daemon.record.queries import Run
from daemon.record.recovery import RUNNING
from web.bath.entering import WHO, entered, run_number
from web.bath.known import Known, known
from web.forms import LONGEST, Field, Form, Group, filled
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.listing import page_after, page_token
from web.record import Runs
from web.tank import Tank
from web.text import UNSURE
from web.times import zone_name
from web.trouble import show

NEWEST = 10
"""Runs that are offered."""

_UNSAID = "not said"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a form came to: a weighing with its report, or what is known and what is asked."""

    done: Weighed | None = None
    report: Report | None = None
    question: Question | None = None

    @property
    def figure(self) -> str | None:
        """The area where one was asked for, else the efficiency, with its interval."""
        if self.done is None or self.report is None:
            return None
        wanted = "area" if self.done.area is not None else "efficiency"
        return next(row.text for row in self.report.rows if row.name == wanted)


class WeighPages:
    """The views, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        app.add_url_rule("/parts/weigh", "weigh", self.page)
        app.add_url_rule("/parts/weighings", "weighings", self.kept)
        keep = limiter.limit(ACTS_A_MINUTE)(self.keep)
        app.add_url_rule("/parts/weigh/keep", "weigh_keep", keep, methods=["POST"])

    def page(self) -> ResponseReturnValue:
        """Show the form, and the answer to what was sent of it; `run` alone fills that in."""
        of_bath, sent = known(self._tank, self._runs), request.args
        form = filled(_groups(sent.get("run", "")), sent if sent.keys() - {"run"} else {})
        return self._shown(of_bath, *self._answered(of_bath, form))

    def keep(self) -> ResponseReturnValue:
        """Have the daemon enter what was worked out."""
        of_bath = known(self._tank, self._runs)
        form, answer = self._answered(of_bath, filled(_groups(), request.form))
        keep = filled((WHO,), request.form)
        if answer.done is None:
            return self._shown(of_bath, form, answer, keep)
        written, run = Written({}, entry_facts(answer.done)), answer.done.part.last.id
        try:
            number = entered(self._tank, "weighing", written, keep.typed, run=run)
        except InputError as error:
            return self._shown(of_bath, form, answer, keep.refused(error))
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        flash(_("Kept as entry %(number)s.", number=number), "done")
        return redirect(url_for("weighings"), 303)

    def kept(self) -> ResponseReturnValue:
        """List the weighings, newest first, with what they teach; 503 without a daemon.

        `before` in the query is the number of an entry; the list begins with the one before.
        """
        of_bath, before = known(self._tank, self._runs), page_token()
        found = () if of_bath.book is None else weighings.kept(of_bath.book.entries)
        shown, older = page_after(found[::-1], lambda each: each.number, before)
        html = render_template(
            "weighings.html",
            of_bath=of_bath,
            learned=weighing_report.learned(found),
            rows=[(each, *weighing_report.line(each).split("  ", 1)) for each in shown],
            older=older,
            before=before,
            zone=zone_name(),
        )
        return html, 200 if of_bath.status else 503

    def _answered(self, of_bath: Known, form: Form) -> tuple[Form, Answer]:
        if not form.asked or of_bath.book is None:
            return form, Answer()
        tree = {key: value for key, value in form.tree().items() if value != _UNSAID}
        tree.pop("run", None)
        try:
            part = self._part(form.text("run"), of_bath.book.description.name)
            wanted = read_weighing(tree)
            done = _weighed_once(wanted, part, weighings.kept(of_bath.book.entries))
            return form, Answer(done, weighing_report.report(done))
        except UnansweredError as error:
            return form, Answer(report=error.report, question=error.question)
        except InputError as error:
            return form.refused(error), Answer()

    def _part(self, text: str, bath: str) -> PartCharge:
        """The part of the run that was typed. Raises InputError, of the field `run`."""
        run = run_number(text)
        try:
            return self._runs.part_charge(run, bath)
        except InputError as error:
            raise InputError("run", error.problems) from error
        except RecordError as error:
            raise InputError("run", (str(error),)) from error

    def _shown(
        self, of_bath: Known, form: Form, answer: Answer, keep: Form | None = None
    ) -> ResponseReturnValue:
        keep = filled((WHO,), {}) if keep is None else keep
        wrong = form.is_wrong or keep.is_wrong or answer.question is not None
        html = render_template(
            "weigh.html",
            of_bath=of_bath,
            form=form,
            answer=answer,
            keep=keep,
            runs=() if form.asked else self._offered(of_bath),
        )
        if of_bath.status is None:
            return html, 503
        return html, 422 if wrong else 200

    def _offered(self, of_bath: Known) -> list[Run]:
        """The newest runs of the bath that are over and not weighed."""
        if of_bath.book is None:
            return []
        done = {each.run_id for each in weighings.kept(of_bath.book.entries)}
        try:
            newest = self._runs.newest_runs(NEWEST)
        except RecordError:
            return []
        return [
            each
            for each in newest
            if each.bath == of_bath.bath and each.state != RUNNING and each.id not in done
        ]


def _groups(run: str = "") -> tuple[Group, ...]:
    """The fields: those of `tankhand weigh`, by the same keys."""
    return (
        Group(
            "The run and its masses",
            (
                Field("run", "Run", run[:LONGEST], "12"),
                Field("before", "Mass before it", "", "24.310 g"),
                Field("after", "Mass after it, rinsed and dry", "", "31.020 g"),
                Field("balance", "Balance within, if not a digit", "", "0.005 g"),
            ),
            columns=2,
        ),
        Group(
            "An area by an efficiency that is trusted",
            (Field("trust", "Trusted efficiency", "", "100 %"),),
            folded=True,
        ),
        Group(
            "If it does not fit",
            (Field("doubtful", "Averaged in", options=(_UNSAID, "include", "leave-out")),),
            folded=True,
        ),
    )


def _weighed_once(form: WeighingForm, part: PartCharge, before: Sequence[KeptWeighing]) -> Weighed:
    """Work it out; a run that was weighed already is told at its field."""
    try:
        return weighed(form, part, before)
    except InputError as error:
        if error.where == f"run {part.last.id}":
            raise InputError("run", error.problems) from error
        raise
