"""The list of runs, newest first, and looking for some of them."""

from dataclasses import dataclass

from flask import Flask, render_template, request
from flask.typing import ResponseReturnValue

from daemon.api.bath.bath_texts import day_begin, day_end
from daemon.api.errors import InputError
from daemon.api.plans.proof import MARKS
from daemon.api.rounding import fixed
from daemon.api.sentence import duration
from daemon.clock import to_ms
from daemon.control.states import OPEN, State
from daemon.record.errors import RecordError
from daemon.record.queries import Run
from daemon.record.recovery import RUNNING
from daemon.record.run_search import Wanted
from web.forms import Field, Form, Group, filled
from web.language import gettext as _
from web.language import marked, ngettext
from web.listing import A_PAGE, page_token, unreadable
from web.record import Runs
from web.tank import Tank
from web.times import stamp, zone_name
from web.typography import capital
from web.units import as_set, part_of

ANY = "any"

ENDS = {
    ANY: (),
    "complete": ("complete",),
    "stopped": ("stopped",),
    "aborted": ("aborted",),
    "not over": (RUNNING,),
}
"""How a run may have ended, in the words that are chosen from, and its states in the record."""


@dataclass(frozen=True, slots=True)
class Line:
    """A run at one glance.

    share: of the target's thickness that is there, 0 to 1, None where it is not known yet. why: the
    reason for an end that was not the target. alarms: how many, in words, "" for none.
    """

    number: int
    at: str
    title: str
    much: str
    target: str
    share: float | None
    end: str
    why: str
    lasted: str
    alarms: str
    grave: bool


class RunListPage:
    """The view, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask) -> None:
        """Give the view its address."""
        app.add_url_rule("/runs", "runs", self.page)

    def page(self) -> ResponseReturnValue:
        """List runs, newest first; with fields of the form in the query those that fit.

        `before` in the query is the number of a run; the list then begins with the one before.
        """
        before = page_token()
        try:
            form = filled(_groups(self._runs.bath_names()), request.args)
            lines: list[Line] = []
            older = None
            try:
                found, alarms = self._runs.search(wanted(form), A_PAGE + 1, before)
                now = under_way(self._tank)
                lines = [_line(run, alarms.get(run.id, {}), now) for run in found[:A_PAGE]]
                older = found[A_PAGE - 1].id if len(found) > A_PAGE else None
            except InputError as error:
                form = form.refused(error)
        except RecordError as error:
            return unreadable(error)
        html = render_template(
            "runs.html",
            form=form,
            lines=lines,
            narrowed=_query(form),
            older=older,
            before=before,
            zone=zone_name(),
        )
        return html, 422 if form.is_wrong else 200


def under_way(tank: Tank) -> int | None:
    """The number of the run that the daemon leads now; None for none, or without its word."""
    status = tank.status()
    if status is None or status.run is None or State(status.state) not in OPEN:
        return None
    return status.run.run_id


def wanted(form: Form) -> Wanted:
    """What the form asks for, without proof tests. Raises InputError: no day, or days reversed."""
    since, until = form.text("since"), form.text("until")
    from_ms = to_ms(day_begin("since", since)) if since else None
    until_ms = to_ms(day_end("until", until)) if until else None
    if from_ms is not None and until_ms is not None and until_ms < from_ms:
        said = _("is before %(since)s, got %(until)s", since=since, until=until)
        raise InputError("until", (said,))
    bath = form.text("bath")
    return Wanted(
        words=tuple(form.text("words").split()),
        bath=None if bath == ANY else bath,
        from_utc_ms=from_ms,
        until_utc_ms=until_ms,
        states=ENDS[form.text("ended")],
        left_out=MARKS,
    )


def end_of(run: Run, *, under_way: bool = False) -> str:
    """How a run ended, in a word or two."""
    if run.state == RUNNING:
        return _("under way") if under_way else _("no end is known yet")
    return {"complete": _("complete"), "stopped": _("stopped")}.get(run.state, _("aborted"))


def alarms_in_words(counts: dict[str, int]) -> str:
    """How many alarms there were, and how many of them of high priority; "" for none."""
    number, high = sum(counts.values()), counts.get("high", 0)
    if not number:
        return ""
    said = ngettext("%(num)d alarm", "%(num)d alarms", number)
    return _("%(alarms)s, %(high)d high", alarms=said, high=high) if high else said


def _groups(baths: list[str]) -> tuple[Group, ...]:
    return (
        Group(
            marked("Look for runs"),
            (Field("words", marked("Part, plan or note"), "", "lamp foot"),),
            columns=1,
        ),
        Group(
            marked("Bath, days, end"),
            (
                Field("bath", marked("Bath"), ANY, options=(ANY, *baths)),
                Field("ended", marked("How it ended"), ANY, options=tuple(ENDS)),
                Field("since", marked("Started on or after"), "", "2026-11-01"),
                Field("until", marked("Started on or before"), "", "2026-11-30"),
            ),
            folded=True,
            columns=2,
        ),
    )


def _query(form: Form) -> dict[str, str]:
    """What narrows the list, to be carried on to its next page."""
    return {key: text for key, text in form.filled.items() if text != ANY}


def _line(run: Run, alarms: dict[str, int], now: int | None) -> Line:
    much, share = f"{run.charge_ah:.2f} Ah", None
    target = _("to be %(target)s", target=as_set(run.target_um, "µm"))
    if run.thickness_um is not None:
        there = fixed(run.thickness_um, 1, run.target_um)
        much, whole = part_of(there, f"{run.target_um:g}", "µm")
        target = _("of %(target)s", target=whole)
        share = max(0.0, min(1.0, run.thickness_um / run.target_um)) if run.target_um else None
    return Line(
        number=run.id,
        at=stamp(run.started_utc_ms)[:16],
        title=run.title or _("Run %(number)d", number=run.id),
        much=much,
        target=target,
        share=share,
        end=capital(end_of(run, under_way=run.id == now)),
        why="" if run.state == "complete" else capital(run.reason or ""),
        lasted="" if run.ended_utc_ms is None else duration(run.elapsed_s),
        alarms=alarms_in_words(alarms),
        grave=bool(alarms.get("high")),
    )
