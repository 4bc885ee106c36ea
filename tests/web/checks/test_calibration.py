"""The page about calibrations, as a browser without scripts gets it."""

import re
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from daemon.api.socket.messages import MeterStatus
from daemon.chemistry.calibration import MeterLine, Point, ReferenceClass, fitted
from daemon.record.entries import CalibrationMade
from daemon.record.writer import Writer
from web.checks import comparison

Make = Callable[..., Any]

POINTS = (
    Point(0.0101, 1e-4, 0.0),
    Point(1.0204, 1e-4, 1.0, 3e-4),
    Point(2.0299, 1e-4, 2.0, 3e-4),
    Point(3.0402, 1e-4, 3.0, 3e-4),
)


def words(response: TestResponse) -> str:
    body = response.text.split("<body", 1)[1].split(">", 1)[1]
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", body)).split())


def a_calibration(**changes: Any) -> CalibrationMade:
    fields: dict[str, Any] = {
        "meter": "shunt",
        "utc_ms": round(datetime(2025, 11, 20, tzinfo=UTC).timestamp() * 1000),
        "who": "anna",
        "reference": "handheld, serial 4711",
        "reference_class": "0.5 % + 3 mA",
        "note": "after the new shunt",
        "points": POINTS,
        "line": fitted(POINTS, ReferenceClass(0.005, 0.003)).line,
    }
    return CalibrationMade(**(fields | changes))


class Bench:
    """The page over a daemon with two meters; the shunt reads 1.01 times the current and 10 mA."""

    def __init__(self, peer: Any, make_status: Make, client: FlaskClient) -> None:
        self.peer = peer
        self._make_status = make_status
        self.client = client
        self.now_s = 22300.0
        self.go_to(1.0)

    def go_to(self, current_a: float) -> None:
        self.current_a = current_a
        self.look_again(0.0)

    def look_again(self, _: float) -> None:
        """A while later the daemon has a new reading."""
        self.now_s += 0.7
        raw_a = 1.01 * self.current_a + 0.01
        meters = tuple(
            MeterStatus.model_validate(
                {"name": name, "counts": counts, "current_a": corrected_a, "raw_current_a": raw_a,
                 "voltage_v": None, "age_s": 0.1}
            )
            for name, counts, corrected_a in (("supply", False, raw_a), ("shunt", True, 1.0))
        )  # fmt: skip
        on = self.current_a > 0
        self.peer.status = self._make_status(
            meters=meters, monotonic_s=self.now_s, output_on=on, utc="2025-11-25T09:00:00+00:00"
        )

    def post(self, act: str, meter: str = "shunt", **fields: str) -> TestResponse:
        form = self.client.get("/calibration", query_string={"meter": meter}).text
        token = re.search(r'name="csrf_token" value="([^"]+)"', form)
        assert token
        data = {"csrf_token": token[1], "meter": meter, **fields}
        return self.client.post(f"/calibration/{act}", data=data, follow_redirects=True)


@pytest.fixture
def writer(tmp_path: Path, record: Path) -> Writer:
    path = Path(shutil.copy(record, tmp_path / "own.db"))
    writer = Writer(path, threaded=False)
    writer.keep_calibration(a_calibration(who="ben", note="older"))
    writer.keep_calibration(a_calibration())
    writer.close()
    return writer


