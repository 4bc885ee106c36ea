"""Parts: those that are kept, what weighings taught, and one more, by its mesh or as a shape."""

from dataclasses import dataclass, replace

from flask import Flask, abort, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.api.errors import InputError
from daemon.api.parts import kept_parts
from daemon.api.parts.form import read_part_form
from daemon.api.parts.report import area_report, sure
from daemon.api.parts.worked_out import Sources, Worked, worked_out
from daemon.api.report import Report
from daemon.api.runs import weighing_report
from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.unanswered import UnansweredError
from daemon.bath import weighings
from daemon.bath.errors import PartError
from daemon.bath.parts.apart import MOST_BYTES
from daemon.bath.parts.asked import KINDS, Question
from daemon.record.errors import NoSuchPartError, RecordError
from daemon.record.parts import Part
from web.forms import Form, filled
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.listing import unreadable
from web.parts import part_forms
from web.parts.meshes import Held, Meshes
from web.presses import whose
from web.record import Runs, record_number
from web.tank import Tank
from web.text import UNSURE
from web.times import stamp, zone_name
from web.trouble import show
from web.typography import capital
from web.units import in_units

_KEPT_S = 31_536_000
"""A browser may keep a kept part's picture for a year: it never changes."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a form came to: an area with its report, or what is known and what has to be said."""

    worked: Worked | None = None
    report: Report | None = None
    question: Question | None = None

    @property
    def area(self) -> str | None:
        """The area with its interval."""
        return None if self.worked is None else sure(self.worked.area)


