"""Alarms on the page: on top of everything, whole without a script, pressed once and passed on."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, expect
from reading import token

Make = Callable[..., Any]


def press(client: FlaskClient, what: str, **fields: Any) -> Any:
    return client.post(f"/alarms/{what}", data={"csrf_token": token(client), **fields})


def test_an_alarm_stands_on_the_page_with_all_that_somebody_needs(
    client: FlaskClient, peer: Any, make_status: Make, whisker: Make
) -> None:
    peer.status = make_status(alarms=(whisker(),))
    text = client.get("/").text
    for words in (
        "Whisker",
        "the voltage fell from 2.21",
        "Nothing was switched.",
        "Edges and hooks for a thin tree",
        "Shake or brush it off",
        "Acknowledge",
    ):
        assert words in text
    assert text.index("Whisker") < text.index("Current")


def test_without_alarms_nothing_is_there(client: FlaskClient) -> None:
    assert client.get("/alarms").text.strip() == ""
    assert "<article" not in client.get("/").text


def test_a_press_acknowledges_that_one(
    client: FlaskClient, peer: Any, make_status: Make, whisker: Make
) -> None:
    peer.status = make_status(alarms=(whisker(),))
    assert press(client, "acknowledge", alarm="3").status_code == 303
    (request,) = peer.attended
    assert (request.ask, request.alarm, request.who) == (
        "acknowledge", 3, "the page at 127.0.0.1",
    )  # fmt: skip


def test_one_press_for_all(
    client: FlaskClient, peer: Any, make_status: Make, whisker: Make
) -> None:
    peer.status = make_status(alarms=(whisker(), whisker(number=5)))
    assert "Acknowledge all" in client.get("/").text
    press(client, "acknowledge")
    assert peer.attended[0].alarm is None


@pytest.mark.parametrize(("hours", "for_s"), [("1", 3600.0), ("8", 28800.0), ("99", 0.0)])
def test_shelving(client: FlaskClient, peer: Any, hours: str, for_s: float) -> None:
    press(client, "shelve", alarm="3", hours=hours)
    assert (peer.attended[0].alarm, peer.attended[0].for_s) == (3, for_s)


def test_what_is_offered_is_what_the_alarm_takes(
    client: FlaskClient, peer: Any, make_status: Make, whisker: Make
) -> None:
    heard = {"acknowledged_by": "anna"}
    for life, more, offered in (
        ("unacknowledged", {}, "Acknowledge"),
        ("returned, unacknowledged", {}, "Acknowledge"),
        ("acknowledged", heard, "Shelve for 1 h, Shelve for 8 h"),
        ("latched", heard, ""),
        ("shelved", heard | {"shelved_until_utc": "2026-03-02T04:00:00+00:00"}, "Off the shelf"),
    ):
        peer.status = make_status(alarms=(whisker(life=life, **more),))
        buttons = re.findall("<button>(.*?)</button>", client.get("/alarms").text)
        assert ", ".join(buttons) == offered


def test_a_refusal_is_told(client: FlaskClient, peer: Any) -> None:
    peer.refusal = "alarm 3 does not stand; standing: none"
    press(client, "acknowledge", alarm="3")
    assert "Not done: alarm 3 does not stand; standing: none." in client.get("/").text


@pytest.mark.parametrize(("what", "fields"), [
    ("silence", {}), ("acknowledge", {"alarm": "three"}), ("shelve", {"alarm": "1.5"}),
])  # fmt: skip
def test_what_no_button_sends_is_not_passed_on(
    client: FlaskClient, peer: Any, what: str, fields: dict[str, str]
) -> None:
    assert press(client, what, **fields).status_code == 404
    assert peer.acts == []


def test_a_press_without_the_pages_token_is_refused(client: FlaskClient, peer: Any) -> None:
    assert client.post("/alarms/acknowledge", data={"alarm": "3"}).status_code == 400
    assert peer.acts == []


def test_without_a_daemon(client: FlaskClient, peer: Any) -> None:
    pass_ = token(client)
    peer.stop()
    assert client.get("/alarms").status_code == 503
    response = client.post("/alarms/acknowledge", data={"csrf_token": pass_})
    assert response.status_code == 503
    assert "The daemon gave no answer." in response.text


def test_names_and_figures_are_text(
    client: FlaskClient, peer: Any, make_status: Make, whisker: Make
) -> None:
    peer.status = make_status(alarms=(whisker(cause="interlock: <b>lid</b>", seen="<i>x</i>"),))
    text = client.get("/").text
    assert "<b>lid</b>" not in text
    assert "<i>x</i>" not in text


@pytest.mark.browser
def test_an_alarm_comes_and_goes_on_an_open_page(
    browser: Browser, address: str, peer: Any, make_status: Make, whisker: Make
) -> None:
    page = browser.new_page()
    page.goto(address)
    expect(page.get_by_role("article")).to_have_count(0)
    peer.status = make_status(alarms=(whisker(),))
    expect(page.get_by_role("article", name="Whisker")).to_be_visible()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Alarm: whisker.")
    peer.status = make_status(alarms=(whisker(life="acknowledged", acknowledged_by="anna"),))
    expect(page.get_by_text("Acknowledged by anna")).to_be_visible()
    peer.status = make_status(alarms=(whisker(),))
    with page.expect_navigation():
        page.get_by_role("button", name="Acknowledge").click()
    assert [(r.ask, r.alarm) for r in peer.attended] == [("acknowledge", 3)]
    peer.status = make_status()
    expect(page.get_by_role("article")).to_have_count(0)
    page.close()
