"""The page as a browser without scripts gets it, and what its addresses answer."""

import math
import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any, get_args

import pytest
from flask.testing import FlaskClient
from reading import token
from werkzeug.test import TestResponse

from daemon.api.socket.messages import ActRequest, RunStatus, StateName
from web.tank import Tank

Make = Callable[..., Any]


def words(response: TestResponse) -> str:
    """What a reader sees: the body's text, its white space collapsed."""
    body = response.text.split("<body", 1)[1]
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", body.split(">", 1)[1])).split())


def offered(response: TestResponse) -> set[str]:
    """The acts whose buttons are shown."""
    forms = re.findall(r'data-act="(\w+)"( hidden)?', response.text)
    return {name for name, hidden in forms if not hidden}


def press(client: FlaskClient, act: str, **headers: str) -> TestResponse:
    return client.post(f"/act/{act}", data={"csrf_token": token(client)}, headers=headers)


def test_a_running_tank_can_be_read_without_any_script(client: FlaskClient) -> None:
    response = client.get("/")
    assert response.status_code == 200
    text = words(response)
    assert "Plating. 18.2 of 25 µm, done about" in text.replace("\u00a0", " ")
    for figure in (
        "To go 1 h 30 min",
        "Current 3.50 A set 3.50 A 0.29 A/dm²",
        "Voltage 2.21 V ceiling 4.00 V constant current",
        "Charge 16.853 Ah 19.98 g copper",
        "Plated 6 h 10 min",
        "Bath 182.4 Ah Copper 1",
        "Cover 0.50 A Build 3.50 A Level 2.40 A",
    ):
        assert figure in text


def test_the_plain_chart_shows_what_the_record_holds(client: FlaskClient) -> None:
    text = client.get("/").text
    assert "Current, A</span><span>0 – 4" in text
    assert "Voltage, V</span><span>0 – 4" in text
    assert "Charge, Ah</span><span>0 – 6" not in text
    assert text.count('<path class="line" d="M') == 3


@pytest.mark.parametrize(
    ("state", "acts"),
    [
        ("idle", {"stop"}),
        ("running", {"hold", "stop", "abort"}),
        ("holding", {"stop", "abort"}),
        ("held", {"resume", "stop", "abort"}),
        ("restarting", {"hold", "stop", "abort"}),
        ("stopping", {"stop", "abort"}),
        ("stopped", {"stop", "reset"}),
        ("aborting", {"stop"}),
        ("aborted", {"stop", "reset"}),
        ("complete", {"stop", "reset"}),
    ],
)
def test_what_can_be_done_is_offered_and_stop_always(
    client: FlaskClient, peer: Any, make_status: Make, state: str, acts: set[str]
) -> None:
    peer.status = make_status(state=state, output_on=False)
    assert offered(client.get("/")) == acts


@pytest.mark.parametrize("state", get_args(StateName))
def test_every_state_has_its_page_with_and_without_a_reading(
    client: FlaskClient, peer: Any, make_status: Make, state: str
) -> None:
    for age_s in (0.2, 60.0, None):
        peer.status = make_status(state=state, output_on=False, reading_age_s=age_s)
        assert "18.2" in words(client.get("/"))


def test_before_the_first_run(client: FlaskClient, peer: Any, make_status: Make) -> None:
    peer.status = make_status(state="idle", run=None, output_on=False, current_a=0.0)
    text = words(client.get("/"))
    assert "Nothing is running." in text
    assert "Current 0.00 A output off" in text
    assert "tankhand run PLAN" in text
    assert "Charge" not in text


@pytest.mark.parametrize("age_s", [6.0, None])
def test_an_old_reading_is_no_figure(
    client: FlaskClient, peer: Any, make_status: Make, age_s: float | None
) -> None:
    peer.status = make_status(reading_age_s=age_s)
    text = words(client.get("/"))
    assert "Current – A" in text
    assert "Voltage – V" in text
    assert "To go – " in text
    assert "3.50 A set" not in text


def test_a_simulated_clock_is_told(client: FlaskClient, peer: Any, make_status: Make) -> None:
    assert "Simulated tank" not in words(client.get("/"))
    peer.status = make_status(rate=200.0)
    text = client.get("/status.json?zone=Asia/Kolkata").json["texts"]["clock_rate"]
    # 02:10 UTC.
    assert text == (
        "Simulated tank, clock runs 200 times as fast. It is 07:40 on Monday 2 March there."
    )
    assert "Simulated tank, clock runs 200 times as fast." in words(client.get("/"))


