"""What is answered at each address: the tank now, its figures, its chart, the acts, the files."""

import mimetypes
import secrets
from dataclasses import asdict
from datetime import UTC, datetime, tzinfo
from zoneinfo import ZoneInfo

from flask import (
    Flask,
    Response,
    abort,
    jsonify,
    render_template,
    request,
)
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.api.sentence import utc_of
from daemon.api.socket.messages import ActRequest, RunStatus, Status
from daemon.record.errors import RecordError
from daemon.record.queries import Run
from web.alarms.presses import cards
from web.assets import KEEP, Assets
from web.bath.page import doses
from web.drawings import section
from web.drawings.chart import Panel, panels
from web.gate.access import access, signed_in
from web.gate.protection import ACTS_A_MINUTE, exempt_stops
from web.gate.rights import Right
from web.now.charts import Asked, Charts
from web.now.details import details_of
from web.now.figures import View, silent_view, view_of
from web.now.interruption import cuts
from web.presses import pass_on
from web.record import GREATEST_NUMBER, Runs, record_number
from web.tank import Tank
from web.units import units

PLAIN_POINTS = 160
"""Points of the chart drawn without a script: one for every two pixels of a phone."""

MOST_POINTS = 2000
"""More than the widest screen can show."""


class Pages:
    """The views, over one daemon, one record and one set of static files."""

    def __init__(self, tank: Tank, runs: Runs, assets: Assets) -> None:
        self._tank = tank
        self._runs = runs
        self._assets = assets
        self._charts = Charts(runs)
        # Tells a script that it speaks to another process than the one that wrote its page.
        self._start = secrets.token_hex(4)

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        app.add_url_rule("/", "now", self.now)
        app.add_url_rule("/status.json", "status", self.status)
        app.add_url_rule("/details", "details", self.details)
        app.add_url_rule("/chart.json", "chart", self.chart)
        app.add_url_rule("/static/<tag>/<name>", "asset", self.asset)
        limited = limiter.limit(ACTS_A_MINUTE, exempt_when=exempt_stops)(self.act)
        app.add_url_rule("/act/<ask>", "act", limited, methods=["POST"])

    def now(self) -> ResponseReturnValue:
        """Show the tank as it is, whole and readable without any script."""
        status = self._tank.status()
        if status is None:
            return self._now(silent_view(), None), 503
        return self._now(view_of(status, None), status)

    def status(self) -> Response:
        """Give the changing part of the page; 304 where the asker has it, 503 without a daemon.

        `zone` in the query is the reader's time zone by its IANA name; unknown ones are ignored.
        """
        status = self._tank.status()
        view = silent_view() if status is None else view_of(status, _zone(request.args.get("zone")))
        response = jsonify(asdict(view) | {"start": self._shown_by()})
        if status is None:
            response.status_code = 503
            return response
        response.add_etag()
        response.make_conditional(request)
        return response

    def details(self) -> ResponseReturnValue:
        """Give what is behind the figures, as a piece of the page; 503 without a daemon."""
        status = self._tank.status()
        if status is None:
            return "", 503
        return render_template("details.html", details=details_of(status))

    def chart(self) -> ResponseReturnValue:
        """Give a run's columns: query `run`, and optionally `from` and `to` in s and `points`."""
        run_id = request.args.get("run", type=int)
        from_s = request.args.get("from", 0.0, type=float)
        to_s = request.args.get("to", float("inf"), type=float)
        points = request.args.get("points", 800, type=int)
        if run_id is None or not 0 < run_id <= GREATEST_NUMBER:
            abort(400)
        if not 0 <= from_s < to_s or not 0 < points <= MOST_POINTS:
            abort(400)
        try:
            drawn = self._charts.give(Asked(run_id, points, from_s, to_s, units()))
        except RecordError:
            abort(404)
        response = Response(drawn.body, mimetype="application/json")
        response.set_etag(drawn.tag)
        return response.make_conditional(request)

    def act(self, ask: str) -> ResponseReturnValue:
        """Pass a person's act on to the daemon, then show the tank with what the daemon said."""
        return pass_on(self._tank, ActRequest, ask=ask)

    def asset(self, tag: str, name: str) -> Response:
        """Give a static file, packed where the browser can unpack it."""
        path = self._assets.find(tag, name)
        if path is None:
            abort(404)
        kind = mimetypes.guess_type(name)[0]
        if request.accept_encodings.quality("gzip"):
            response = Response(self._assets.packed(name), mimetype=kind)
            response.headers["Content-Encoding"] = "gzip"
        else:
            response = Response(path.read_bytes(), mimetype=kind)
        response.headers["Cache-Control"] = KEEP
        response.headers["Vary"] = "Accept-Encoding"
        return response

    def _now(self, view: View, status: Status | None) -> str:
        run = status.run if status else None
        drawn, absent = self._panels(run)
        newest = None if status else self._newest()
        return render_template(
            "now.html",
            view=view,
            status=status,
            run=run,
            newest=newest,
            details=details_of(status) if status else None,
            doses=doses(status) if status else (),
            alarms=cards(status, None) if status else (),
            alarm_key=view.alarms,
            cuts=cuts(self._tank, self._runs, status),
            asked=record_number(request.args.get("go-on", "")),
            opened="open" in request.args,
            marks=section.marks(run) if run else (),
            target_at=section.share(run.target_um, run) if run else 0.0,
            panels=drawn,
            absent=absent,
            started_ms=utc_of(run.started_utc).timestamp() * 1000 if run else 0,
            heard=datetime.now(UTC).astimezone(),
            start=self._shown_by(),
        )

    def _shown_by(self) -> str:
        """What changes whenever the page is another: its process, who looks, in which units."""
        may = "operates" if access().may(Right.OPERATE) else "looks"
        return f"{self._start} {signed_in() or ''} {may} {units()}"

    def _panels(self, run: RunStatus | None) -> tuple[tuple[Panel, ...], str | None]:
        if run is None:
            return (), None
        try:
            return panels(self._runs.course(run.run_id, PLAIN_POINTS)), None
        except RecordError as error:
            return (), str(error)

    def _newest(self) -> Run | None:
        try:
            return self._runs.newest()
        except RecordError:
            return None


def _zone(name: str | None) -> tzinfo | None:
    try:
        return ZoneInfo(name) if name else None
    except (KeyError, ValueError, OSError):
        return None
