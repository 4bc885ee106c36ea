"""Plans: those that are kept, and one in a form, checked and drawn as it is written."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from flask import Flask, Response, abort, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter
from pydantic import ValidationError

from daemon.api.errors import InputError
from daemon.api.explain import read_toml
from daemon.api.plans.file import PlanFile
from daemon.api.plans.kept import KeptPlan, name_of, named
from daemon.api.plans.text import plan_text, typed_of
from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.plans import DropPlanRequest, KeepPlanRequest, PlanCheck
from daemon.record.errors import RecordError
from web.drawings import plan_chart
from web.forms import Form, filled
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.language import marked
from web.plans import plan_forms
from web.plans.shelf import Shelf
from web.presses import whose
from web.record import Runs, record_number
from web.tank import Tank
from web.text import UNSURE, Trouble
from web.trouble import show
from web.typography import capital

CHECKS_A_MINUTE = "120 per minute"
"""What a script asks for while somebody types, and more."""

WHERE = "plan"

NO_SUCH_PLAN = Trouble(
    marked("No such plan is kept."), marked("It may have been deleted or renamed.")
)
UNREADABLE = marked("The folder of plans cannot be read.")


@dataclass(frozen=True, slots=True)
class Opened:
    """A plan in its form. name, seen: the file that it came from, empty for a new one.

    checked: what the daemon said, None where it was not asked; fault: why it could not be.
    """

    form: Form
    keep: Form
    name: str = ""
    seen: str = ""
    checked: PlanCheck | None = None
    fault: str = ""
    has_notes: bool = False


class PlanPages:
    """The views, over one daemon, one record and one folder of plans."""

    def __init__(self, tank: Tank, runs: Runs, shelf: Shelf) -> None:
        self._tank = tank
        self._runs = runs
        self._shelf = shelf

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        app.add_url_rule("/plans", "plans", self.page)
        app.add_url_rule("/plans/new", "plan_new", self.new)
        app.add_url_rule("/plans/edit", "plan_edit", self.edit)
        app.add_url_rule("/plans/file", "plan_file", self.file)
        app.add_url_rule("/plans/delete", "plan_delete", self.ask_to_delete)
        for name, view, limit in (
            ("check", self.check, CHECKS_A_MINUTE),
            ("keep", self.keep, ACTS_A_MINUTE),
            ("delete", self.delete, ACTS_A_MINUTE),
        ):
            limited = limiter.limit(limit)(view)
            endpoint = "plan_deleted" if name == "delete" else f"plan_{name}"
            app.add_url_rule(f"/plans/{name}", endpoint, limited, methods=["POST"])

    def page(self) -> ResponseReturnValue:
        """Show the plans that are kept."""
        try:
            listed = self._shelf.listed()
        except OSError as error:
            return folder_unreadable(error)
        return render_template("plans.html", plans=listed, folder=self._shelf.folder)

    def new(self) -> ResponseReturnValue:
        """Show an empty form, or one filled by the plan `copy` or that of the run `run`."""
        if "run" in request.args:
            run_id = record_number(request.args["run"])
            try:
                text = None if run_id is None else self._runs.plan(run_id)
            except RecordError:
                text = None
            return abort(404) if text is None else self._shown(self._opened(text))
        if "copy" in request.args:
            kept = self._kept(request.args["copy"])
            if not isinstance(kept, KeptPlan):
                return kept
            return self._shown(self._opened(kept.text, name=_copy_of(kept.name)))
        form = filled(plan_forms.groups(1, self._parts()), {})
        return self._shown(Opened(form, filled((plan_forms.KEEP,), {})))

    def edit(self) -> ResponseReturnValue:
        """Show the plan `plan` in its form."""
        kept = self._kept(request.args.get("plan", ""))
        if not isinstance(kept, KeptPlan):
            return kept
        opened = self._opened(kept.text, name=kept.name)
        has_notes = any(line.lstrip().startswith("#") for line in kept.text.splitlines())
        return self._shown(replace(opened, name=kept.name, seen=kept.sha256, has_notes=has_notes))

    def check(self) -> ResponseReturnValue:
        """Check and draw what was sent, after what was pressed on its stages: `do`."""
        return self._shown(self._checked(self._sent(request.form.get("do", ""))))

    def keep(self) -> ResponseReturnValue:
        """Have the daemon keep what was sent; then show the list, or with `then` the start."""
        opened = self._checked(self._sent())
        keep, form = opened.keep, opened.form
        text = plan_text(_tree(form))
        try:
            read_toml(text, WHERE, PlanFile)
            name = named(keep.text("name") or opened.name or name_of(form.text("title")))
            asked = KeepPlanRequest(
                name=name,
                plan=text,
                seen=opened.seen if name == opened.name and opened.seen else None,
                **whose(keep.text("who")),
            )
        except (InputError, ValidationError) as error:
            if isinstance(error, InputError) and error.where == "name":
                opened = replace(opened, keep=keep.refused(error))
            elif not opened.form.is_wrong:
                opened = replace(
                    opened, form=replace(form, unplaced=(_("That is longer than a plan may be."),))
                )
            return self._shown(opened, marked("Nothing was kept"))
        try:
            told = self._tank.act(asked)
        except DaemonUnreachableError:
            silent = _("The daemon does not answer. All of it stands here still.")
            return self._shown(replace(opened, keep=replace(keep, unplaced=(silent,))))
        if not told.ok:
            said = f"{capital(told.error or 'refused')}."
            return self._shown(replace(opened, keep=replace(keep, unplaced=(said,))))
        if request.form.get("then") == "start":
            return redirect(url_for("plan_start", plan=name), 303)
        kept = _("%(plan)s is kept.", plan=name)
        if opened.form.is_wrong:
            kept = _("%(plan)s is kept, but would not work here as it is.", plan=name)
        flash(kept, "done")
        return redirect(url_for("plans"), 303)

    def file(self) -> ResponseReturnValue:
        """Give the plan `plan` as its file."""
        kept = self._kept(request.args.get("plan", ""))
        if not isinstance(kept, KeptPlan):
            return kept
        response = Response(kept.text, mimetype="text/plain")
        response.headers.set("Content-Disposition", "attachment", filename=kept.path.name)
        return response

    def ask_to_delete(self) -> ResponseReturnValue:
        """Ask whether the plan `plan` shall be deleted."""
        kept = self._kept(request.args.get("plan", ""))
        if not isinstance(kept, KeptPlan):
            return kept
        return render_template("plan_delete.html", kept=kept)

    def delete(self) -> ResponseReturnValue:
        """Have the daemon delete a plan. Forms: `plan`, and `seen`, its file's SHA-256."""
        try:
            name, seen = request.form.get("plan", ""), request.form.get("seen", "")
            asked = DropPlanRequest(name=name, seen=seen, **whose())
        except ValidationError:
            abort(404)
        try:
            told = self._tank.act(asked)
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        if told.ok:
            flash(_("%(plan)s is deleted.", plan=asked.name), "done")
        else:
            flash(told.error or "refused")
        return redirect(url_for("plans"), 303)

    def _kept(self, name: str) -> KeptPlan | ResponseReturnValue:
        """The plan of this name with a text, or the page that says why not."""
        try:
            kept = self._shelf.plan(name)
        except OSError as error:
            return folder_unreadable(error)
        if kept is None:
            return show(NO_SUCH_PLAN, 404, (url_for("plans"), _("To the plans")))
        return kept

    def _parts(self) -> list[str]:
        try:
            return [each.made.name for each in self._runs.parts()]
        except RecordError:
            return []

    def _opened(self, text: str, name: str = "") -> Opened:
        """A plan's text in its form, checked."""
        keep = filled((plan_forms.KEEP,), {"name": name, "who": ""})
        try:
            typed = typed_of(text)
        except ValueError as error:
            form = filled(plan_forms.groups(1, self._parts()), {})
            said = _("It cannot be shown in a form: %(why)s. Mend the file by hand.", why=error)
            return Opened(replace(form, unplaced=(said,)), keep)
        form = self._filled(typed)
        known = {each.key for each in form.fields}
        if lost := [key for key in typed if key not in known]:
            keys = ", ".join(lost[:5])
            said = _("Not in this form, and lost once it is kept: %(keys)s.", keys=keys)
            form = replace(form, unplaced=(said,))
        return self._checked(Opened(form, keep))

    def _sent(self, do: str = "") -> Opened:
        sent = plan_forms.rearranged(request.form, do)
        keep = filled((plan_forms.KEEP,), request.form)
        name, seen = request.form.get("opened", ""), request.form.get("seen", "")
        has_notes = request.form.get("notes", "") == "1"
        return Opened(self._filled(sent), keep, name, seen, has_notes=has_notes)

    def _filled(self, typed: Mapping[str, str]) -> Form:
        parts = self._parts()
        if (part := typed.get("part", "")) and part not in parts:
            parts.append(part)
        form = filled(plan_forms.groups(plan_forms.stages_in(typed), parts), typed)
        return replace(form, asked=True)

    def _checked(self, opened: Opened) -> Opened:
        """The same with what is wrong in it, and what the daemon says where nothing is."""
        form = opened.form
        if not form.filled:
            return opened
        text = plan_text(_tree(form))
        try:
            read_toml(text, WHERE, PlanFile)
        except InputError as error:
            return replace(opened, form=form.refused(error, plan_forms.NEAR))
        try:
            found = self._tank.check(text)
        except (DaemonUnreachableError, ValidationError):
            return replace(opened, fault=_("The daemon does not answer: nothing is drawn."))
        if found.problems:
            said = tuple(plan_forms.at_its_field(each, form.filled) for each in found.problems)
            form = form.refused(InputError(WHERE, said), plan_forms.NEAR)
        return replace(opened, form=form, checked=found)

    def _shown(
        self, opened: Opened, what: str = marked("It would not work")
    ) -> ResponseReturnValue:
        checked = opened.checked
        course = None if checked is None else checked.course
        form, keep = opened.form, opened.keep
        html = render_template(
            "plan.html",
            opened=opened,
            form=form,
            keep=keep,
            stages=plan_forms.stages_of(form),
            most_stages=plan_forms.MOST_STAGES,
            what=_(what),
            course=course,
            chart=None if course is None else plan_chart.drawn(course),
            text=plan_text(_tree(form)),
            folder=self._shelf.folder,
        )
        return html, 422 if request.endpoint == "plan_keep" else 200


def _tree(form: Form) -> dict[str, Any]:
    """What was typed as a plan's tables; a number of parts is one."""
    tree = form.tree()
    copies = tree.get("copies", "")
    if copies.isascii() and copies.isdigit():
        tree["copies"] = int(copies)
    return tree


def _copy_of(name: str) -> str:
    return name_of(_("%(plan)s copy", plan=name))


def folder_unreadable(error: OSError) -> tuple[str, int]:
    """The page where the folder of plans does not give what was asked of it."""
    return show(Trouble(UNREADABLE, f"{capital(error.strerror or str(error))}."), 503)
