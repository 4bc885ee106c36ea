"""The page of what a run has used and cost."""

from flask import Flask, render_template, request
from flask.typing import ResponseReturnValue
from pydantic import BaseModel, ConfigDict, Field

from daemon.api.errors import InputError
from daemon.api.explain import read_tree
from daemon.api.quantities import Fraction
from daemon.api.report import Row
from daemon.api.runs import cost_words
from daemon.bath import cost
from daemon.record.errors import NoSuchRunError, RecordError
from web import forms
from web.bath.known import known
from web.forms import Form, Group, filled
from web.language import gettext as _
from web.record import Runs
from web.tank import Tank

_WHERE = "cost"


class CostForm(BaseModel):
    """A run, how many parts hung in it, and what the supply gives of what it takes."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    run: int = Field(ge=1, le=2**63 - 1, description="the run's number", examples=["12"])
    parts: int = Field(1, ge=1, le=10_000)
    efficiency: Fraction = cost.SUPPLY_EFFICIENCY


class CostPage:
    """The view, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask) -> None:
        """Give the view its address."""
        app.add_url_rule("/bath/cost", "cost", self.page)

    def page(self) -> ResponseReturnValue:
        """Show the form, filled in for the newest run, and the answer to what was sent of it."""
        form = filled(self._groups(), request.args)
        rows: tuple[Row, ...] = ()
        if form.asked:
            try:
                rows = tuple(self._rows(form))
            except InputError as error:
                form = form.refused(error)
        html = render_template("cost.html", form=form, rows=rows)
        return html, 422 if form.is_wrong else 200

    def _groups(self) -> tuple[Group, ...]:
        try:
            newest = self._runs.newest()
        except RecordError:
            newest = None
        run = "" if newest is None else f"{newest.id}"
        return (
            Group(
                "The run",
                (
                    forms.Field("run", _("Run"), run, "12"),
                    forms.Field("parts", _("Parts that hung"), "1", "4"),
                    forms.Field("efficiency", _("The supply gives, of the mains"), "80 %", "80 %"),
                ),
            ),
        )

    def _rows(self, form: Form) -> tuple[Row, ...]:
        asked = read_tree(form.tree(), _WHERE, CostForm)
        described = known(self._tank, self._runs).description
        try:
            run, cell = self._runs.with_energy(asked.run)
        except NoSuchRunError as error:
            raise InputError("run", (str(error),)) from error
        except RecordError as error:
            raise InputError(
                _WHERE, (_("the record cannot be read: %(error)s", error=error),)
            ) from error
        used = cost.cost(cost.deposited_g(run), run.charge_ah, cell, described, asked.efficiency)
        return tuple(cost_words.rows(run, cell, used, asked.parts))