@pytest.fixture
def bench(
    peer: Any,
    make_status: Make,
    make_client: Make,
    writer: Writer,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Bench:
    made = Bench(peer, make_status, make_client(tmp_path / "own.db"))
    monkeypatch.setattr("web.checks.calibration.time", SimpleNamespace(sleep=made.look_again))
    return made


KEEP = {"reference": "handheld", "class": "0.5 %", "name": "anna", "note": "spring"}


def test_each_meter_says_when_and_with_what_it_was_compared(bench: Bench) -> None:
    text = words(bench.client.get("/calibration"))
    assert (
        "What counts is the shunt. It was compared with handheld, serial 4711, "
        "2025-11-20, 5 days ago." in text
    )
    assert (
        "Compared 2025-11-20, 5 days ago by anna with handheld, serial 4711, 0.5 % + 3 mA. "
        "after the new shunt" in text
    )
    assert "Shows 1.0100 ± 0.00" in text
    assert "Reads 1.0200 A now, which is 1.0000 A." in text
    assert "older" not in text
    assert "supply Reads 1.0200 A now. Never compared." in text
    assert text.index("Compare the shunt") < text.index("Compare the supply")


def test_the_first_page_leads_there(bench: Bench) -> None:
    assert 'href="/calibration"' in bench.client.get("/").text


def test_the_points_are_told_and_drawn(bench: Bench) -> None:
    response = bench.client.get("/calibration")
    assert "off 0.0101 " in words(response)
    assert "3.0000 3.0402 " in words(response)
    assert response.text.count("<circle") == 4
    assert "style=" not in response.text


def test_without_a_daemon_the_page_says_so(bench: Bench) -> None:
    bench.peer.stop()
    response = bench.client.get("/calibration?meter=shunt")
    assert response.status_code == 503
    assert "The daemon does not answer." in words(response)
    assert "Take" not in words(response)


def test_without_a_record_the_meters_are_there(
    peer: Any, make_status: Make, make_client: Make, tmp_path: Path
) -> None:
    bench = Bench(peer, make_status, make_client(tmp_path / "none.db"))
    text = words(bench.client.get("/calibration"))
    assert "What counts is the shunt, and it was never compared with anything." in text
    assert "What was kept cannot be read" in text


def test_a_comparison_from_the_zero_to_what_is_kept(bench: Bench) -> None:
    bench.go_to(0.0)
    assert "The output is off: the reference is not needed." in words(
        bench.client.get("/calibration?meter=shunt")
    )
    text = words(bench.post("point"))
    assert "The zero alone: shows +10.0 mA for no current." in text
    # A zero may be kept, and no reference is asked for.
    assert "You are" in text
    assert "Its class" not in text
    for current in ("1.000", "2.000", "3.000"):
        bench.go_to(float(current))
        text = words(bench.post("point", shown=current))
    assert "Shows 1.0100 ±" in text
    text = words(bench.post("keep", **KEEP))

    (request,) = bench.peer.calibrations
    assert (request.meter, request.reference) == ("shunt", "handheld")
    assert (request.reference_class, request.note) == ("0.5 %", "spring")
    assert request.who.startswith("anna, the page at ")
    assert [p.reference_a for p in request.points] == [0.0, 1.0, 2.0, 3.0]
    assert request.points[0].reading_a == pytest.approx(0.01)
    assert request.points[3].u_reference_a == pytest.approx(0.001 / 12**0.5)
    assert "Keep" not in text


def test_a_point_can_be_dropped(bench: Bench) -> None:
    for shown in ("1.000", "9.000"):
        bench.post("point", shown=shown)
    bench.post("drop")
    bench.post("keep", **KEEP)
    (request,) = bench.peer.calibrations
    assert [p.reference_a for p in request.points] == [1.0]


def test_a_zero_is_kept_without_a_reference(bench: Bench) -> None:
    bench.go_to(0.0)
    bench.post("point")
    text = words(bench.post("keep", name="anna", note=""))
    (request,) = bench.peer.calibrations
    assert (request.reference, request.reference_class) == ("none, the output was off", "0 A")
    assert "Kept. From the next run on the shunt is corrected by it." in text


def test_a_kept_zero_is_told_as_one(bench: Bench, tmp_path: Path) -> None:
    writer = Writer(tmp_path / "own.db", threaded=False)
    zero = (Point(0.0121, 1e-4, 0.0),)
    line = MeterLine(1.01, 0.0121, u_gain=0.003, u_offset_a=1e-4)
    writer.keep_calibration(a_calibration(points=zero, line=line, note=""))
    writer.close()
    text = words(bench.client.get("/calibration"))
    assert "What counts is the shunt. Its zero was set 2025-11-20, 5 days ago." in text
    assert (
        "The zero alone: shows +12.1 mA for no current. Its gain stays 1.0100 ± 0.0059 (95 %). "
        "Zero set 2025-11-20, 5 days ago by anna. Reference" in text
    )


def test_a_single_current_cannot_be_kept(bench: Bench) -> None:
    text = words(bench.post("point", shown="1.000"))
    assert "No line yet: a single point can only set the zero" in text
    assert "You are" not in text


def test_what_was_refused_need_not_be_typed_again(bench: Bench) -> None:
    assert 'name="shown" value="1,0"' in bench.post("point", shown="1,0").text
    for current in ("1.000", "2.000"):
        bench.go_to(float(current))
        answer = bench.post("point", shown=current)
    assert 'name="shown" value=""' in answer.text
    bench.peer.refusal = "shunt: a run is under way"
    form = bench.post("keep", **KEEP).text
    for value in KEEP.values():
        assert f'value="{value}"' in form
    assert 'value="anna"' not in bench.client.get("/calibration?meter=supply").text
    bench.peer.refusal = None
    bench.post("keep", **KEEP)
    assert 'value="anna"' not in bench.client.get("/calibration?meter=shunt").text


def test_another_meter_is_another_comparison(bench: Bench) -> None:
    bench.post("point", shown="1.000")
    assert "Drop" not in words(bench.client.get("/calibration?meter=supply"))
    bench.post("point", "supply", shown="1.000")
    assert "Drop" not in words(bench.client.get("/calibration?meter=shunt"))


@pytest.mark.parametrize(
    ("act", "fields", "said"),
    [
        ("point", {"shown": "1,0"}, "decimal comma"),
        ("point", {}, "the output was switched since this form was made"),
        ("keep", KEEP, "at least one point is wanted"),
        ("keep", KEEP | {"class": "good"}, "the reference's class: expected"),
        ("keep", KEEP | {"name": " "}, "who compares, and with which reference"),
    ],
)
def test_what_cannot_be_used_is_told_and_not_done(
    bench: Bench, act: str, fields: dict[str, str], said: str
) -> None:
    text = words(bench.post(act, **fields))
    assert "Not done:" in text
    assert said in text
    assert bench.peer.calibrations == []


def test_a_point_that_the_output_went_off_under_is_none(bench: Bench) -> None:
    form = bench.client.get("/calibration?meter=shunt")
    assert "Take this point" in words(form)
    bench.go_to(0.0)
    assert "the output was switched" in words(bench.post("point", shown="1.000"))


def test_a_refusal_of_the_daemon_is_told_and_the_points_stay(bench: Bench) -> None:
    for current in ("1.000", "2.000"):
        bench.go_to(float(current))
        bench.post("point", shown=current)
    bench.peer.refusal = "shunt: a run is under way"
    text = words(bench.post("keep", **KEEP))
    assert "Not done: shunt: a run is under way." in text
    assert "Drop the last point" in text


def test_there_is_an_end_to_the_points_of_a_browser(bench: Bench) -> None:
    for _ in range(12):
        text = words(bench.post("point", shown="1.000"))
    assert "Take this point" not in text
    assert "more than 12 points are not taken here" in words(bench.post("point", shown="1.000"))


@pytest.mark.parametrize("act", ["point", "drop", "keep"])
def test_no_other_site_and_no_old_form_can_do_it(bench: Bench, act: str) -> None:
    data = {"meter": "shunt", "shown": "1.000", **KEEP}
    assert bench.client.post(f"/calibration/{act}", data=data).status_code == 400
    foreign = {"Sec-Fetch-Site": "cross-site"}
    assert bench.client.post(f"/calibration/{act}", data=data, headers=foreign).status_code == 403
    assert bench.client.get(f"/calibration/{act}").status_code == 405


def test_a_name_that_no_meter_has_shows_no_form(bench: Bench) -> None:
    text = words(bench.client.get("/calibration?meter=%3Cscript%3E"))
    assert "Take" not in text


def test_a_tank_that_dies_meanwhile_is_told(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def die(_: float) -> None:
        bench.peer.stop()

    monkeypatch.setattr("web.checks.calibration.time", SimpleNamespace(sleep=die))
    assert "no daemon answers" in words(bench.post("point", shown="1.000"))


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (0.2, "today"), (1.5, "1 day ago"), (60, "60 days ago"), (61, "2 months ago"),
        (400, "13 months ago"), (731, "2 years ago"), (3700, "10 years ago"),
    ],
)  # fmt: skip
def test_how_old(days: float, said: str) -> None:
    assert comparison.age(timedelta(days=days).total_seconds()) == said


