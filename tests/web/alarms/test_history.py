"""Alarms out of the record: the list, and a page for each with its close-up."""

import re
import sqlite3
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, expect
from werkzeug.test import TestResponse

from web import times

Make = Callable[..., Any]


def words(response: TestResponse) -> str:
    body = response.text.split("<body", 1)[1].split(">", 1)[1]
    text = unescape(re.sub(r"<[^>]*>", " ", body)).replace("\u00a0", " ")
    return re.sub(r" ([.,:])", r"\1", " ".join(text.split()))


@pytest.fixture
def nightly(make_client: Make, alarm_record: Path) -> FlaskClient:
    client: FlaskClient = make_client(alarm_record)
    return client


def test_the_list_has_what_was_seen_and_what_became_of_it(nightly: FlaskClient) -> None:
    response = nightly.get("/alarms/history")
    text = words(response)
    assert response.status_code == 200
    assert "The last alarm: whisker, 2026-03-02 02:09:14. 2 of these are not over." in text
    whisker, short, cold = text.index("Whisker"), text.index("Short"), text.index("Bath too cold")
    assert whisker < short < cold
    assert "Short high 0.11 V at 3.50 A; 2.21 V a second before Aborted the run, " in text
    assert "acknowledged by anna, not over" in text
    assert "2026-03-02 01:09:14 Bath too cold low 16.9 °C" in text
    assert "Came 2 times, acknowledged by ben, the page at 127.0.0.1, over after 59 min" in text
    for number in (2, 3, 4):
        assert f'href="/alarm/{number}"' in response.text


def test_colour_is_for_what_nobody_has_acknowledged(nightly: FlaskClient) -> None:
    marks = re.findall(r'<li data-priority="(\w+)"(.*)>', nightly.get("/alarms/history").text)
    assert marks == [("medium", " data-stands data-waits"), ("high", " data-stands"), ("low", "")]


def test_thirty_days_by_the_daemon_s_clock_unless_all_is_asked_for(
    nightly: FlaskClient, peer: Any, make_status: Make
) -> None:
    assert "Clock stepped" not in words(nightly.get("/alarms/history"))
    everything = words(nightly.get("/alarms/history?all"))
    assert "2025-11-22 02:09:14 Clock stepped low" in everything
    assert "closed when the daemon had ended" in everything
    peer.status = make_status(utc="2026-05-01T00:00:00+00:00")
    assert "No alarm in the last 30 days." in words(nightly.get("/alarms/history"))


def test_without_a_daemon_the_record_still_tells(nightly: FlaskClient, peer: Any) -> None:
    peer.stop()
    assert "Short" in words(nightly.get("/alarms/history?all"))
    assert "Short." in words(nightly.get("/alarm/3"))