def test_without_a_daemon_the_page_says_so(client: FlaskClient, peer: Any) -> None:
    peer.stop()
    response = client.get("/")
    assert response.status_code == 503
    text = words(response)
    assert "The daemon does not answer." in text
    assert "Whether current flows is not known." in text
    assert "The record's last word: Bracket, left, run 12," in text
    assert "18.2" not in text
    assert offered(response) == {"stop"}


def test_without_a_record_the_page_shows_the_tank_all_the_same(
    make_client: Callable[[Path], FlaskClient], tmp_path: Path, peer: Any
) -> None:
    client = make_client(tmp_path / "none.db")
    text = words(client.get("/"))
    assert "Plating." in text
    assert "there is no record" in text
    peer.stop()
    assert "The daemon does not answer." in words(client.get("/"))


def test_names_are_text_wherever_they_stand(
    client: FlaskClient, peer: Any, make_status: Make, run: RunStatus
) -> None:
    evil = "<script>alert('x')</script>\"><b>"
    stages = (run.stages[0].model_copy(update={"name": evil}), *run.stages[1:])
    named = run.model_copy(update={"title": evil, "metal": evil, "reason": evil, "stages": stages})
    peer.status = make_status(
        run=named, bath=evil, supply=evil, mode=evil, notice=evil, state="running"
    )
    text = client.get("/").text
    assert "alert(" in text
    assert "<script>alert" not in text
    assert '"><b>' not in text
    peer.refusal = evil
    refused = client.get(press(client, "hold").headers["Location"]).text
    assert "Not done: &lt;script&gt;" in refused


@pytest.mark.parametrize("act", ["hold", "resume", "stop", "abort", "reset"])
def test_a_press_reaches_the_daemon_and_comes_back_to_the_tank(
    client: FlaskClient, peer: Any, act: str
) -> None:
    response = press(client, act)
    assert (response.status_code, response.headers["Location"]) == (303, "/")
    assert peer.acts == [(act, "the page at 127.0.0.1")]


def test_a_refusal_is_told_once(client: FlaskClient, peer: Any) -> None:
    peer.refusal = "cannot hold a run that is held"
    press(client, "hold")
    assert "Not done: cannot hold a run that is held." in words(client.get("/"))
    assert "Not done" not in words(client.get("/"))


def test_a_press_without_a_daemon_does_not_pretend(client: FlaskClient, peer: Any) -> None:
    pass_ = token(client)
    peer.stop()
    response = client.post("/act/stop", data={"csrf_token": pass_})
    assert response.status_code == 503
    text = words(response)
    assert "The daemon gave no answer." in text
    assert "switch the supply off there" in text


def test_figures_come_in_the_readers_zone(client: FlaskClient) -> None:
    answer = client.get("/status.json?zone=Asia/Kolkata")
    assert "done about 09:10." in answer.json["texts"]["figures"]


@pytest.mark.parametrize("zone", ["Mars/Base", "../../etc/passwd", "/etc/passwd", "Europe", ""])
def test_an_unknown_zone_is_ignored(client: FlaskClient, zone: str) -> None:
    answer = client.get("/status.json", query_string={"zone": zone})
    assert answer.status_code == 200
    assert "done about" in answer.json["texts"]["figures"]