def test_dots_lie_where_their_points_do() -> None:
    """A line through three points, of which the middle one reads 4 mA too much."""
    points = [Point(a + off_a, 1e-3, a, 0.0) for a, off_a in ((1.0, 0), (2.0, 0.004), (3.0, 0))]
    found = comparison.compared(points, ReferenceClass())
    middle = comparison.HEIGHT / 2

    # The line lies 4/3 mA above the outer two, the middle one 8/3 mA above the line.
    outer, peak, last = found.dots
    assert outer.y == pytest.approx(last.y)
    assert (middle - peak.y) == pytest.approx(2 * (outer.y - middle))
    assert [row.off for row in found.rows] == ["-1.33", "+2.67", "-1.33"]
    assert (found.top, found.across) == ("5 mA", "0 – 3 A")
    # ± 1.96 mA at 5 mA for the half height.
    scale = (middle - comparison.EDGE) / 5
    assert (peak.low - peak.high) / 2 == pytest.approx(1.96 * scale, rel=1e-3)
    assert last.x == comparison.WIDTH - comparison.EDGE


def test_the_meters_own_steps_explain_what_lies_off_the_line() -> None:
    points = [Point(a + off_a, 0.0, a, 3e-5) for a, off_a in ((1, 0), (2, 3e-3), (3, 0), (4, 0))]
    assert any(row.misfit for row in comparison.compared(points, ReferenceClass()).rows)
    assert not any(row.misfit for row in comparison.compared(points, ReferenceClass(), 0.01).rows)


def test_currents_the_other_way_round_are_drawn_too() -> None:
    points = [Point(0.01, 1e-3, 0.0), Point(-1.02, 1e-3, -1.0), Point(-2.03, 1e-3, -2.0)]
    found = comparison.compared(points, ReferenceClass())
    assert found.across == "-2 – 0 A"
    assert [dot.x for dot in found.dots] == [
        comparison.WIDTH - comparison.EDGE,
        comparison.WIDTH / 2,
        comparison.EDGE,
    ]
