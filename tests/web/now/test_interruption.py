"""A run that was cut short, on the first page: what may have passed, and going on with its part.

The record's run 12 is half an hour at 0.5 A, which is 0.25 A·h; 5 min at the plan's most, 3.5 A,
are 0.291667 A·h.
"""

import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, expect
from werkzeug.test import TestResponse

from daemon.api.plans.proof import proof_plan
from daemon.record.entries import RunOpened, Settled
from daemon.record.writer import Writer

Make = Callable[..., Any]

FORESEEN = (
    "it goes on in stage 2 of 3, Build, at 3.5 A, with 1.1 of 25 µm on the part",
    "5 mL of brightener falls due after 0.50 Ah of this run, in about 15 min",
)


def words(response: TestResponse) -> str:
    """What stands in the part of the page about interruptions; empty without one."""
    found = re.search(r'<section class="inner" id="interrupted".*?</section>', response.text, re.S)
    text = "" if found is None else unescape(re.sub(r"<[^>]*>", " ", found[0]))
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def press(client: FlaskClient, path: str, **fields: str) -> TestResponse:
    token = re.search(r'name="csrf_token" value="([^"]+)"', client.get("/").text)
    assert token is not None
    return client.post(path, data={"csrf_token": token[1], **fields}, follow_redirects=True)


def settle(record: Path, charge_ah: float, note: str = "") -> None:
    writer = Writer(record, threaded=False)
    writer.settle(Settled(12, charge_ah, "anna", note, 1_772_399_000_000))
    writer.close()


@pytest.fixture(autouse=True)
def at_rest(peer: Any, make_status: Make) -> None:
    peer.status = make_status(state="idle", run=None, output_on=False, current_a=0.0)
    peer.foreseen = FORESEEN


def test_what_happened_stands_there_with_its_bounds(make_client: Make, cut: Make) -> None:
    said = words(make_client(cut()).get("/"))
    assert said.startswith("Run 12 was interrupted Bracket, left The record knows it until 0.2")
    assert re.search(r"until 0\.2\d{3} Ah, 30 min after its start\.", said)
    assert (
        "In the 5 min after that nobody looked: between 0 Ah and 0.291667 Ah can have passed."
        in said
    )
    assert "Nothing passed It went on all the time Or so much, 0 Ah to 0.291667 Ah" in said


@pytest.mark.parametrize(
    ("pressed", "charge", "note"),
    [("Nothing passed", "0 Ah", "nothing passed"),
     ("It went on all the time", "0.291667 Ah", "it went on all the time")],
)  # fmt: skip
def test_one_press_says_either_bound(
    make_client: Make, cut: Make, pressed: str, charge: str, note: str
) -> None:
    page = make_client(cut()).get("/").text
    form = next(f for f in re.findall(r"<form.*?</form>", page, re.S) if pressed in f)
    fields = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form))
    assert (fields["run"], fields["charge"], fields["note"]) == ("12", charge, note)
    assert 'action="/interruption/settle"' in form


def test_a_word_reaches_the_daemon_with_its_unit_read(
    peer: Any, make_client: Make, cut: Make
) -> None:
    client = make_client(cut())
    answered = press(client, "/interruption/settle", run="12", charge="100 mAh")
    (said,) = peer.settled
    assert (said.run, said.charge_ah, said.note) == (12, pytest.approx(0.1), "")
    assert (said.who, said.where) == ("the page at 127.0.0.1", "page, 127.0.0.1")
    assert answered.status_code == 200


@pytest.mark.parametrize(
    ("charge", "said"),
    [("0.1", "charge: expected a charge such as"), ("1 A", "charge: expected a charge such as"),
     ("-1 Ah", "charge: must not be less than 0 Ah, got '-1 Ah'"), ("", "charge: expected")],
)  # fmt: skip
def test_a_charge_that_is_none_is_told(
    peer: Any, make_client: Make, cut: Make, charge: str, said: str
) -> None:
    page = press(make_client(cut()), "/interruption/settle", run="12", charge=charge)
    assert f"Not done: {said}" in unescape(page.text)
    assert peer.settled == []


def test_what_the_daemon_refuses_is_told(peer: Any, make_client: Make, cut: Make) -> None:
    peer.refusal = "run 12: 9.000000 Ah cannot have passed in its interruption"
    for path, fields in (("settle", {"charge": "9 Ah"}), ("go-on", {})):
        page = press(make_client(cut(path)), f"/interruption/{path}", run="12", **fields)
        assert f"Not done: {peer.refusal}." in page.text


def test_what_was_said_stands_there_and_can_be_said_anew(make_client: Make, cut: Make) -> None:
    record = cut()
    settle(record, 0.1, "the fuse had blown")
    said = words(make_client(record).get("/"))
    assert "anna said: 0.1 Ah passed (the fuse had blown). Say it anew" in said
    assert "Go on with this part" in said


def test_a_length_that_is_not_known_has_no_greatest(
    peer: Any, make_client: Make, cut: Make
) -> None:
    peer.why_not = "run 12: how long it was interrupted is not known"
    said = words(make_client(cut(lasted_s=None)).get("/"))
    assert "How long it was interrupted is not known, for the clock was not set" in said
    assert "Nothing passed Or so much, 0 Ah or more" in said
    assert f"Nobody can go on with this part now: {peer.why_not}." in said
    assert "Go on with this part" not in said


