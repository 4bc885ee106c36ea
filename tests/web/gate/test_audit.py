"""Who asked for what, on the page: newest first, a page at a time, never markup."""

import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, expect
from werkzeug.test import TestResponse

from daemon.record.entries import Audited

Make = Callable[..., Any]


def words(response: TestResponse) -> str:
    body = response.text.split("<body", 1)[1].split(">", 1)[1]
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", body)).split())


@pytest.fixture
def audited(make_client: Make, alarm_record: Path) -> FlaskClient:
    client: FlaskClient = make_client(alarm_record)
    return client


def test_each_act_says_who_what_where_when_and_why_not(audited: FlaskClient) -> None:
    text = words(audited.get("/audit"))
    assert "Who asked for what. Last: resume, ben." in text
    newest = text.index(
        "2026-03-01 20:02:00 Resume ben from control socket Refused: resume is not possible"
    )
    middle = text.index(
        "2026-03-01 20:01:00 Acknowledge alarm 3 the page at 127.0.0.1 from page, 127.0.0.1"
    )
    oldest = text.index("2026-03-01 20:00:00 Start Bracket, left anna from terminal of anna")
    assert newest < middle < oldest
    assert text.count("Refused:") == 1


def test_without_a_daemon_the_record_still_tells(audited: FlaskClient, peer: Any) -> None:
    peer.stop()
    assert audited.get("/audit").status_code == 200


def test_a_record_in_which_nobody_asked_for_anything(client: FlaskClient) -> None:
    assert "Nobody has asked for anything yet." in words(client.get("/audit"))


def test_pages_follow_each_other_and_lose_none(
    audited: FlaskClient, alarm_record: Path, more_asked: Make
) -> None:
    """Three are there; 118 more make 121, which is two pages of 50 and one of 21."""
    more_asked(alarm_record, [Audited(k, "anna", "here", "hold", f"no. {k}.") for k in range(118)])
    address, seen, sizes = "/audit", [], []
    while address:
        page = audited.get(address)
        here = re.findall(r"no\. (\d+)\.", page.text)
        seen += here
        sizes.append(page.text.count("<li>"))
        link = re.search(r'href="([^"]+)" rel="next"', page.text)
        address = unescape(link[1]) if link else ""
    assert sizes == [50, 50, 21]
    assert seen == [str(k) for k in range(117, -1, -1)]
    assert 'href="/audit">Newest' in page.text


def test_what_people_wrote_is_text(
    audited: FlaskClient, alarm_record: Path, more_asked: Make
) -> None:
    nasty = "<img src=x onerror=alert(1)>"
    more_asked(alarm_record, [Audited(0, nasty, nasty, "hold", nasty, nasty)])
    response = audited.get("/audit")
    assert "<img" not in response.text
    assert words(response).count("Refused: <img src=x onerror=alert(1)>") == 1


@pytest.mark.browser
def test_long_names_stay_on_a_phone_s_screen(
    browser: Browser, make_page_of: Make, alarm_record: Path, more_asked: Make
) -> None:
    more_asked(alarm_record, [Audited(0, "a" * 120, "b" * 120, "hold", "c" * 300, "d" * 300)])
    context = browser.new_context(java_script_enabled=False, viewport={"width": 320, "height": 800})
    page = context.new_page()
    page.goto(f"{make_page_of(alarm_record)}/audit")
    expect(page.get_by_text("a" * 120).first).to_be_visible()
    for box in (item.bounding_box() for item in page.get_by_role("listitem").all()):
        assert box is not None
        assert box["x"] + box["width"] <= 320
    last = page.get_by_text("d" * 300).bounding_box()
    assert last is not None
    assert last["x"] + last["width"] <= 320
    context.close()
