"""Rehearsals: a plan on a simulated tank that is fitted to this bath, and runs against theirs."""

from flask import Flask, abort, render_template, request
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter
from pydantic import ValidationError

from daemon.api.rehearsal import rehearsal_words
from daemon.api.rehearsal.after import After, compared
from daemon.api.rehearsal.mishaps import KINDS
from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import RehearseRequest
from daemon.api.socket.rehearsal import Rehearsal
from daemon.record.errors import NoSuchRunError, NotForetoldError, RecordError
from daemon.record.queries import Run
from web.drawings.rehearsal_chart import drawn
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.language import marked
from web.listing import unreadable
from web.plans.shelf import Shelf
from web.record import Runs, record_number
from web.tank import Tank
from web.text import Trouble
from web.trouble import show
from web.typography import capital

NEWEST = 12
"""Runs whose plans can be taken, and which can be looked back at."""

LONGEST = 6000
"""Characters of a plan that fit a form here; one has one or two thousand."""

NOT_NOW = marked("The daemon does not answer, so nothing can be rehearsed on this page.")


class RehearsePages:
    """The views, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs, shelf: Shelf) -> None:
        self._tank = tank
        self._runs = runs
        self._shelf = shelf

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        app.add_url_rule("/rehearse", "rehearse", self.page)
        limited = limiter.limit(ACTS_A_MINUTE)(self.rehearse)
        app.add_url_rule("/rehearse", "rehearsed", limited, methods=["POST"])
        app.add_url_rule("/rehearse/<number>", "rehearsal_after", self.after)

    def page(self) -> ResponseReturnValue:
        """Show the form, with the plan that is kept as `plan`, or that of the run `run`."""
        run_id = record_number(request.args.get("run", ""))
        plan = "" if run_id is None else self._plan(run_id)
        if "plan" in request.args:
            plan = self._kept(request.args["plan"])
        wrong = (
            ""
            if len(plan) <= LONGEST
            else _("The plan is longer than %(longest)s characters.", longest=LONGEST)
        )
        return self._shown(plan, "", "", None, wrong)

    def rehearse(self) -> ResponseReturnValue:
        """Rehearse what was sent: `plan`, `mishaps` a line each, `parts`."""
        form = request.form
        plan, mishaps, parts = form.get("plan", ""), form.get("mishaps", ""), form.get("parts", "")
        plan = plan.replace("\r\n", "\n")
        lines = tuple(line.strip() for line in mishaps.splitlines() if line.strip())
        try:
            asked = RehearseRequest(
                plan=plan,
                mishaps=lines or None,
                copies=int(parts) if parts.strip() else None,
            )
        except (ValidationError, ValueError):
            wrong = _("Parts are a whole number from 1 to 1000, and each mishap is one short line.")
            return self._shown(plan, mishaps, parts, None, wrong), 400
        if not plan.strip():
            return self._shown(plan, mishaps, parts, None, _("The plan is missing.")), 400
        try:
            answer = self._tank.rehearse(asked)
        except DaemonUnreachableError:
            return self._shown(plan, mishaps, parts, None, _(NOT_NOW)), 503
        return self._shown(plan, mishaps, parts, answer.rehearsal, answer.error or "")

    def after(self, number: str) -> ResponseReturnValue:
        """Show a run beside what was foretold of it."""
        run_id = record_number(number)
        if run_id is None:
            abort(404)
        try:
            found: After = self._runs.rehearsal_after(run_id)
        except NoSuchRunError:
            abort(404)
        except NotForetoldError as error:
            return show(
                Trouble(_("There is no rehearsal to look at."), f"{capital(str(error))}."), 404
            )
        except RecordError as error:
            return unreadable(error)
        return render_template(
            "rehearsal_after.html",
            run=found.run,
            report=compared(found),
            chart=drawn(found.rehearsal, found),
        )

    def _shown(
        self, plan: str, mishaps: str, parts: str, found: Rehearsal | None, wrong: str
    ) -> str:
        told = () if found is None else found.mishaps
        return render_template(
            "rehearse.html",
            plan=plan,
            mishaps=mishaps,
            parts=parts,
            wrong=wrong,
            kinds=KINDS,
            longest=LONGEST,
            runs=self._newest(),
            found=found,
            verdict="" if found is None else capital(rehearsal_words.verdict(found)),
            report=None if found is None else rehearsal_words.report(found),
            told=[(each.title, rehearsal_words.mishap(each)) for each in told],
            chart=None if found is None else drawn(found),
        )

    def _newest(self) -> list[Run]:
        try:
            return self._runs.newest_runs(NEWEST)
        except RecordError:
            return []

    def _kept(self, name: str) -> str:
        try:
            kept = self._shelf.plan(name)
        except OSError:
            kept = None
        if kept is None:
            abort(404)
        return kept.text

    def _plan(self, run_id: int) -> str:
        try:
            return self._runs.plan(run_id)
        except RecordError:
            abort(404)
