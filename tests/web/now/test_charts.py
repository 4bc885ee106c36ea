"""Charts that many look at are read once, and never for long."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from daemon.api.runs.course import RunCourse
from daemon.record.errors import RecordError
from web.now import charts
from web.now.charts import Asked, Charts
from web.record import Runs

WHOLE = Asked(12, 100, 0.0, float("inf"))


class Counted(Runs):
    """A record that tells how often it was read."""

    read = 0

    def course(
        self, run_id: int, points: int, from_s: float = 0.0, to_s: float = float("inf")
    ) -> RunCourse:
        self.read += 1
        return super().course(run_id, points, from_s, to_s)


@pytest.fixture
def runs(record: Path) -> Counted:
    return Counted(record)


def test_what_others_have_just_asked_for_is_read_once(
    runs: Counted, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(charts, "KEEP_S", 3600.0)
    shown = Charts(runs)
    bodies = {shown.give(WHOLE).body for _ in range(5)}
    assert runs.read == 1
    assert len(bodies) == 1
    zoomed = json.loads(shown.give(WHOLE._replace(from_s=3600.0)).body)
    assert runs.read == 2
    assert zoomed["t"][0] > json.loads(bodies.pop())["t"][0]


def test_what_is_older_is_read_anew(runs: Counted, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(charts, "KEEP_S", -1.0)
    shown = Charts(runs)
    assert shown.give(WHOLE).tag == shown.give(WHOLE).tag
    assert runs.read == 2


def test_a_chart_that_is_not_there_is_asked_for_again(runs: Counted) -> None:
    shown = Charts(runs)
    for _ in range(2):
        with pytest.raises(RecordError, match="no run 13"):
            shown.give(WHOLE._replace(run_id=13))
    assert runs.read == 2


def test_whoever_zooms_all_night_fills_no_memory(
    runs: Counted, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(charts, "KEEP_S", 3600.0)
    monkeypatch.setattr(charts, "MOST_KEPT", 3)
    shown = Charts(runs)
    for place in range(4):
        shown.give(WHOLE._replace(from_s=float(place)))
    assert runs.read == 4
    shown.give(WHOLE._replace(from_s=3.0))
    assert runs.read == 4
    shown.give(WHOLE)
    assert runs.read == 5


def test_a_chart_that_has_not_changed_is_304(
    make_client: Callable[[Path], FlaskClient], record: Path
) -> None:
    client = make_client(record)
    first = client.get("/chart.json?run=12")
    again = client.get("/chart.json?run=12", headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