class PartPages:
    """The views, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs, meshes: Meshes) -> None:
        self._tank = tank
        self._runs = runs
        self._meshes = meshes

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        app.add_url_rule("/parts", "parts", self.page)
        app.add_url_rule("/parts/picture/<number>.png", "part_picture", self.picture)
        app.add_url_rule("/parts/mesh/<sha256>.png", "mesh_picture", self.mesh_picture)
        app.add_url_rule("/parts/new", "part_new", self.opened)
        for name, view in (("work", self.work), ("keep", self.keep)):
            limited = limiter.limit(ACTS_A_MINUTE)(view)
            app.add_url_rule(f"/parts/new/{name}", f"part_{name}", limited, methods=["POST"])

    def page(self) -> ResponseReturnValue:
        """Show the parts that are kept, and what was weighed in the bath that the daemon has."""
        status = self._tank.status()
        try:
            parts = self._runs.parts()
            found = weighings.kept(self._runs.bath_entries(status.bath)) if status else ()
        except RecordError as error:
            return unreadable(error)
        return render_template(
            "part_list.html",
            parts=[(each, sure(kept_parts.area_of(each).budget(1)), _made(each)) for each in parts],
            pictured=self._runs.pictured(),
            status=status,
            learned=weighing_report.learned(found),
            zone=zone_name(),
        )

    def picture(self, number: str) -> ResponseReturnValue:
        """Give a kept part's picture."""
        known = record_number(number)
        try:
            data = None if known is None else self._runs.part_picture(known)
        except NoSuchPartError:
            data = None
        except RecordError as error:
            return unreadable(error)
        return _png(data, f"private, max-age={_KEPT_S}, immutable")

    def mesh_picture(self, sha256: str) -> ResponseReturnValue:
        """Give the picture of the mesh that was uploaded last."""
        return _png(self._meshes.picture(sha256), "no-store")

    def opened(self) -> ResponseReturnValue:
        """Show the form."""
        return self._shown(filled(part_forms.GROUPS, {}), None, Answer())

    def work(self) -> ResponseReturnValue:
        """Work the form out. Forms: its fields, `mesh` as a file, or `held`, the one uploaded."""
        form, held = self._sent()
        form, answer = self._answered(form, held)
        return self._shown(form, held, answer)

    def keep(self) -> ResponseReturnValue:
        """Have the daemon keep what was worked out. Forms: as for `work`, `name` and `who`."""
        form, held = self._sent()
        form, answer = self._answered(form, held)
        keep = filled((part_forms.KEEP,), request.form)
        if answer.worked is None:
            return self._shown(form, held, answer, keep)
        tree, name = part_forms.tree(form, held.name if held else None), keep.text("name")
        del tree["parts"]
        try:
            asked = kept_parts.request(answer.worked, tree, name, **whose(keep.text("who")))
            told = self._tank.act(asked)
        except InputError as error:
            return self._shown(form, held, answer, keep.refused(error))
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        if not told.ok:
            keep = replace(keep, unplaced=(f"{capital(told.error or 'refused')}.",))
            return self._shown(form, held, answer, keep)
        notes = "".join(_("; it %(note)s", note=note) for note in told.notes)
        flash(
            _(
                "%(name)s is kept as part %(entry)s%(notes)s.",
                name=capital(name),
                entry=told.entry,
                notes=notes,
            ),
            "done",
        )
        return redirect(url_for("parts"), 303)

    def _sent(self) -> tuple[Form, Held | None]:
        """The form, and the mesh that came with it or before it."""
        form = filled(part_forms.GROUPS, request.form)
        form = replace(form, asked=True)
        upload, sha256 = request.files.get(part_forms.MESH), request.form.get("held", "")
        try:
            # A form in which none was chosen sends one without a name, which is false.
            held = self._meshes.take(upload) if upload else self._meshes.held(sha256)
        except PartError as error:
            return _wrong(form, part_forms.MESH, str(error)), None
        if held is None and sha256:
            form = _wrong(form, part_forms.MESH, _("is no longer here: choose it again"))
        return form, held

    def _answered(self, form: Form, held: Held | None) -> tuple[Form, Answer]:
        if form.problems:
            return form, Answer()
        mesh = held.name if held else None
        tree = part_forms.tree(form, mesh)
        if not tree["parts"]:
            return _wrong(form, "parts[1]", _("choose a mesh file, or write a shape")), Answer()
        try:
            worked = worked_out(read_part_form(tree), self._sources(held))
            return form, Answer(worked, area_report(worked))
        except UnansweredError as error:
            return form, Answer(report=error.report, question=error.question)
        except InputError as error:
            key = part_forms.field_of(form, error.where, mesh)
            if key is not None:
                return _wrong(form, key, "; ".join(error.problems)), Answer()
            return form.refused(error), Answer()
        except RecordError as error:
            return replace(form, unplaced=(f"{capital(str(error))}.",)), Answer()

    def _sources(self, held: Held | None) -> Sources:
        kept = {each.made.name: kept_parts.area_of(each) for each in self._runs.parts()}
        return Sources(
            lambda text: self._meshes.source(held) if held and text == held.name else None,
            kept.get,
            lambda: tuple(kept),
            self._meshes.measured,
        )

    def _shown(
        self, form: Form, held: Held | None, answer: Answer, keep: Form | None = None
    ) -> ResponseReturnValue:
        keep = filled((part_forms.KEEP,), {}) if keep is None else keep
        wrong = any((form.problems, form.unplaced, keep.problems, keep.unplaced, answer.question))
        pictured = held is not None and self._meshes.picture(held.sha256) is not None
        html = render_template(
            "part_new.html",
            form=form,
            held=held,
            answer=answer,
            keep=keep,
            pictured=pictured,
            kinds=",".join(f".{kind}" for kind in KINDS),
            most_bytes=MOST_BYTES,
            status=self._tank.status(),
        )
        return html, 422 if wrong else 200


def _wrong(form: Form, key: str, said: str) -> Form:
    return replace(form, problems={**form.problems, key: f"{capital(said).rstrip('.')}."})


def _made(part: Part) -> str:
    made = part.made
    volume = (
        ""
        if made.volume_cm3 is None
        else in_units(_(", %(volume)s cm³ of matter", volume=f"{made.volume_cm3:.4g}"))
    )
    before = (
        "" if part.supersedes is None else _(", in place of %(number)s", number=part.supersedes)
    )
    return _(
        "From %(source)s%(volume)s. Part %(number)s%(before)s, %(at)s, by %(who)s.",
        source=made.made_from,
        volume=volume,
        number=part.id,
        before=before,
        at=_whole(stamp(made.utc_ms)),
        who=made.who,
    )


def _whole(text: str) -> str:
    """A moment that is not to be broken over two lines."""
    return text.replace("-", "\N{NON-BREAKING HYPHEN}").replace(" ", "\N{NO-BREAK SPACE}")


def _png(data: bytes | None, keep: str) -> ResponseReturnValue:
    if data is None:
        abort(404)
    return data, 200, {"Content-Type": "image/png", "Cache-Control": keep}
