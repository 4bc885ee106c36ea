"""Pages that ask for figures and answer with a report: Hull cell, filtration, drag-out.

They need neither daemon nor record, and are filled in from the bath's description where they can.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from flask import Flask, render_template, request
from flask.typing import ResponseReturnValue

from daemon.api.errors import InputError
from daemon.api.figures import bath_figures, hull, rate_figures
from daemon.api.report import Report
from daemon.bath.description import Description
from web.bath.analysis_forms import METHODS
from web.bath.known import known
from web.forms import Field, Form, Group, filled
from web.language import gettext as _
from web.record import Runs
from web.tank import Tank

_CELLS = ("267 mL", "1000 mL")


@dataclass(frozen=True, slots=True)
class Bar:
    """A place on the Hull cell's panel: where, how long its bar is (%), and what it stands for."""

    where: str
    percent: float
    what: str


@dataclass(frozen=True, slots=True)
class Asked:
    """A page: its name and heading, the kind of pages it is among, its fields, and its answer."""

    name: str
    says: str
    asks: str
    among: str
    groups: Callable[[Description], tuple[Group, ...]]
    answer: Callable[[dict[str, Any]], Report]


class AskedPages:
    """The views, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask) -> None:
        """Give each view its address."""
        for address, asked in ASKED.items():
            app.add_url_rule(address, asked.name, self.page, defaults={"asked": asked})

    def page(self, asked: Asked) -> ResponseReturnValue:
        """Show the form, and the answer to what was sent of it."""
        described = known(self._tank, self._runs).description
        form, report = _answered(asked, filled(asked.groups(described), request.args))
        bars = _panel(form) if report is not None and asked.name == "hull" else ()
        html = render_template(
            "asked.html", asked=asked, methods=METHODS, form=form, report=report, bars=bars
        )
        return html, 422 if form.is_wrong else 200


def _answered(asked: Asked, form: Form) -> tuple[Form, Report | None]:
    if not form.asked:
        return form, None
    try:
        return form, asked.answer(form.tree())
    except InputError as error:
        return form.refused(error), None


def _panel(form: Form) -> tuple[Bar, ...]:
    """The whole panel of the cell and current that were asked about."""
    read = hull.HullForm.model_validate(
        {"current": form.text("current"), "cell": form.text("cell")}
    )
    rows = hull.panel(read.current, hull.CELLS[read.cell])
    most = max(a_dm2 for _, a_dm2, _ in rows)
    return tuple(Bar(where, 100 * a_dm2 / most, what) for where, a_dm2, what in rows)


def _hull(_bath: Description) -> tuple[Group, ...]:
    return (
        Group(
            "The cell",
            (Field("current", "Current", "2 A", "2 A"), Field("cell", "Cell", options=_CELLS)),
        ),
        Group(
            "Which density is there? Places from the end of high density",
            tuple(
                Field(f"at[{n}]", _("Place %(number)s", number=n), "", x)
                for n, x in ((1, "2 in"), (2, "5 cm"))
            ),
        ),
        Group(
            "Where is this density?",
            tuple(
                Field(f"density[{n}]", _("Density %(number)s", number=n), "", x)
                for n, x in ((1, "3 A/dm²"), (2, "20 ASF"))
            ),
        ),
        Group(
            "It came out bright",
            (Field("bright[1]", "From", "", "1.2 cm"), Field("bright[2]", "To", "", "6 cm")),
        ),
    )


def _rates(described: Description) -> tuple[Group, ...]:
    known = next((x for x in described.additives if x.rate_ml_kah and x.dose_ml), None)
    rate, dose = (
        ("", "") if known is None else (f"{known.rate_ml_kah:g} mL/kAh", f"{known.dose_ml:g} mL")
    )
    return (
        Group(
            _("An additive")
            if known is None
            else _("An additive; the %(name)s's as it is set", name=known.name),
            (
                Field("rate", "Charge uses up", rate, "150 mL/kAh"),
                Field("dose", "A dose is", dose, "5 mL"),
                Field("current", "At a current of", "", "3.5 A"),
            ),
        ),
    )


def _filtration(described: Description) -> tuple[Group, ...]:
    volume = "" if described.volume_l is None else f"{described.volume_l:g} L"
    return (
        Group(
            "Pump and bath",
            (
                Field("volume", "Bath", volume, "15 L"),
                Field("flow", "The pump moves", "", "60 L/h"),
            ),
        ),
        Group(
            "What is asked",
            (
                Field("for", "What it takes out in", "1 h", "1 h"),
                Field("share", "How long it takes for", "", "97 %"),
            ),
        ),
    )


def _drag_out(described: Description) -> tuple[Group, ...]:
    told = described.drag_out_ml_dm2
    volume = "" if described.volume_l is None else f"{described.volume_l:g} L"
    return (
        Group(
            "By the parts' area",
            (
                Field("area", "Area of the parts", "", "180 dm²"),
                Field("rate", "They carry away", "" if told is None else f"{told:g} mL/dm²",
                      "100 mL/m²"),
            ),
        ),
        Group(
            "By a tracer, between two analyses of it",
            (
                Field("start", "First analysis", "", "58 g/L"),
                Field("added", "Added meanwhile", "", "100 g"),
                Field("end", "Second analysis", "", "60 g/L"),
                Field("volume", "Bath", "", volume or "15 L"),
                Field("limit", "Each may be off by", "", "2 %"),
            ),
        ),
    )  # fmt: skip


ASKED = {
    "/analyses/hull": Asked(
        "hull", "The Hull cell's panel.",
        "Which current density is where, and what a bright range stands for.",
        "analyses", _hull, hull.hull,
    ),
    "/bath/rates": Asked(
        "rates", "Doses by the ampere-hour.", "How often a dose falls due at a rate.",
        "bath", _rates, rate_figures.doses,
    ),
    "/bath/filtration": Asked(
        "filtration", "Filtration.",
        "How often the pump turns the bath over, and what it takes out.",
        "bath", _filtration, bath_figures.filtration,
    ),
    "/bath/drag-out": Asked(
        "drag_out", "Drag-out.", "How much bath the parts carry away.",
        "bath", _drag_out, bath_figures.drag_out,
    ),
}  # fmt: skip
"""The pages by their addresses."""
