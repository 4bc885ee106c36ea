"""Starting a plan that is kept: a page that shows what will happen and asks, and one start."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from flask import Flask, abort, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter
from pydantic import ValidationError

from daemon.api.errors import InputError
from daemon.api.plans.file import PlanFile
from daemon.api.plans.kept import KeptPlan
from daemon.api.report import Row
from daemon.api.sentence import clock, duration
from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import StartRequest, Status
from daemon.api.socket.plans import PlanCheck, PlanCourse
from daemon.record.errors import RecordError
from web.drawings import plan_chart
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.language import ngettext
from web.listing import unreadable
from web.plans.pages import NO_SUCH_PLAN, folder_unreadable
from web.plans.shelf import Shelf
from web.presses import whose
from web.record import Runs, record_number
from web.tank import Tank
from web.text import UNSURE
from web.trouble import show
from web.units import as_set


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked about a plan before it starts.

    checked: what the daemon said of it, None where it does not answer. after_run: the newest run
    now, 0 for none; a start that is asked for twice names it twice, and only the first is done.
    """

    kept: KeptPlan
    file: PlanFile
    status: Status | None
    checked: PlanCheck | None
    after_run: int

    @property
    def in_the_way(self) -> tuple[str, ...]:
        """Every reason why it cannot start now."""
        if self.checked is None:
            return (_("the daemon does not answer"),)
        problems = (each.partition(": ")[2] for each in self.checked.problems)
        return (*problems, *self.checked.not_now)


class StartPages:
    """The question and the press, over one daemon, one record and one folder of plans."""

    def __init__(self, tank: Tank, runs: Runs, shelf: Shelf) -> None:
        self._tank = tank
        self._runs = runs
        self._shelf = shelf

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give both their address."""
        app.add_url_rule("/plans/start", "plan_start", self.ask)
        limited = limiter.limit(ACTS_A_MINUTE)(self.start)
        app.add_url_rule("/plans/start", "plan_started", limited, methods=["POST"])

    def ask(self) -> ResponseReturnValue:
        """Show what starting the plan `plan` would bring, and ask."""
        return self._shown(request.args.get("plan", ""), "")

    def start(self) -> ResponseReturnValue:
        """Start a run. Forms: `plan`, `seen`, its file's SHA-256, and `after`, the newest run.

        A press that comes twice, or a page that is loaded again, starts nothing more.
        """
        name, seen = request.form.get("plan", ""), request.form.get("seen", "")
        after = request.form.get("after", "")
        after_run = 0 if after == "0" else record_number(after)
        if after_run is None:
            abort(400)
        try:
            kept = self._shelf.plan(name)
        except OSError as error:
            return folder_unreadable(error)
        if kept is None or kept.sha256 != seen:
            said = _("the plan was changed after this was asked; as it is now, it is shown below")
            return self._shown(name, said)
        try:
            asked = StartRequest(plan=kept.text, after_run=after_run, **whose())
            answer = self._tank.act(asked)
        except ValidationError:
            abort(400)
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        if not answer.ok:
            return self._refused(name, after_run, answer.error or "refused")
        if answer.warning is not None:
            flash(answer.warning, "warning")
        return redirect(url_for("now"), 303)

    def _refused(self, name: str, after_run: int, error: str) -> ResponseReturnValue:
        status = self._tank.status()
        if status is not None and status.run is not None and status.run.run_id > after_run:
            run = status.run.run_id
            said = _(
                "run %(run)s was started already, and this press started nothing more", run=run
            )
            flash(said, "warning")
            return redirect(url_for("now"), 303)
        return self._shown(name, error)

    def _shown(self, name: str, refused: str) -> ResponseReturnValue:
        try:
            kept = self._shelf.plan(name)
            question = None if kept is None else self._question(kept)
        except OSError as error:
            return folder_unreadable(error)
        except RecordError as error:
            return unreadable(error)
        if question is None:
            return show(NO_SUCH_PLAN, 404, (url_for("plans"), _("To the plans")))
        course = None if question.checked is None else question.checked.course
        html = render_template(
            "plan_start.html",
            asked=question,
            refused=refused,
            course=course,
            chart=None if course is None else plan_chart.drawn(course),
            rows=_rows(question, course),
            done_at=None if course is None else _done_at(course, question.status),
            notes=() if question.checked is None else question.checked.notes,
            interlocks=() if question.checked is None else question.checked.interlocks,
        )
        return html, 409 if refused else 200

    def _question(self, kept: KeptPlan) -> Question | None:
        file = kept.read
        if isinstance(file, InputError):
            return None
        status, newest = self._tank.status(), self._runs.newest()
        known = [0 if newest is None else newest.id]
        if status is not None and status.run is not None:
            known.append(status.run.run_id)
        try:
            checked = None if status is None else self._tank.check(kept.text)
        except DaemonUnreachableError:
            checked = None
        return Question(kept, file, status, checked, max(known))


def _rows(question: Question, course: PlanCourse | None) -> tuple[Row, ...]:
    """What will happen, in figures."""
    file, status = question.file, question.status
    caps = f"{file.caps.charge:.4g} Ah, {duration(file.caps.duration)}"
    rows = [Row(_("target"), as_set(file.target, "µm"))]
    if course is not None:
        greatest_a = max(stage.current_a for stage in course.stages)
        count = len(course.stages)
        rows += [
            Row(_("stages"), ngettext("one", "%(num)d", count)),
            Row(_("takes"), duration(course.duration_s)),
            Row(_("charge"), f"{course.charge_ah:.4g} Ah"),
            Row(
                _("at most"),
                f"{greatest_a:.4g} A, {greatest_a / course.area_dm2:.3g} A/dm² on "
                f"{course.area_dm2:.4g} dm²",
            ),
        ]
    rows.append(Row(_("never passes"), caps))
    if status is not None:
        rows.append(
            Row(
                _("bath"),
                _(
                    "%(bath)s, %(charge)s Ah so far",
                    bath=status.bath,
                    charge=f"{status.bath_charge_ah:.4g}",
                ),
            )
        )
    return tuple(rows)


def _done_at(course: PlanCourse, status: Status | None) -> str:
    """When it would be done, on this machine's clock."""
    rate = 1.0 if status is None else status.rate
    now = datetime.now(UTC).astimezone()
    try:
        done = now + timedelta(seconds=course.duration_s / rate)
    except OverflowError:
        return ""
    return clock(done, now, None)
