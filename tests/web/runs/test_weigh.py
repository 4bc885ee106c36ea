"""Weighings on the page: worked out, asked about, kept, and listed with what they teach."""

import re
import shutil
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Page, expect
from reading import beside, token, words
from werkzeug.test import TestResponse

from daemon.chemistry.uncertainty import MeterDoubt
from daemon.record.entries import BathEntered, CountedBy, RunEnded, RunOpened, Sample
from daemon.record.writer import Writer
from tests.plates import LARGE_PLATE as PLAN

Make = Callable[..., Any]

WHOLE_G = 2.370987
"""2 A·h of copper(II): 2·3600·63.546/(2·96485.33212) g."""

GAINED = {"run": "4", "before": "50.000 g", "after": "52.300 g", "balance": "0.005 g"}
"""2.3 g of 2.371 g: 97.0 %."""


def hidden(response: TestResponse) -> dict[str, str]:
    """What the form at the answer carries on."""
    answer = response.text.split('id="answer"', 1)[1]
    return dict(re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', answer))


@pytest.fixture(scope="session")
def gained(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Runs 1 to 5 of 2 A·h each in Copper 1, run 6 in another bath; 1 to 3 have been weighed."""
    path = tmp_path_factory.mktemp("gained") / "record.db"
    writer = Writer(path, threaded=False)
    for run_id in range(1, 7):
        bath = "Copper 1" if run_id < 6 else "Copper 2"
        writer.put(
            RunOpened(
                run_id, bath, f"Plate {run_id}", PLAN, "Cu", 4.0, 10.0, "anna", 0, 0.0, "b", True,
                CountedBy("supply", doubt=MeterDoubt(gain=0.005)),
            )
        )  # fmt: skip
        writer.put(Sample(run_id, 0.0, 2.0, 1.0, 2.0, 0.0))
        writer.put(Sample(run_id, 3600.0, 2.0, 1.0, 2.0, 2.0))
        writer.put(RunEnded(run_id, "complete", "", 0, 3600.0, 3600.0, 2.0, 0.0, 0.0, 2.3, 6.0))
    assert writer.flush()
    for run, efficiency in enumerate((0.965, 0.97, 0.968), start=1):
        keep_weighing(writer, run, efficiency)
    writer.close()
    return path


def keep_weighing(writer: Writer, run: int | None, efficiency: float, at_ms: int = 0) -> None:
    details = {
        "metal": "Cu(II)", "charge_ah": 2.0, "efficiency": efficiency, "u_own": 0.001,
        "u_common": 0.002, "counts": True,
    }  # fmt: skip
    facts = {
        "what": "part", "before_g": 50.0, "after_g": 50.0 + efficiency * WHOLE_G,
        "details": details,
    }  # fmt: skip
    writer.keep_bath_entry(
        BathEntered("Copper 1", "weighing", "anna", at_ms, at_ms, facts=facts, run_id=run)
    )


@pytest.fixture
def client(make_client: Make, gained: Path) -> FlaskClient:
    return make_client(gained)  # type: ignore[no-any-return]


def test_an_efficiency_is_worked_out_and_kept(client: FlaskClient, peer: Any) -> None:
    page = client.get("/parts/weigh", query_string=GAINED)
    assert page.status_code == 200
    text = words(page)
    # ± 0.005 g twice are u = 0.0041 g, 0.17 % of 2.371 g; 0.5 % of the meter: 1.96 * 0.52 %.
    assert "97.0 ± 1.0 % (95 %). Nothing is kept yet." in text
    assert "Faraday's law gives 2.371 g at 100 %" in text
    assert "Learned Cu(II): 96.8 ± " in text
    assert "by 4 weighings" in text
    assert peer.entered == []
    kept = client.post("/parts/weigh/keep", data=hidden(page) | {"who": "ben", "note": "dry"})
    assert (kept.status_code, kept.headers["Location"]) == (303, "/parts/weighings")
    (asked,) = peer.entered
    assert (asked.kind, asked.run, asked.note) == ("weighing", 4, "dry")
    assert asked.who == "ben, the page at 127.0.0.1"
    assert (asked.facts["before_g"], asked.facts["after_g"]) == (50.0, 52.3)
    assert asked.facts["details"]["efficiency"] == pytest.approx(2.3 / WHOLE_G)
    assert asked.facts["details"]["counts"] is True
    assert "Kept as entry 1." in words(client.get("/parts/weighings"))


@pytest.mark.parametrize(
    ("changed", "key", "said"),
    [
        ({"before": "50 kg", "after": "52.3 g"}, "after", "52.3 g is no more than the 50000 g"),
        ({"before": "50"}, "before", 'expected a mass such as "25 g", got "50"'),
        ({"after": ""}, "after", "missing"),
        ({"balance": "1 mm"}, "balance", "expected a mass"),
        ({"trust": "120 %"}, "trust", "120 %"),
        ({"run": ""}, "run", "number of a run, such as 12"),
        ({"run": "99"}, "run", "there is no run 99"),
        ({"run": "2"}, "run", "was weighed already, entry 2"),
        ({"run": "6"}, "run", "was plated in 'Copper 2'"),
    ],
)
def test_what_cannot_be_worked_out_is_told_beside_its_field_and_nothing_is_lost(
    client: FlaskClient, peer: Any, changed: dict[str, str], key: str, said: str
) -> None:
    fields = GAINED | changed
    for page in (
        client.get("/parts/weigh", query_string=fields),
        client.post("/parts/weigh/keep", data=fields | {"csrf_token": token(client)}),
    ):
        assert page.status_code == 422
        assert said.casefold() in beside(page, key).casefold()
        for name, text in fields.items():
            assert f'name="{name}" value="{text}"' in page.text
        assert "Keep this weighing" not in page.text
    assert peer.entered == []


def test_an_outlier_is_asked_about_and_not_averaged_in(client: FlaskClient, peer: Any) -> None:
    """1.9 g are 80 %, far from 96.5 to 97: Grubbs's test."""
    fields = GAINED | {"after": "51.900 g"}
    page = client.get("/parts/weigh", query_string=fields)
    assert page.status_code == 422
    assert "It does not belong to the earlier ones (Grubbs's test, 95 %)" in words(page)
    assert re.findall(r'<button name="doubtful" value="([^"]+)"', page.text) == [
        "include", "leave-out",
    ]  # fmt: skip
    assert "Keep this weighing" not in page.text
    refused = client.post("/parts/weigh/keep", data=fields | {"csrf_token": token(client)})
    assert (refused.status_code, peer.entered) == (422, [])
    page = client.get("/parts/weigh", query_string=hidden(page) | {"doubtful": "leave-out"})
    assert page.status_code == 200
    assert "It is not averaged in." in words(page)
    assert "Cu(II): 96.8 ± " in words(page)
    assert client.post("/parts/weigh/keep", data=hidden(page)).status_code == 303
    assert peer.entered[0].facts["details"]["counts"] is False


def test_more_than_faraday_allows_may_only_be_left_out(client: FlaskClient) -> None:
    page = client.get("/parts/weigh", query_string=GAINED | {"after": "52.600 g"})
    assert "More was gained than 2 Ah can have deposited" in words(page)
    assert re.findall(r'<button name="doubtful" value="([^"]+)"', page.text) == ["leave-out"]


def test_an_area_by_a_trusted_efficiency(client: FlaskClient) -> None:
    text = words(client.get("/parts/weigh", query_string=GAINED | {"trust": "100 %"}))
    # 2.3 of 2.371 g are 97.0 % of 4 dm².
    assert re.search(r"3\.88 ± 0\.0\d+ dm² \(95 %\), if the efficiency is 100 %", text)


def test_runs_that_were_not_weighed_are_offered(client: FlaskClient) -> None:
    page = client.get("/parts/weigh")
    assert page.status_code == 200
    assert re.findall(r'href="/parts/weigh\?run=(\d+)"', page.text) == ["5", "4"]
    page = client.get("/parts/weigh?run=4")
    assert page.status_code == 200
    assert 'name="run" value="4"' in page.text


def test_after_a_run_the_first_page_leads_there(
    client: FlaskClient, peer: Any, make_status: Make
) -> None:
    link = re.compile(r'<p class="how" data-shown="over"( hidden)?>[^<]*<a href="([^"]+)"')
    shown = link.search(client.get("/").text)
    assert shown
    assert shown[1] == " hidden"
    peer.status = make_status(state="complete", output_on=False, current_a=0.0)
    shown = link.search(client.get("/").text)
    assert shown
    assert shown.groups() == (None, "/parts/weigh?run=12")


def test_the_list_has_pages(make_client: Make, gained: Path, tmp_path: Path) -> None:
    path = Path(shutil.copy(gained, tmp_path / "many.db"))
    writer = Writer(path, threaded=False)
    for number in range(60):
        keep_weighing(writer, None, 0.967, at_ms=1000 + number)
    writer.close()
    client = make_client(path)
    first = client.get("/parts/weighings")
    assert "by 63 weighings" in words(first)
    numbers = [int(each) for each in re.findall(r"entry (\d+),", words(first))]
    assert numbers == list(range(63, 13, -1))
    (older,) = re.findall(r'<a href="([^"]+)" rel="next">', first.text)
    second = client.get(unescape(older))
    assert [int(each) for each in re.findall(r"entry (\d+),", words(second))] == list(
        range(13, 0, -1)
    )
    assert 'rel="next"' not in second.text
    assert '<a href="/parts/weighings">Newest</a>' in second.text
    assert client.get("/parts/weighings?before=x").status_code == 400
    assert client.get("/parts/weighings?before=900").status_code == 404


def test_a_refusal_and_a_daemon_that_does_not_answer(client: FlaskClient, peer: Any) -> None:
    peer.refusal = "the record does not take it: the disk is full"
    data = GAINED | {"csrf_token": token(client)}
    page = client.post("/parts/weigh/keep", data=data)
    assert page.status_code == 422
    assert "Not kept: The record does not take it: the disk is full." in words(page)
    peer.stop()
    assert client.post("/parts/weigh/keep", data=data).status_code == 503
    for path in ("/parts/weigh", "/parts/weighings"):
        page = client.get(path)
        assert page.status_code == 503
        assert "The daemon does not answer." in words(page)


@pytest.mark.browser
def test_by_keyboard_on_a_phone_without_scripts(
    plain_phone: Page, make_page_of: Make, gained: Path, peer: Any
) -> None:
    address, page = make_page_of(gained), plain_phone
    page.goto(f"{address}/parts/weigh")
    page.get_by_role("link", name="Run 4, Plate 4").press("Enter")
    before = page.get_by_label("Mass before it")
    before.fill("50.000")
    page.keyboard.press("Tab")
    expect(page.get_by_label("Mass after it, rinsed and dry")).to_be_focused()
    page.keyboard.type("51.900 g")
    page.keyboard.press("Enter")
    expect(before).to_have_accessible_description(re.compile("a number without a unit"))
    before.fill("50.000 g")
    before.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("does not belong to the earlier ones")
    page.get_by_role("button", name="Leave out").press("Enter")
    expect(page.get_by_text("It is not averaged in.")).to_be_visible()
    overflow = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert page.evaluate(overflow) == 0
    page.get_by_label("You are").fill("ben")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Kept as entry 1.")
    assert peer.entered[0].run == 4
    page.goto(f"{address}/parts/weighings")
    assert page.evaluate(overflow) == 0