def test_going_on_asks_once_and_says_what_will_happen(
    peer: Any, make_client: Make, cut: Make
) -> None:
    client = make_client(cut())
    said = words(client.get("/"))
    assert (
        "It goes on in stage 2 of 3, Build, at 3.5 A, with 1.1 of 25 µm on the part. "
        "5 mL of brightener falls due after 0.50 Ah" in said
    )
    assert said.endswith("Go on with this part")
    asked = words(client.get("/?go-on=12"))
    assert "The current comes on at once. Look at the part first" in asked
    assert asked.endswith("Yes, go on now Not now")
    assert peer.started == []
    page = press(client, "/interruption/go-on", run="12")
    (started,) = peer.started
    assert (started.goes_on_from, started.plan, started.who) == (12, "", "the page at 127.0.0.1")
    assert page.status_code == 200


def test_a_run_that_is_not_on_the_disk_yet_is_told(peer: Any, make_client: Make, cut: Make) -> None:
    peer.warning = "the run has started, but is not on the disk yet: it is full"
    page = press(make_client(cut()), "/interruption/go-on", run="12")
    assert "The run has started, but is not on the disk yet: it is full." in page.text
    assert "Not done" not in page.text


def test_who_is_asked_about_another_run_is_not_asked(make_client: Make, cut: Make) -> None:
    said = words(make_client(cut()).get("/?go-on=11"))
    assert said.endswith("Go on with this part")


def test_while_a_run_is_under_way_there_is_nothing_of_it(
    peer: Any, make_client: Make, cut: Make, make_status: Make
) -> None:
    peer.status = make_status()
    assert words(make_client(cut()).get("/")) == ""


def test_another_run_s_part_is_not_gone_on_with_but_the_word_is_wanted(
    peer: Any, make_client: Make, cut: Make
) -> None:
    record = cut()
    writer = Writer(record, threaded=False)
    writer.put(RunOpened(13, "Copper 1", "Knob", "", "copper", 1.0, 5.0, "anna", 0, 0.0, "b", None))
    writer.flush()
    writer.close_unfinished("it ended")  # not the newest is what matters
    writer.close()
    said = words(make_client(record).get("/"))
    assert said.index("Run 13 was interrupted") < said.index("Run 12 was interrupted")
    older = said.split("Run 12 was interrupted")[1]
    assert "Nothing passed" in older
    assert "Go on" not in older
    settle(record, 0.0)
    assert "Run 12" not in words(make_client(record).get("/"))


def test_a_proof_test_s_run_has_no_part_to_go_on_with(make_client: Make, cut: Make) -> None:
    said = words(make_client(cut(plan=proof_plan(0.2, 3.0))).get("/"))
    assert "Nothing passed" in said
    assert "go on with" not in said.lower()


def test_without_an_interruption_there_is_nothing_of_it(client: FlaskClient) -> None:
    assert words(client.get("/")) == ""


def test_a_silent_daemon_has_nothing_to_press_for(peer: Any, make_client: Make, cut: Make) -> None:
    client = make_client(cut())
    peer.stop()
    assert words(client.get("/")) == ""


@pytest.mark.parametrize("path", ["/interruption/settle", "/interruption/go-on"])
def test_only_by_a_form_of_ours(peer: Any, client: FlaskClient, path: str) -> None:
    fields = {"run": "12", "charge": "0 Ah"}
    assert client.post(path, data=fields).status_code == 400
    assert client.post(path, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert press(client, path, run="x", charge="0 Ah").status_code == 404
    assert (peer.settled, peer.started) == ([], [])


def test_the_alarm_leads_there(
    peer: Any, make_client: Make, cut: Make, make_status: Make, whisker: Make
) -> None:
    peer.status = make_status(
        state="idle", run=None, output_on=False, alarms=(whisker(cause="run interrupted"),)
    )
    page = make_client(cut()).get("/").text
    assert '<a href="/#interrupted">Say what passed, and go on</a>' in page
    assert "A run was interrupted." in page


@pytest.mark.browser
@pytest.mark.parametrize("scripts", [True, False])
def test_in_a_browser_it_is_settled_and_gone_on_with(
    browser: Browser, make_page_of: Make, cut: Make, peer: Any, make_status: Make, scripts: bool
) -> None:
    record = cut()
    address = make_page_of(record)
    context = browser.new_context(
        java_script_enabled=scripts, viewport={"width": 320, "height": 640}
    )
    page = context.new_page()
    page.goto(address)
    page.get_by_label("Or so much").fill("0.1 Ah")
    with page.expect_navigation():
        page.get_by_role("button", name="Keep it").click()
    assert peer.settled[-1].charge_ah == pytest.approx(0.1)
    settle(record, 0.1)
    page.get_by_role("button", name="Go on with this part").click()
    expect(page.get_by_text("anna said: 0.1 Ah passed.")).to_be_visible()
    expect(page.get_by_text("The current comes on at once.")).to_be_visible()
    if scripts:
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
    with page.expect_navigation():
        page.get_by_role("link", name="Not now").click()
    assert peer.started == []
    page.get_by_role("button", name="Go on with this part").click()
    peer.after = {"status": make_status()}
    page.get_by_role("button", name="Yes, go on now").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Plating.")
    expect(page.get_by_text("was interrupted")).to_have_count(0)
    assert peer.started[-1].goes_on_from == 12
    context.close()
