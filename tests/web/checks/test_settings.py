"""The page of the settings: what the daemon runs by, and whether its file still says so."""

from html import unescape
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, expect
from reading import words


def test_it_tells_given_settings_from_defaults(client: FlaskClient) -> None:
    response = client.get("/settings")
    assert response.status_code == 200
    text = words(response)
    assert "What the daemon runs by. The file still says so." in text
    assert "From /etc/tankhand/settings.toml" in text
    assert "port /dev/ttyUSB0 the serial port" in text
    assert "accuracy.gain 1 % by default of the reading" in text
    assert "Not given: greatest_current , accuracy.noise" in text
    assert "Not there [contactor] , [[interlock]]" in text


def test_what_was_changed_is_not_hidden_among_defaults(client: FlaskClient) -> None:
    text = client.get("/settings").text
    folded = text.split("<details")[1].split("</details>")[0]
    assert "30 hold by default" in folded
    assert "bath_hot" not in folded
    assert "bath_hot" in text


@pytest.mark.parametrize(
    ("changes", "level", "said"),
    [
        ({"changed": True}, "calm", "has been changed since the daemon read it"),
        (
            {"changed": True, "wrong": ("loop.period: must be above 0 s, got <b>-1 s",)},
            "attention",
            "would not start again",
        ),
    ],
)
def test_a_file_that_has_changed(
    client: FlaskClient, peer: Any, changes: dict[str, Any], level: str, said: str
) -> None:
    peer.settings = peer.settings.model_copy(update=changes)
    response = client.get("/settings")
    text = response.text
    assert f'data-level="{level}"' in text
    assert said in words(response)
    assert "still says so" not in text
    for problem in changes.get("wrong", ()):
        assert problem in unescape(text)
        assert problem not in text


def test_figures_in_the_readers_units(client: FlaskClient, peer: Any) -> None:
    client.set_cookie("tankhand_units", "trade")
    assert "93\u00a0°F" in client.get("/settings").text


def test_without_a_daemon_nobody_knows(client: FlaskClient, peer: Any) -> None:
    peer.stop()
    response = client.get("/settings")
    assert response.status_code == 503
    assert "By which settings it runs is not known." in response.text


def test_a_daemon_that_dies_in_between(
    client: FlaskClient, peer: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("web.tank.KEEP_S", 1e9)
    assert client.get("/settings").status_code == 200
    peer.stop()
    assert client.get("/settings").status_code == 503


@pytest.mark.browser
def test_it_is_read_on_the_narrowest_phone(browser: Browser, address: str) -> None:
    page = browser.new_page(viewport={"width": 320, "height": 640})
    page.goto(f"{address}/settings")
    expect(page.get_by_role("heading", name="[thresholds]")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.get_by_text("30 hold by default").click()
    expect(page.get_by_text("t29")).to_be_visible()
    page.close()
