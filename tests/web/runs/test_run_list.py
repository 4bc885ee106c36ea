"""The list of runs: what each shows at one glance, what is found, what cannot be looked for."""

from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, expect
from reading import beside, words
from run_records import DAY_MS, HOUR_MS, STARTED_MS, begun, keep, over

from daemon.api.plans.proof import proof_plan
from daemon.record.entries import AlarmRaised

Make = Callable[..., Any]


def _alarm(number: int, run_id: int, priority: str) -> AlarmRaised:
    return AlarmRaised(
        number, run_id, "short", priority, "0.11 V", {}, STARTED_MS, 100.0 + number, "boot"
    )


@pytest.fixture(scope="module")
def some(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Runs 1 to 4 and a proof test: complete, aborted with alarms, stopped, one without an end."""
    path = tmp_path_factory.mktemp("runs") / "record.db"
    day = [STARTED_MS + k * DAY_MS for k in range(5)]
    keep(
        path,
        begun(1, utc_ms=day[0]),
        over(1, utc_ms=day[0] + HOUR_MS),
        begun(2, utc_ms=day[1], title="Door knob", plan='part = "knob"'),
        _alarm(1, 2, "high"), _alarm(2, 2, "medium"), _alarm(3, 2, "medium"),
        over(2, state="aborted", reason="short: 0.11 V at 3.50 A", charge_ah=0.5,
             thickness_um=13.23, elapsed_s=900.0, utc_ms=day[1] + HOUR_MS),
        begun(3, utc_ms=day[2], bath="Copper 2", title="Öse", target_um=25.0),
        over(3, state="stopped", reason="stopped by anna", thickness_um=24.99,
             utc_ms=day[2] + HOUR_MS),
        begun(4, utc_ms=day[3], title="Proof test", plan=proof_plan(0.2, 5.0)),
        over(4, state="stopped", utc_ms=day[3] + HOUR_MS),
        begun(5, utc_ms=day[4], title="=cmd|' /C calc'!A0"),
    )  # fmt: skip
    return path


@pytest.fixture
def page(make_client: Make, some: Path) -> FlaskClient:
    client: FlaskClient = make_client(some)
    return client


def test_newest_come_first_without_proof_tests(page: FlaskClient) -> None:
    text = words(page.get("/runs"))
    places = [text.index(f"run {number} ") for number in (5, 3, 2, 1)]
    assert places == sorted(places)
    assert "Proof test" not in text.split("Newest first")[1].split("Times are")[0]


def test_a_line_says_when_what_how_thick_how_it_ended_and_alarms(page: FlaskClient) -> None:
    text = words(page.get("/runs"))
    assert (
        "2026-03-02 20:00 Door knob run 2 Short: 0.11 V at 3.50 A 13.2 of 52.92 µm "
        "Aborted after 15 min 3 alarms, 1 high" in text
    )
    assert "Lamp foot run 1 52.9 of 52.92 µm Complete after 1 h 00 min" in text
    # 24.99 µm is short of 25, and must not read as there.
    assert "Stopped by anna 24.9 of 25 µm Stopped" in text


def test_a_run_without_an_end_is_under_way_only_if_the_daemon_says_so(
    page: FlaskClient, peer: Any, make_status: Make
) -> None:
    assert "No end is known yet" in words(page.get("/runs"))
    running = make_status()
    peer.status = running.model_copy(update={"run": running.run.model_copy(update={"run_id": 5})})
    assert "Under way" in words(page.get("/runs"))


FITS = {
    "words=KNOB": [2],
    "words=lamp+foot": [5, 3, 1],
    "words=öse": [3],
    "words=%25%25": [],
    "words=nothing+of+this": [],
    "bath=Copper+2": [3],
    "ended=aborted": [2],
    "ended=not+over": [5],
    "since=2026-03-03": [5, 3],
    "until=2026-03-02": [2, 1],
    "since=2026-03-02&until=2026-03-03&ended=stopped": [3],
    "bath=of+another+page": [5, 3, 2, 1],
}


def test_runs_are_looked_for(page: FlaskClient) -> None:
    for query, numbers in FITS.items():
        response = page.get(f"/runs?{query}")
        assert response.status_code == 200
        found = [n for n in range(9, 0, -1) if f"<small>run {n}</small>" in response.text]
        assert found == numbers, query


def test_what_cannot_be_looked_for_is_told_beside_it(page: FlaskClient) -> None:
    response = page.get("/runs?since=1.3.2026")
    assert response.status_code == 422
    assert "1.3.2026" in beside(response, "since")
    assert '<details class="folded" open>' in response.text
    response = page.get("/runs?since=2026-03-03&until=2026-03-01")
    assert response.status_code == 422
    assert "Before 2026-03-03" in beside(response, "until")


def test_what_was_written_is_text_and_never_markup(page: FlaskClient, some: Path) -> None:
    response = page.get("/runs", query_string={"words": '"><script>x</script>'})
    assert "<script>x" not in response.text
    assert "=cmd|' /C calc'!A0" in unescape(page.get("/runs").text)


def test_two_runs_can_be_ticked_to_be_compared(page: FlaskClient) -> None:
    html = page.get("/runs").text
    assert html.count('type="checkbox" name="run"') == 4
    assert 'action="/runs/compare"' in html


def test_pages_carry_what_was_looked_for(make_client: Make, tmp_path: Path) -> None:
    path = tmp_path / "many.db"
    keep(path, *(e for n in range(1, 121) for e in (begun(n), over(n))))
    client = make_client(path)
    text = client.get("/runs?words=lamp").text
    assert "<small>run 71</small>" in text
    assert "<small>run 70</small>" not in text
    assert 'href="/runs?before=71&amp;words=lamp"' in text
    text = client.get("/runs?before=71&words=lamp").text
    assert "<small>run 70</small>" in text
    assert "<small>run 71</small>" not in text
    text = client.get("/runs?before=21").text
    assert "<small>run 1</small>" in text
    assert ">Older<" not in text
    assert client.get("/runs?before=x").status_code == 400


def test_a_record_without_runs_says_so(make_client: Make, tmp_path: Path) -> None:
    path = tmp_path / "empty.db"
    keep(path)
    assert "No run is in the record." in words(make_client(path).get("/runs"))
    assert make_client(tmp_path / "none.db").get("/runs").status_code == 503


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 1280])
def test_a_browser_without_scripts_finds_a_run(
    browser: Browser, make_page_of: Make, some: Path, width: int
) -> None:
    context = browser.new_context(
        java_script_enabled=False, viewport={"width": width, "height": 800}
    )
    page = context.new_page()
    page.goto(make_page_of(some))
    page.get_by_role("link", name="Runs").click()
    page.get_by_text("Bath, days, end").click()
    page.get_by_label("How it ended").select_option("aborted")
    page.get_by_role("button", name="Look for them").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("1 run fits.")
    expect(page.get_by_role("heading", level=2)).to_have_count(1)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()
