"""The page of the proof test: how it stands, a walk step by step, and those that are kept.

The daemon leads the walk. The page shows how far it is, and hands on what a person answers: it may
be loaded again, be shown in several browsers at once, or die, and the walk is where it was.
"""

import secrets

from flask import Flask, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.api.sentence import DAEMON_DOWN, is_stale
from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import Answer, Status
from daemon.api.socket.proof import (
    AnswerProofRequest,
    BeginProofRequest,
    EndProofRequest,
    ProofStatus,
    ProofWalkStatus,
)
from daemon.record.errors import RecordError
from daemon.record.proofs import Proof
from daemon.units import UnitError, parse
from web.checks.proof_words import failed_of, left, word
from web.gate.access import signed_in
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.listing import A_PAGE, page_token
from web.presses import NAME_LIMIT, pass_on
from web.record import Runs
from web.tank import Tank
from web.times import stamp, zone_name
from web.typography import UNKNOWN
from web.units import in_units

CURRENT, CEILING = "0.2 A", "3 V"
"""What flows meanwhile, and below which voltage, unless somebody says otherwise."""


class ProofPage:
    """The views, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs
        # Another process has other forms: whoever follows a walk gets them anew.
        self._start = secrets.token_hex(4)

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address. Giving up takes the current away, and is never too much."""
        app.add_url_rule("/proof", "proof", self.page)
        for name, view in (("begin", self.begin), ("answer", self.answer)):
            limited = limiter.limit(ACTS_A_MINUTE)(view)
            app.add_url_rule(f"/proof/{name}", f"proof_{name}", limited, methods=["POST"])
        app.add_url_rule("/proof/end", "proof_end", self.end, methods=["POST"])

    def page(self) -> ResponseReturnValue:
        """Show it all. Query: `walk`, the one that is followed, and `before`, a kept one's number.

        503 without a daemon, with what the record has.
        """
        before, watched = page_token(), request.args.get("walk")
        status, proof = self._now()
        kept, absent = self._kept(before)
        newest = kept[0] if kept and before is None else None
        if status is None or proof is None:
            said = DAEMON_DOWN
        else:
            said = word(proof, newest, watched, status)
        walk = proof.walk if proof else None
        live = walk is not None and walk.ended is None
        html = render_template(
            "proof.html",
            said=said,
            proof=proof,
            status=status,
            walk=walk if walk is not None and (live or walk.id == watched) else None,
            live=live,
            polls=live or (proof is None and watched is not None),
            watched=walk.id if walk is not None and live else watched,
            key=f"{self._start} {signed_in()} {'silent' if proof is None else _key(walk)}",
            texts=_texts(status, proof),
            newest=newest,
            kept=[(each, stamp(each.made.utc_ms), failed_of(each)) for each in kept[:A_PAGE]],
            older=kept[A_PAGE - 1].id if len(kept) > A_PAGE else None,
            before=before,
            absent=absent,
            zone=zone_name(),
            current=CURRENT,
            ceiling=CEILING,
            name_limit=NAME_LIMIT,
        )
        return html, 200 if status else 503

    def begin(self) -> ResponseReturnValue:
        """Have a walk begun. Forms: `name` of who proves, `current` and `ceiling` with units."""
        form = request.form
        name = form.get("name", "").strip()
        if not name and signed_in() is None:
            flash(_("who proves has to be said"))
            return redirect(url_for("proof"), 303)
        try:
            current_a = _above_0("current", form.get("current", CURRENT), "A")
            ceiling_v = _above_0("ceiling", form.get("ceiling", CEILING), "V")
        except UnitError as error:
            flash(str(error))
            return redirect(url_for("proof"), 303)
        return pass_on(
            self._tank, BeginProofRequest, name=name, to=_followed,
            current_a=current_a, ceiling_v=ceiling_v,
        )  # fmt: skip

    def answer(self) -> ResponseReturnValue:
        """Pass an answer on. Forms: `walk` and `step` that were asked, `yes` 1 or 0."""
        form = request.form
        return pass_on(
            self._tank, AnswerProofRequest, to=lambda _: url_for("proof", walk=form.get("walk")),
            walk=form.get("walk", ""), step=form.get("step", ""), yes=form.get("yes", ""),
        )  # fmt: skip

    def end(self) -> ResponseReturnValue:
        """Give the walk up. Forms: `walk`."""
        walk = request.form.get("walk", "")
        return pass_on(
            self._tank, EndProofRequest, to=lambda _: url_for("proof", walk=walk), walk=walk
        )

    def _now(self) -> tuple[Status | None, ProofStatus | None]:
        status = self._tank.status()
        if status is None:
            return None, None
        try:
            return status, self._tank.proof()
        except DaemonUnreachableError:
            return None, None

    def _kept(self, before: int | None) -> tuple[list[Proof], str | None]:
        try:
            return self._runs.proofs(A_PAGE + 1, before), None
        except RecordError as error:
            return [], str(error)


def _followed(answer: Answer) -> str:
    """To the walk that was begun, or that is under way already."""
    walk = answer.proof.walk if answer.proof else None
    return url_for("proof", walk=walk.id) if walk else url_for("proof")


def _above_0(field: str, text: str, unit: str) -> float:
    value = parse(text, unit)
    if not value > 0:
        raise UnitError(
            _(
                "%(field)s: must be above 0 %(unit)s, got %(text)s",
                field=field,
                unit=unit,
                text=repr(text),
            )
        )
    return value


def _key(walk: ProofWalkStatus | None) -> str:
    """What changes whenever there is more to show than figures."""
    if walk is None:
        return "none"
    states = " ".join(step.state for step in walk.steps)
    ended = walk.ended is not None
    return f"{walk.id} {walk.step} {walk.todo}{walk.question}{walk.doing} {states} {ended}"


def _texts(status: Status | None, proof: ProofStatus | None) -> dict[str, str]:
    """What changes from second to second."""
    walk = proof.walk if proof else None
    known = status is not None and status.current_a is not None and not is_stale(status)
    return {
        "current": f"{status.current_a:z.3f}" if status and known else UNKNOWN,
        "output": "" if status is None else _("output on") if status.output_on else _("output off"),
        "left": in_units(left(walk)) if walk else "",
    }
