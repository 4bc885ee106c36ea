"""The page about calibrations: what each meter was compared with, and the form to compare anew.

The points of a comparison under way, and what was typed with them, are kept in the browser's
session, signed, until they are kept in the record or given up.
"""

import threading
import time
from dataclasses import astuple
from pathlib import Path

from flask import Flask, flash, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.api.calibration.comparison import NoPointError, take
from daemon.api.calibration.reference import NO_CLASS, NO_REFERENCE, read_class, read_shown
from daemon.api.errors import InputError
from daemon.api.sentence import utc_of
from daemon.api.socket.client import Client, DaemonUnreachableError
from daemon.api.socket.messages import CalibrateRequest, Status
from daemon.chemistry.calibration import Point, ReferenceClass
from daemon.record.calibrations import Calibration
from daemon.record.errors import RecordError
from web.checks.comparison import HEIGHT, WIDTH, MeterView, compared, meter_view, zero_alone
from web.gate.access import signed_in
from web.gate.protection import ACTS_A_MINUTE
from web.language import gettext as _
from web.presses import whose
from web.record import Runs
from web.tank import Tank
from web.text import UNSURE
from web.trouble import show

TAKE_S = 3.0
"""s of the daemon's time that a point is read for: some thirty readings, by default."""

MOST_POINTS = 12
"""What fits into a browser's cookie with room to spare."""

LONGEST = {"shown": 20, "reference": 200, "class": 80, "name": 80, "note": 200}
"""The fields that people type into, and how many characters of each are taken."""

UNDER_WAY, TYPED = "comparison", "typed"


class CalibrationPage:
    """The views. `tank` is asked for what it is, the daemon at `socket` for each new reading."""

    def __init__(self, socket: Path, tank: Tank, runs: Runs) -> None:
        self._client = Client(socket)
        self._tank = tank
        self._runs = runs
        # A point holds one of the server's few threads for seconds: never more than one.
        self._one_at_a_time = threading.Lock()

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each view its address."""
        app.add_url_rule("/calibration", "calibration", self.page)
        for name, view in (("point", self.point), ("drop", self.drop), ("keep", self.keep)):
            limited = limiter.limit(ACTS_A_MINUTE)(view)
            app.add_url_rule(f"/calibration/{name}", name, limited, methods=["POST"])

    def page(self) -> ResponseReturnValue:
        """Show every meter's newest calibration, and the comparison under way for `meter`."""
        status = self._tank.status()
        kept, absent = self._kept()
        meters = _meters(status, kept)
        asked = request.args.get("meter", "")
        chosen = next((meter for meter in meters if meter.name == asked), None)
        points = _points(asked)
        step_a = chosen.step_a if chosen else 0.0
        html = render_template(
            "calibration.html",
            status=status,
            meters=meters,
            counting=next((meter for meter in meters if meter.counts), None),
            absent=absent,
            chosen=asked if chosen else None,
            points=points,
            comparison=compared(points, ReferenceClass(), step_a) if points else None,
            full=len(points) >= MOST_POINTS,
            zero_alone=zero_alone(points),
            typed=_typed(asked),
            longest=LONGEST,
            width=WIDTH,
            height=HEIGHT,
        )
        return html, 200 if status else 503

    def point(self) -> ResponseReturnValue:
        """Take a point: the meter is read for some seconds from now on."""
        meter = request.form.get("meter", "")
        points = _points(meter)
        if not self._one_at_a_time.acquire(blocking=False):
            return _back(meter, _("another point is being taken"))
        try:
            if len(points) >= MOST_POINTS:
                return _back(
                    meter,
                    _(
                        "more than %(most)s points are not taken here",
                        most=MOST_POINTS,
                    ),
                )
            # With the output off the reference is not asked.
            typed = request.form.get("shown")
            shown = (0.0, 0.0) if typed is None else read_shown(typed)
            taken = take(self._client.status, meter, TAKE_S, time.sleep)
            if taken.output_on == (typed is None):
                return _back(meter, _("the output was switched since this form was made"))
            _put(meter, (*points, taken.point(shown)))
        except (NoPointError, InputError, DaemonUnreachableError) as error:
            return _back(meter, str(error))
        finally:
            self._one_at_a_time.release()
        return _back(meter)

    def drop(self) -> ResponseReturnValue:
        """Take the last point back."""
        meter = request.form.get("meter", "")
        _put(meter, _points(meter)[:-1])
        return _back(meter)

    def keep(self) -> ResponseReturnValue:
        """Hand the points to the daemon, which keeps them and corrects the meter by them."""
        meter = request.form.get("meter", "")
        points, fields = _points(meter), dict.fromkeys(LONGEST, "") | _fields()
        if points and zero_alone(points):
            fields |= {"reference": NO_REFERENCE, "class": NO_CLASS}
        if not (fields["name"] or signed_in()) or not fields["reference"]:
            return _back(meter, _("who compares, and with which reference, has to be said"))
        try:
            read_class(fields["class"])
            asked = CalibrateRequest(
                meter=meter,
                **whose(fields["name"]),
                reference=fields["reference"],
                reference_class=fields["class"],
                points=points,
                note=fields["note"],
            )
            answer = self._client.ask(asked)
        except DaemonUnreachableError:
            return show(UNSURE, 503)
        except ValueError:
            return _back(meter, _("at least one point is wanted"))
        except InputError as error:
            return _back(meter, str(error))
        if not answer.ok:
            return _back(meter, answer.error or "refused")
        session.pop(UNDER_WAY, None)
        session.pop(TYPED, None)
        flash(
            _("Kept. From the next run on the %(meter)s is corrected by it.", meter=meter), "done"
        )
        return redirect(url_for("calibration"), 303)

    def _kept(self) -> tuple[dict[str, Calibration], str | None]:
        try:
            return self._runs.calibrations(), None
        except RecordError as error:
            return {}, str(error)


def _meters(status: Status | None, kept: dict[str, Calibration]) -> list[MeterView]:
    """The meter that counts, then those that are there, then those that only the record knows."""
    if status is None:
        return []
    now = {m.name: m for m in sorted(status.meters, key=lambda m: not m.counts)}
    names = [*now, *(name for name in kept if name not in now)]
    utc = utc_of(status.utc)
    return [meter_view(name, now.get(name), kept.get(name), utc) for name in names]


def _points(meter: str) -> tuple[Point, ...]:
    """The points of the comparison under way, if it is of this meter."""
    under_way = session.get(UNDER_WAY, {})
    if under_way.get("meter") != meter:
        return ()
    return tuple(Point(*values) for values in under_way["points"])


def _put(meter: str, points: tuple[Point, ...]) -> None:
    session[UNDER_WAY] = {"meter": meter, "points": [astuple(point) for point in points]}


def _fields() -> dict[str, str]:
    """What the form brought, no longer than is taken."""
    form = request.form
    return {name: form[name].strip()[:most] for name, most in LONGEST.items() if name in form}


def _typed(meter: str) -> dict[str, str]:
    """What was typed for this meter and refused, so that nobody has to type it again."""
    typed: dict[str, str] = session.get(TYPED, {})
    return typed if typed.get("meter") == meter else {}


def _back(meter: str, refusal: str | None = None) -> ResponseReturnValue:
    """To the form. What was refused stands there again, what was done does not."""
    fields = _fields()
    if refusal is not None:
        flash(refusal, "refused")
        typed = _typed(meter) | fields
    else:
        typed = {name: text for name, text in _typed(meter).items() if name not in fields}
    session[TYPED] = typed | {"meter": meter}
    return redirect(url_for("calibration", meter=meter, _anchor="compare"), 303)
