"""A run that was cut short, on the first page: what may have passed, and going on with its part.

What is said and done here is what `tankhand settle` and `tankhand run --continue` say and do.
"""

from dataclasses import dataclass

from flask import Flask, flash, redirect, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.api.plans.proof import is_proof
from daemon.api.sentence import WITHOUT_CURRENT, duration
from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import SettleRequest, StartRequest, Status
from daemon.record.errors import RecordError
from daemon.record.interruptions import Interruption
from daemon.record.queries import Run
from daemon.units import UnitError, parse
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.presses import pass_on
from web.record import Runs
from web.tank import Tank
from web.typography import capital
from web.units import in_units

ANCHOR = "interrupted"
"""Where on the first page it stands."""

MOST = 3
"""Interruptions that are shown; who has left more unsettled finds the rest once these are."""


@dataclass(frozen=True, slots=True)
class Cut:
    """An interrupted run in words.

    `least` and `greatest` are the bounds of what passed, as texts with their unit; None where none
    is known. `settled` is the last word on it, empty while there is none. `goes_on`: it is the
    newest run's part, with which one may go on: `foreseen` says where, `refused` why it cannot be.
    """

    run_id: int
    title: str
    known: str
    unseen: str
    least: str
    greatest: str | None
    settled: str
    goes_on: bool = False
    foreseen: tuple[str, ...] = ()
    refused: str = ""


def cuts(tank: Tank, runs: Runs, status: Status | None) -> tuple[Cut, ...]:
    """The interruptions that wait for a person, newest first; none while a run is under way.

    Those are the ones that nobody has settled, and the newest run's as long as it is the newest.
    """
    if status is None or status.state not in WITHOUT_CURRENT:
        return ()
    try:
        newest, found = runs.interrupted()
    except RecordError:
        return ()
    return tuple(
        _cut(tank, run, cut, is_newest=run.id == newest and not is_proof(run.plan))
        for run, cut in found[:MOST]
    )


def _cut(tank: Tank, run: Run, cut: Interruption, *, is_newest: bool) -> Cut:
    greatest = None if cut.greatest_ah is None else _charge(cut.greatest_ah)
    least = _charge(cut.least_ah)
    if cut.lasted_s is None or greatest is None:
        unseen = _(
            "How long it was interrupted is not known, for the clock was not set: what passed has "
            "to be said before anybody goes on."
        )
    else:
        unseen = _(
            "In the %(time)s after that nobody looked: between %(least)s and %(greatest)s can "
            "have passed.",
            time=duration(cut.lasted_s),
            least=least,
            greatest=greatest,
        )
    foreseen, refused = _foreseen(tank, run.id) if is_newest else ((), "")
    return Cut(
        run_id=run.id,
        title=run.title,
        known=in_units(
            _(
                "The record knows it until %(charge)s Ah, %(time)s after its start.",
                charge=f"{run.charge_ah:.4f}",
                time=duration(run.elapsed_s),
            )
        ),
        unseen=in_units(unseen),
        least=least,
        greatest=greatest,
        settled=_settled(cut),
        goes_on=is_newest,
        foreseen=foreseen,
        refused=refused,
    )


def _settled(cut: Interruption) -> str:
    if not cut.settlements:
        return ""
    last = cut.settlements[-1].settled
    note = f" ({last.note})" if last.note else ""
    return in_units(
        _(
            "%(who)s said: %(charge)s passed%(note)s.",
            who=last.who,
            charge=_charge(last.charge_ah),
            note=note,
        )
    )


def _charge(charge_ah: float) -> str:
    """With the six decimals with which a bound may be given back."""
    return f"{charge_ah:.6f}".rstrip("0").rstrip(".") + " Ah"


def _foreseen(tank: Tank, run_id: int) -> tuple[tuple[str, ...], str]:
    """What going on would meet with, by the daemon; and why it cannot be, empty if it can."""
    try:
        answer = tank.foresee(run_id)
    except DaemonUnreachableError:
        return (), _("the daemon does not answer")
    if not answer.ok:
        return (), answer.error or "refused"
    return tuple(f"{capital(in_units(note))}." for note in answer.notes), ""


class InterruptionPresses:
    """The presses: what passed, and going on."""

    def __init__(self, tank: Tank) -> None:
        self._tank = tank

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each its address."""
        for name, view in (("settle", self.settle), ("go-on", self.go_on)):
            limited = limiter.limit(ACTS_A_MINUTE)(view)
            endpoint = name.replace("-", "_")
            app.add_url_rule(f"/interruption/{name}", endpoint, limited, methods=["POST"])

    def settle(self) -> ResponseReturnValue:
        """Keep a person's word. Forms: `run`; `charge` with its unit; `note`."""
        form = request.form
        try:
            charge_ah = _from_0(form.get("charge", ""))
        except UnitError as error:
            flash(f"charge: {error}")
            return redirect(url_for("now", _anchor=ANCHOR), 303)
        return pass_on(
            self._tank, SettleRequest, to=lambda _: url_for("now", _anchor=ANCHOR),
            run=form.get("run", ""), charge_ah=charge_ah, note=form.get("note", ""),
        )  # fmt: skip

    def go_on(self) -> ResponseReturnValue:
        """Start a run that goes on with the part. Forms: `run`, the one that was cut short."""
        return pass_on(self._tank, StartRequest, goes_on_from=request.form.get("run", ""))


def _from_0(text: str) -> float:
    charge_ah = parse(text, "A·h")
    if charge_ah < 0:
        raise UnitError(_("must not be less than 0 Ah, got %(text)s", text=repr(text)))
    return charge_ah
