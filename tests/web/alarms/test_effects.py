"""The cause and effect table on the page: what the daemon runs by, and nothing else."""

import re
from collections.abc import Callable
from html import unescape
from types import MappingProxyType
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, expect
from werkzeug.test import TestResponse

from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table

Make = Callable[..., Any]


def cells(response: TestResponse) -> dict[str, list[str]]:
    """The table's rows by cause, each cell as a reader sees it."""
    body = response.text.split("<tbody", 1)[1].split("</tbody>", 1)[0]
    found = {}
    for row in re.findall(r"<tr.*?</tr>", body, re.DOTALL):
        texts = re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)
        cause, *rest = (unescape(" ".join(re.sub("<[^>]*>", "", t).split())) for t in texts)
        found[cause] = rest
    return found


def test_each_row_says_what_a_cause_brings_about_and_by_which_category(
    client: FlaskClient, peer: Any
) -> None:
    peer.table = Table(
        MappingProxyType(
            {
                "short": Effects(Stop.ABORT, siren=True),
                "bath too hot": Effects(Stop.HOLD, after_s=30.0, beacon=False, tell=False),
                "cap reached": Effects(Stop.STOP),
                "interlock: lid": Effects(Stop.NOTHING, tell=False),
            }
        )
    )
    response = client.get("/effects")
    assert response.status_code == 200
    found = cells(response)
    assert [row[:6] for row in found.values()] == [
        ["high", "abort (category 0)", "at once", "yes", "yes", "yes"],
        ["medium", "hold (category 1)", "30 s", "–", "–", "–"],
        ["medium", "stop (category 1)", "at once", "yes", "–", "yes"],
        ["low", "–", "–", "yes", "–", "–"],
    ]
    assert list(found) == ["Short", "Bath too hot", "Cap reached", "Interlock: lid"]
    assert found["Short"][6].startswith("A part or hook touching an anode")


def test_every_cause_has_its_row(client: FlaskClient) -> None:
    assert [cause.lower() for cause in cells(client.get("/effects"))] == list(DEFAULTS)


def test_it_says_that_software_is_no_safety_function(client: FlaskClient) -> None:
    text = client.get("/effects").text
    assert "Software is no safety function" in text
    assert "IEC 60204-1" in text


def test_without_a_daemon_there_is_no_table_to_show(client: FlaskClient, peer: Any) -> None:
    peer.stop()
    response = client.get("/effects")
    assert response.status_code == 503
    assert "The daemon does not answer." in response.text
    assert "<table" not in response.text


def test_a_daemon_that_dies_in_between(
    client: FlaskClient, peer: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It has told its status a moment ago, which is still held; then it is gone."""
    monkeypatch.setattr("web.tank.KEEP_S", 1e9)
    assert client.get("/effects").status_code == 200
    peer.stop()
    assert client.get("/effects").status_code == 503


def test_a_loop_s_name_is_text(client: FlaskClient, peer: Any) -> None:
    peer.table = Table({"interlock: <b>lid</b>": Effects(Stop.HOLD)})
    text = client.get("/effects").text
    assert "<b>lid" not in text
    assert "lid&lt;/b&gt;" in text


@pytest.mark.browser
def test_on_a_phone_each_cause_stands_by_itself(browser: Browser, address: str) -> None:
    context = browser.new_context(java_script_enabled=False, viewport={"width": 320, "height": 800})
    page = context.new_page()
    page.goto(f"{address}/effects")
    row = page.get_by_role("row", name="Short high")
    expect(row).to_be_visible()
    expect(row.get_by_role("rowheader")).to_have_text("Short")
    cause, check = row.get_by_role("rowheader"), row.get_by_role("cell").last
    above, below = cause.bounding_box(), check.bounding_box()
    assert above is not None
    assert below is not None
    assert below["y"] > above["y"] + above["height"]
    assert below["x"] + below["width"] <= 320
    page.set_viewport_size({"width": 1280, "height": 800})
    beside, right = cause.bounding_box(), check.bounding_box()
    assert beside is not None
    assert right is not None
    assert right["x"] > beside["x"] + beside["width"]
    assert right["y"] < beside["y"] + beside["height"]
    context.close()