def test_nothing_new_is_304_and_empty(client: FlaskClient, peer: Any, make_status: Make) -> None:
    first = client.get("/status.json")
    again = client.get("/status.json", headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    peer.status = make_status(
        utc="2026-03-02T02:10:01+00:00", monotonic_s=22301.0, reading_age_s=0.9
    )
    same = client.get("/status.json", headers={"If-None-Match": first.headers["ETag"]})
    assert same.status_code == 304
    peer.status = make_status(current_a=3.21)
    other = client.get("/status.json", headers={"If-None-Match": first.headers["ETag"]})
    assert other.status_code == 200
    assert other.json["texts"]["current"] == "3.21"


def test_a_poll_without_a_daemon_is_503_and_has_no_figures(client: FlaskClient, peer: Any) -> None:
    peer.stop()
    answer = client.get("/status.json")
    assert answer.status_code == 503
    assert answer.json["texts"]["what"] == "The daemon does not answer."
    assert "current" not in answer.json["texts"]
    assert answer.json["acts"] == ["stop"]


def test_many_lookers_ask_the_daemon_once(peer: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("web.tank.KEEP_S", 3600.0)
    tank = Tank(peer.path)
    assert [tank.status() == peer.status for _ in range(5)] == [True] * 5
    assert peer.asked == 1
    tank.act(ActRequest(ask="hold", who="anna"))
    tank.status()
    assert peer.asked == 2


def test_a_daemon_that_hangs_holds_up_one_looker_only(peer: Any) -> None:
    peer.stop()
    tank = Tank(peer.path)
    assert tank.status() is None
    peer.start()
    assert tank.status() is None
    assert peer.asked == 0
    tank.act(ActRequest(ask="stop", who="anna"))
    assert tank.status() == peer.status


def test_the_chart_has_the_records_samples(client: FlaskClient) -> None:
    data = client.get("/chart.json?run=12&from=100&to=200&points=400").json
    # Every 2 s from 100 s on; the current is 0.5 A with a wave of 0.02 A on it.
    assert data["t"] == [100.0 + 2 * i for i in range(50)]
    wave = [0.5 + 0.02 * math.sin(1.7 * i) for i in range(50, 100)]
    assert data["current_least"] == data["current_most"] == pytest.approx(wave, abs=1e-3)
    assert data["current_mean"] == pytest.approx([0.5] * 50, abs=0.021)


def test_the_whole_run_is_thinned_to_the_points_asked_for(client: FlaskClient) -> None:
    data = client.get("/chart.json?run=12&points=100").json
    assert 50 <= len(data["t"]) <= 100
    assert {len(column) for column in data.values()} == {len(data["t"])}
    assert data["t"][-1] == 7200.0
    # 1800 s at 0.5 A, 900 s rising to 3.5 A (2 A on average), 4500 s at 3.5 A; the wave cancels.
    assert data["charge"][-1] == pytest.approx((900 + 1800 + 15750) / 3600, abs=0.01)


@pytest.mark.parametrize(
    "query",
    [
        "",
        "run=x",
        "run=-1",
        "run=1000000000000000000000000000000",
        "run=12&from=5&to=5",
        "run=12&from=-1",
        "run=12&to=nan",
        "run=12&points=0",
        "run=12&points=99999",
    ],
)
def test_an_unreadable_chart_question_is_400(client: FlaskClient, query: str) -> None:
    assert client.get(f"/chart.json?{query}").status_code == 400


@pytest.mark.parametrize("query", ["run=12&from=1e300", "run=12&to=inf", "run=12&from=7200"])
def test_a_chart_beyond_the_run_is_what_there_is(client: FlaskClient, query: str) -> None:
    assert client.get(f"/chart.json?{query}").status_code == 200


def test_a_run_that_is_not_there_is_404(client: FlaskClient) -> None:
    assert client.get("/chart.json?run=13").status_code == 404


def test_files_are_kept_for_good_and_packed(client: FlaskClient) -> None:
    page = client.get("/").text
    for name in ("page.css", "page.js", "chart.js", "icon.svg", "plotly.min.js"):
        address = re.search(rf'"(/static/[0-9a-f]+/{re.escape(name)})"', page)
        assert address, name
        plain = client.get(address[1])
        packed = client.get(address[1], headers={"Accept-Encoding": "gzip"})
        assert plain.status_code == packed.status_code == 200
        assert "immutable" in packed.headers["Cache-Control"]
        assert packed.headers["Content-Encoding"] == "gzip"
        assert packed.mimetype == plain.mimetype
        assert len(packed.data) < len(plain.data)


@pytest.mark.parametrize(
    "address",
    ["/static/0123456789abcdef/page.css", "/static/x/../../pages.py", "/static/x/none", "/none"],
)
def test_what_is_not_there_is_404_in_words(client: FlaskClient, address: str) -> None:
    response = client.get(address)
    assert response.status_code == 404
    assert "There is no such page." in words(response)
    assert offered(response) == {"stop"}


def test_the_first_view_is_small(client: FlaskClient) -> None:
    page = client.get("/")
    size = len(page.data)
    for address in re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text):
        size += len(client.get(address).data)
    assert size <= 60_000


@pytest.mark.parametrize("measures", [False, True], ids=["a supply alone", "meters and doubt"])
def test_a_poll_is_small(
    client: FlaskClient, peer: Any, make_status: Make, measured: Make, measures: bool
) -> None:
    peer.status = measured() if measures else make_status()
    assert 0 < len(client.get("/status.json").data) <= 1000


def test_a_failing_page_says_so_in_words(client: FlaskClient, mocker: Any) -> None:
    mocker.patch("web.now.pages.view_of", side_effect=RuntimeError("a defect"))
    client.application.config["PROPAGATE_EXCEPTIONS"] = False
    response = client.get("/")
    assert response.status_code == 500
    assert "The page has failed; the daemon has not noticed." in words(response)
    assert "a defect" not in response.text