def test_pages_follow_each_other_and_lose_none(
    nightly: FlaskClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("web.alarms.history.A_PAGE", 3)
    first = nightly.get("/alarms/history?all")
    link = re.search(r'href="([^"]+)" rel="next"', first.text)
    assert link is not None
    second = nightly.get(unescape(link[1]))
    numbers = [re.findall(r'href="/alarm/(\d+)"', page.text) for page in (first, second)]
    assert numbers == [["4", "3", "2"], ["1"]]
    assert 'rel="next"' not in second.text
    assert "Alarms before number 2." in words(second)


def test_an_alarm_s_page_tells_all_of_it(nightly: FlaskClient) -> None:
    text = words(nightly.get("/alarm/3"))
    for told in (
        "Alarm 3",
        "Short. 0.11 V at 3.50 A; 2.21 V a second before. Switch the supply off, part the",
        "When 2026-03-02 02:09:14 UTC, in run 12, Bracket, left",
        "Priority High",
        "Done The output was switched off at once; the run is over.",
        "Check A part or hook touching an anode;",
        "2026-03-02 02:09:14 at once Stopped the run: aborted, the first cause",
        "2026-03-02 02:09:14 after 0.4 s Returned",
        "2026-03-02 02:14:14 after 5 min Acknowledged by anna",
    ):
        assert told in text


def test_an_alarm_that_is_over_needs_nobody(nightly: FlaskClient) -> None:
    response = nightly.get("/alarm/2")
    text = words(response)
    assert 'data-level="calm"' in response.text
    assert "Done Nothing was switched." in text
    assert "Needed Warm the bath: a cold one burns at the plan's current." in text
    assert "after 10 s Shelved by anna: for 1 h 00 min" in text
    assert "Cleared" in text
    assert "No close-up was kept of this alarm." in text


@pytest.mark.parametrize(
    ("number", "level"), [(3, "attention"), (4, "attention"), (5, "alarm"), (1, "calm")]
)
def test_colour_says_how_much_an_alarm_needs_somebody(
    nightly: FlaskClient, alarm_record: Path, more_alarms: Make, number: int, level: str
) -> None:
    more_alarms(alarm_record, number=5)
    assert f'data-level="{level}"' in nightly.get(f"/alarm/{number}").text


def test_one_of_no_run_was_at_rest(nightly: FlaskClient) -> None:
    assert "When 2025-11-22 02:09:14 UTC, at rest" in words(nightly.get("/alarm/1"))


def test_the_close_up_shows_both_parts_the_alarm_s_moment_and_what_was_set(
    nightly: FlaskClient,
) -> None:
    response = nightly.get("/alarm/3")
    # 60 s before it and 30 s after: two thirds of the way.
    assert response.text.count('<line class="moment" x1="66.667%"') == 2
    current, voltage = re.findall(r'role="img" aria-label="([^"]+)"', response.text)
    assert re.match(r"Current in A .* shunt: from 0.000 to 3.5\d\d. supply: from 0.000", current)
    assert re.match(r"Voltage in V around the alarm. supply: from 0.000 to 2.2\d\d.$", voltage)
    paths = re.findall(r'<path class="([\w-]+)" d="([^"]+)"', response.text)
    assert [kind for kind, _ in paths] == ["other-1", "counting", "set", "other-1"]
    counting = dict(paths[:2])["counting"]
    assert len(re.findall("[ML]", counting)) == 900
    assert dict(paths)["set"].count("V") == 1
    text = words(response)
    assert "shunt, counts supply set" in text
    assert "Current, A" in text
    assert "Voltage, V" in text


def test_the_nearer_look_is_a_link_away(nightly: FlaskClient) -> None:
    whole = nightly.get("/alarm/3")
    link = re.search(r'href="(/alarm/3\?near[^"]*)"', whole.text)
    assert link is not None
    near = nightly.get(link[1])
    assert '<line class="moment" x1="50.000%"' in near.text
    assert len(near.text) < len(whole.text) / 2


def test_an_alarm_of_just_now_says_that_more_will_come(nightly: FlaskClient) -> None:
    response = nightly.get("/alarm/4")
    assert "What follows the alarm is kept 30 s after it." in words(response)
    assert response.text.count('<line class="moment" x1="100.000%"') == 2


def test_a_damaged_close_up_is_told_and_the_alarm_still_shown(
    nightly: FlaskClient, alarm_record: Path
) -> None:
    with sqlite3.connect(alarm_record) as database:
        database.execute("DROP TRIGGER trace_no_update")
        database.execute("UPDATE trace SET readings = x'00112233445566778899' WHERE alarm_id = 3")
    database.close()
    response = nightly.get("/alarm/3")
    assert response.status_code == 200
    text = words(response)
    assert "The close-up is damaged and cannot be drawn:" in text
    assert "Done The output was switched off at once" in text
    assert "<path" not in response.text


@pytest.mark.parametrize(
    "number",
    ["0", "-1", "00", "03", "three", "3.0", "3a", "٣", "%20", str(2**63), "9" * 5000],
)
def test_what_is_no_number_of_an_alarm_is_no_page(nightly: FlaskClient, number: str) -> None:
    response = nightly.get(f"/alarm/{number}")
    assert response.status_code == 404
    assert "There is no such page." in words(response)


@pytest.mark.parametrize("number", [99, 2**63 - 1])
def test_an_alarm_that_the_record_does_not_have_yet(nightly: FlaskClient, number: int) -> None:
    response = nightly.get(f"/alarm/{number}")
    assert response.status_code == 404
    assert "The record has no such alarm. One that was raised just now" in words(response)


@pytest.mark.parametrize("token", ["", "0", "-3", "x", "1.5", "3 ", str(2**63), "9" * 5000])
@pytest.mark.parametrize("page", ["/alarms/history", "/audit"])
def test_a_page_token_that_no_link_holds(nightly: FlaskClient, page: str, token: str) -> None:
    response = nightly.get(page, query_string={"before": token})
    assert response.status_code == 400
    assert "The page cannot read that." in words(response)


@pytest.mark.parametrize("page", ["/alarms/history", "/alarm/3", "/audit"])
def test_without_a_record(make_client: Make, tmp_path: Path, page: str) -> None:
    response = make_client(tmp_path / "none.db").get(page)
    assert response.status_code == 503
    assert "The record cannot be read." in words(response)
    assert "none.db" in words(response)


@pytest.mark.parametrize("page", ["/alarms/history", "/alarm/3", "/audit"])
def test_with_something_else_than_a_record(make_client: Make, tmp_path: Path, page: str) -> None:
    (tmp_path / "odd.db").write_bytes(b"no record" * 1000)
    assert make_client(tmp_path / "odd.db").get(page).status_code == 503


def test_what_was_written_is_text_and_never_markup(
    nightly: FlaskClient, alarm_record: Path, more_alarms: Make
) -> None:
    more_alarms(alarm_record, number=5, cause="interlock: <b>lid</b>", seen="<script>x</script>")
    for page in ("/alarms/history", "/alarm/5"):
        response = nightly.get(page)
        assert response.status_code == 200
        assert "<b>lid" not in response.text
        assert "<script>" not in response.text
        assert "<script>x</script>" in unescape(response.text)


def test_a_cause_of_another_version_has_no_advice(
    nightly: FlaskClient, alarm_record: Path, more_alarms: Make
) -> None:
    more_alarms(alarm_record, number=5, cause="not thought of yet")
    text = words(nightly.get("/alarm/5"))
    assert "Not thought of yet." in text
    assert "Check" not in text


def test_the_first_page_leads_to_each(
    nightly: FlaskClient, peer: Any, make_status: Make, whisker: Make
) -> None:
    peer.status = make_status(alarms=(whisker(number=4),))
    text = nightly.get("/").text
    assert '<a href="/alarm/4">Whisker</a>' in text
    for address in ("/alarms/history", "/effects", "/audit", "/calibration"):
        assert f'href="{address}"' in text
        assert nightly.get(address).status_code == 200


def test_there_is_a_stop_on_every_page(nightly: FlaskClient) -> None:
    for address in ("/alarms/history", "/alarm/3", "/alarm/99", "/effects", "/audit"):
        assert 'action="/act/stop"' in nightly.get(address).text


def test_times_are_the_machine_s(nightly: FlaskClient) -> None:
    assert "Times are this machine's, UTC." in words(nightly.get("/alarms/history"))
    assert times.stamp(0) == "1970-01-01 00:00:00"


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 1280])
def test_a_browser_without_scripts_shows_it_whole(
    browser: Browser, make_page_of: Make, alarm_record: Path, width: int
) -> None:
    context = browser.new_context(
        java_script_enabled=False, viewport={"width": width, "height": 800}
    )
    page = context.new_page()
    address = make_page_of(alarm_record)
    page.goto(address)
    page.get_by_role("link", name="Alarms").click()
    page.get_by_role("link", name="All that the record has").click()
    page.get_by_role("link", name="Short").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Short.")
    for name in ("Current in A", "Voltage in V"):
        drawing = page.get_by_role("img", name=name)
        expect(drawing).to_be_visible()
        box = drawing.bounding_box()
        assert box is not None
        assert box["x"] > 0
        assert box["x"] + box["width"] <= width
    line = page.locator("path.counting").bounding_box()
    assert line is not None
    assert line["width"] > 200
    assert line["height"] > 100
    page.get_by_role("link", name="5 s either side").click()
    expect(page.get_by_role("link", name="All of it")).to_be_visible()
    context.close()
