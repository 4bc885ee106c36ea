"""Pages of what a bath is made from: making one up, what is in one that was mixed, topping one up.

Nothing of it needs a daemon but the entry of a bath that has been made.
"""

from collections.abc import Callable
from dataclasses import dataclass

from flask import Flask, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.api.bath.bath_texts import Written
from daemon.api.errors import InputError
from daemon.api.making import make_up_report
from daemon.api.making.entry import of_mixture, of_recipe, of_top_up
from daemon.api.making.make_up_report import MakeUpReport
from daemon.api.making.mixed import mixed_of
from daemon.api.making.recipe import PresentTable, RecipeFile, present_of, recipe_of
from daemon.api.quantities import positive
from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import EntryKind
from web.bath import recipe_forms
from web.bath.entering import WHO, entered
from web.bath.known import Known, known
from web.forms import Form, Group, filled
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.language import marked
from web.record import Runs
from web.tank import Tank
from web.text import UNSURE
from web.trouble import show

_FORM = "form"


@dataclass(frozen=True, slots=True)
class Way:
    """One of the pages: name, heading, fields, answer, what it enters and what that means."""

    name: str
    says: str
    asks: str
    groups: Callable[[Known], tuple[Group, ...]]
    answer: Callable[[Form], MakeUpReport]
    write: Callable[[Form, tuple[str, ...]], Written]
    kind: EntryKind = "make-up"
    means: str = marked("the account begins anew with this bath")


class MakeUpPages:
    """The views, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        for address, way in WAYS.items():
            app.add_url_rule(address, way.name, self.page, defaults={"way": way})
            view = limiter.limit(ACTS_A_MINUTE)(self.keep)
            app.add_url_rule(
                f"{address}/keep", f"{way.name}_keep", view,
                methods=["POST"], defaults={"way": way},
            )  # fmt: skip

    def page(self, way: Way) -> ResponseReturnValue:
        """Show the form, and the answer to what was sent of it."""
        of_bath = known(self._tank, self._runs)
        form, report = _answered(way, filled(way.groups(of_bath), request.args))
        return self._shown(way, of_bath, form, report)

    def keep(self, way: Way) -> ResponseReturnValue:
        """Have the daemon enter what was worked out: it is in the tank."""
        of_bath = known(self._tank, self._runs)
        form, report = _answered(way, filled(way.groups(of_bath), request.form))
        keep = filled((WHO,), request.form)
        if report is None:
            return self._shown(way, of_bath, form, report, keep)
        try:
            written = way.write(form, of_bath.additives)
        except InputError as error:
            return self._shown(way, of_bath, form.refused(error), report, keep)
        try:
            number = entered(self._tank, way.kind, written, keep.typed)
        except InputError as error:
            return self._shown(way, of_bath, form, report, keep.refused(error))
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        flash(
            _("Entered as number %(number)s: %(means)s.", number=number, means=_(way.means)), "done"
        )
        return redirect(url_for("bath"), 303)

    def _shown(
        self,
        way: Way,
        of_bath: Known,
        form: Form,
        report: MakeUpReport | None,
        keep: Form | None = None,
    ) -> ResponseReturnValue:
        keep = filled((WHO,), {}) if keep is None else keep
        wrong = form.is_wrong or keep.is_wrong
        html = render_template(
            "makeup.html",
            way=way,
            ways=WAYS.values(),
            bath=of_bath.bath,
            form=form,
            report=report,
            keep=keep,
        )
        return html, 422 if wrong else 200


def _answered(way: Way, form: Form) -> tuple[Form, MakeUpReport | None]:
    if not form.asked:
        return form, None
    try:
        return form, way.answer(form)
    except InputError as error:
        return form.refused(error, recipe_forms.NEAR), None


def _made_up(form: Form) -> MakeUpReport:
    return make_up_report.made_up(recipe_of(form.tree(), _FORM))


def _mixed(form: Form) -> MakeUpReport:
    tree = form.tree()
    other = tree.pop("for", None)
    mixture = mixed_of(tree, _FORM)
    return make_up_report.mixed(mixture, None if other is None else _volume_l("for", other))


def _topped_up(form: Form) -> MakeUpReport:
    recipe, present = _wanted_and_present(form)
    try:
        return make_up_report.topped_up(recipe, present)
    except ValueError as error:
        raise InputError(_FORM, (str(error),)) from error


def _wanted_and_present(form: Form) -> tuple[RecipeFile, PresentTable]:
    tree = form.tree()
    there = tree.pop("present", {})
    try:
        present = present_of(there, _FORM)
    except InputError as error:
        said = (f"present.{problem}" for problem in error.problems)
        raise InputError(_FORM, tuple(said)) from error
    return recipe_of(tree, _FORM), present


def _volume_l(key: str, text: str) -> float:
    try:
        return positive(text, "L")
    except ValueError as error:
        raise InputError(_FORM, (f"{key}: {error}",)) from error


def _write_recipe(form: Form, additives: tuple[str, ...]) -> Written:
    tree = form.tree()
    return of_recipe(recipe_of(tree, _FORM), tree, additives)


def _write_mixture(form: Form, additives: tuple[str, ...]) -> Written:
    tree = form.tree()
    if "for" in tree:
        raise InputError(
            _FORM,
            (_("for: for another volume it was not mixed: leave this out to enter what was"),),
        )
    return of_mixture(mixed_of(tree, _FORM), tree, additives)


def _write_top_up(form: Form, additives: tuple[str, ...]) -> Written:
    return of_top_up(*_wanted_and_present(form), form.tree(), additives)


WAYS = {
    "/makeup": Way(
        "makeup",
        "Make up a bath.",
        marked("Out comes what to weigh and pour, in which order."),
        lambda known: recipe_forms.makeup(known.description),
        _made_up,
        _write_recipe,
    ),
    "/makeup/mixed": Way(
        "mixed",
        "A bath was mixed so.",
        marked("Out comes what is in it, held against a published window."),
        lambda known: recipe_forms.mixed(known.description),
        _mixed,
        _write_mixture,
    ),
    "/makeup/top-up": Way(
        "top_up",
        "Top up a bath.",
        marked("Out comes what to add, or to take out, so that it is as it shall be."),
        lambda known: recipe_forms.topping_up(known.description, known.book),
        _topped_up,
        _write_top_up,
        "top-up",
        marked("all of it is one entry"),
    ),
}
"""The pages by their addresses."""
