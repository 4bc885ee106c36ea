"""The page of rehearsals, and a run beside what was foretold of it."""

import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from reading import words
from werkzeug.test import TestResponse

Make = Callable[..., Any]

PLAN = 'title = "Bracket"\r\narea = "1 dm²"\r\n'


def send(client: FlaskClient, **fields: str) -> TestResponse:
    token = re.findall(r'name="csrf_token" value="([^"]+)"', client.get("/rehearse").text)[0]
    form = {"plan": PLAN, "mishaps": "", "parts": ""} | fields | {"csrf_token": token}
    return client.post("/rehearse", data=form, content_type="multipart/form-data")


def test_the_form_needs_no_script_and_no_daemon(client: FlaskClient, peer: Any) -> None:
    peer.stop()
    page = client.get("/rehearse")
    assert page.status_code == 200
    # But for the one of every page, which keeps what is shown without a network.
    assert page.text.count("<script") == page.text.count("/worker_start.js") == 1
    assert "How would a plan go on this bath?" in words(page)


def test_a_plan_is_rehearsed_as_it_was_written(client: FlaskClient, peer: Any) -> None:
    page = send(client, mishaps="short at 4:12\r\n\r\n power cut at 5 h ", parts="4")
    assert page.status_code == 200
    (asked,) = peer.rehearsed
    assert asked.plan == 'title = "Bracket"\narea = "1 dm²"\n'
    assert asked.mishaps == ("short at 4:12", "power cut at 5 h")
    assert asked.copies == 4
    said = words(page)
    assert "Would work: 25 µm in 7 h 13 min (7 h 00 min to 7 h 26 min)." in said
    assert "Falls due 5 mL of brightener" in said
    assert "If: short at 4:12" in said
    assert "4:12:00.5 alarm, high priority: short" in said
    assert "Needs Switch the supply off" in said
    assert "short at 4:12" in unescape(page.text.split('name="mishaps"')[1].split("</textarea>")[0])


def test_without_mishaps_those_that_are_usual_are_asked_for(client: FlaskClient, peer: Any) -> None:
    send(client)
    assert peer.rehearsed[0].mishaps is None
    assert peer.rehearsed[0].copies is None


def test_each_curve_is_drawn_with_its_range_and_told_in_words(client: FlaskClient) -> None:
    page = send(client)
    labels = re.findall(r'role="img" aria-label="([^"]+)"', page.text)
    assert [label.split()[0] for label in labels] == ["Current", "Voltage", "Bath", "Thickness"]
    # 2.2 V and 0.8 V more at the start, ± 10 %: 1.98 to 3.3 V.
    assert labels[1] == "Voltage in V: foretold from 1.98 to 3.3."
    assert page.text.count('class="range" d="M') == 4
    assert page.text.count('class="middle" d="M') == 4


def test_what_would_not_work_says_because_of_what(client: FlaskClient, peer: Any) -> None:
    because = ("cap on time reached at 18.2 of 25 µm", "in stage 2, full current, 2 V let 1.2 A by")
    peer.rehearsal = peer.rehearsal.model_copy(update={"because": because})
    page = send(client)
    assert "Would not work, because cap on time reached at 18.2 of 25 µm." in words(page)
    assert "2 V let 1.2 A by" in words(page)
    assert 'data-level="attention"' in page.text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"plan": "  "}, "The plan is missing."),
        ({"parts": "four"}, "whole number from 1 to 1000"),
        ({"parts": "0"}, "whole number from 1 to 1000"),
        ({"mishaps": "short at " + "4" * 300}, "one short line"),
    ],
)
def test_what_cannot_be_used_is_told_and_stays(
    client: FlaskClient, peer: Any, fields: dict[str, str], said: str
) -> None:
    page = send(client, **fields)
    assert page.status_code == 400
    assert said in words(page)
    assert peer.rehearsed == []


def test_why_the_daemon_does_not_rehearse_it(client: FlaskClient, peer: Any) -> None:
    peer.refusal = "rehearsal: target is missing <here>"
    page = send(client)
    assert "Not rehearsed: rehearsal: target is missing <here>" in words(page)
    assert "<here>" not in page.text
    assert "Bracket" in page.text
    peer.stop()
    assert send(client).status_code == 503


def test_a_press_of_another_site_is_none(client: FlaskClient, peer: Any) -> None:
    assert client.post("/rehearse", data={"plan": PLAN}).status_code == 400
    assert peer.rehearsed == []


def test_the_plan_of_an_earlier_run(client: FlaskClient) -> None:
    page = client.get("/rehearse?run=12")
    assert page.status_code == 200
    assert "Run 12, Bracket, left" in words(page)
    assert client.get("/rehearse?run=99").status_code == 404


@pytest.fixture
def foretold(make_client: Make, bath_record: Path, peer: Any, foretell: Make) -> FlaskClient:
    """A record whose run 12 was foretold as the peer's rehearsal has it."""
    foretell(bath_record, peer.rehearsal)
    client: FlaskClient = make_client(bath_record)
    return client


def test_a_run_beside_what_was_foretold(foretold: FlaskClient) -> None:
    page = foretold.get("/rehearse/12")
    assert page.status_code == 200
    said = words(page)
    assert "Run 12, Bracket, left. What was foretold, and what happened." in said
    assert "foretold 7 h 13 min (7 h 00 min to 7 h 26 min)" in said
    assert page.text.count('class="counting" d="M') >= 2
    assert "It was from" in page.text
    assert "The run is under way" in said


def test_a_run_that_was_not_foretold_and_one_that_is_not_there(client: FlaskClient) -> None:
    page = client.get("/rehearse/12")
    assert page.status_code == 404
    assert "Run 12 was not foretold" in words(page)
    assert client.get("/rehearse/99").status_code == 404
    assert client.get("/rehearse/x").status_code == 404
