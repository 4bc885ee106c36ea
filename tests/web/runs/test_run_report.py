"""A run's report: figures worked out by hand, what else is told, what cannot be, and paper."""

from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, expect
from reading import words
from run_records import (
    DAY_MS,
    HOUR_MS,
    PLAN,
    STARTED_MS,
    a_run,
    a_short,
    begun,
    keep,
    keep_report,
    over,
    readings,
)

from daemon.record.entries import CountedBy, Noted
from daemon.record.interruptions import Restart
from daemon.record.writer import Writer

Make = Callable[..., Any]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "record.db"
    keep_report(path)
    return path


@pytest.fixture
def report(make_client: Make, told: Path) -> str:
    return words(make_client(told).get("/runs/12"))


def test_the_figures_are_those_of_a_sum_by_hand(report: str) -> None:
    # 2 Ah of copper, 63.546 g/mol and 8.96 g/cm³, on 0.5 dm²: 2.3710 g and 52.92 µm.
    # Meter 1 % (u), area 5 % (95 %) and efficiency 1 % (95 %, what a plan has without its word):
    # 1.96·√(0.01² + 0.0255² + 0.0051²) = 5.47 % of 52.92 µm. Charge and mass without the area:
    # 1.96 % of 2 Ah, and 1.96·√(0.01² + 0.0051²) = 2.2 % of 2.3710 g.
    assert "Lamp foot : complete. 52.9 ± 2.9 µm (95 %) of 52.92 µm." in report
    assert "Charge 2.00 ± 0.04 Ah (95 %)" in report
    assert "Mass 2.37 ± 0.05 g (95 %) Cu" in report
    # 2 Ah in an hour on 0.5 dm².
    assert "1 h 00 min; 4.00 A/dm² in the mean" in report
    assert "the plated area 2.65 µm the meter's gain 1.04 µm" in report


def test_it_tells_by_what_it_was_counted_and_when(report: str) -> None:
    assert "Counted by shunt; current = (reading - 0.004 A) / 1.01" in report
    assert "Started 2026-03-01 20:00:00 UTC, anna" in report
    assert "Ended 2026-03-01 21:00:00, complete: target reached" in report


def test_stages_stand_beside_plan_and_rehearsal(report: str) -> None:
    # 1 A for 20 min is a third of an Ah; 1.6667 Ah more at 2.5 A take 40 min.
    assert "strike 1 A, 20 min 20 min, by duration 20 min, 0.333 Ah duration" in report
    assert "build 2.5 A, 40 min 40 min, by target 40 min, 1.667 Ah target" in report


def test_alarms_additions_and_events_are_told(report: str, make_client: Make, told: Path) -> None:
    assert "Alarms 2 alarms" in report
    assert "The voltage fell from 2.00 V to 1.61 V at 2.50 A" in report
    html = make_client(told).get("/runs/12").text
    assert html.count('aria-label="Voltage in V around the alarm.') == 2
    meanwhile = report.split("Entered of the bath meanwhile")[1].split("Weigh check")[0]
    said = '2026-03-01 20:30 Dose: brightener 5 mL anna: =HYPERLINK("http://x")'
    assert " ".join(meanwhile.split()) == said
    events = report.split("Events")[1]
    assert "0:20:00 Stage ended : strike: ended by duration" in events
    assert events.index("Run started") < events.index("Gap") < events.index("Run ended")


def test_the_balance_stands_beside_the_charge(report: str) -> None:
    # 26.62 - 24.31 g; 2.31 g on 0.5 dm² of copper are 2.31/8.96/0.5 of 1e-2 cm: 51.56 µm.
    check = report.split("Weigh check")[1].split("Cost")[0]
    assert "Gained 2.31 g By charge 2.37 ± 0.05 g (95 %) By mass 51.6 µm in the mean" in check
    assert "Efficiency 97.4 ± 2.0 % (95 %)" in check


def test_cost_is_that_of_the_sum_by_hand(report: str) -> None:
    # 1.5 W for 20 min and 5 W for 40 min: 3.833 Wh, and 4.79 Wh with a supply of 80 %.
    # 2.3710 g at 12.50 EUR/kg; 150 mL/kAh of 2 Ah at 38 EUR/L; 0.00479 kWh at 0.32 EUR/kWh.
    cost = report.split("By every reading")[0].split("Cost")[1]
    assert "Copper 2.37 g, 0.03 EUR Brightener 0.3 mL, 0.01 EUR" in cost
    assert "Electricity 0.00479 kWh, 0.00 EUR In all 0.04 EUR" in cost
    assert "Cell 3.83 Wh by means" in cost


def _shown(make_client: Make, path: Path, *entries: Any) -> str:
    keep(path, *entries)
    response = make_client(path).get("/runs/12")
    assert response.status_code == 200
    return words(response)


def test_without_anything_known_nothing_is_made_up(make_client: Make, tmp_path: Path) -> None:
    bare = begun(plan="not a plan", metal="unobtainium", counted_by=CountedBy(), reckoning=None)
    text = _shown(make_client, tmp_path / "bare.db", bare, over(thickness_um=52.9))
    assert "Thickness 52.9 µm (how sure is not known)" in text
    assert "Charge – Mass – unobtainium" in text
    assert "Nothing was read." in text
    assert "There was none." in text
    assert "It was not weighed." in text
    assert "What the ± is made of" not in text


def test_a_meter_of_unknown_doubt_makes_no_figure_sure(make_client: Make, tmp_path: Path) -> None:
    text = _shown(make_client, tmp_path / "unsure.db", *a_run(opened={"counted_by": CountedBy()}))
    assert "52.92 µm (how sure is not known) of 52.92 µm" in text
    assert "Charge 2.00 Ah (how sure is not known)" in text


def test_an_area_that_nothing_is_known_of_makes_none_sure(
    make_client: Make, tmp_path: Path
) -> None:
    bare = {"plan": "not a plan", "reckoning": None}
    text = _shown(make_client, tmp_path / "area.db", *a_run(opened=bare))
    assert "52.92 µm (how sure is not known) of 52.92 µm" in text


def test_a_run_under_way_has_the_figures_so_far(
    make_client: Make, tmp_path: Path, peer: Any, make_status: Make
) -> None:
    status = make_status()
    peer.status = status.model_copy(update={"run": status.run.model_copy(update={"run_id": 12})})
    path = tmp_path / "open.db"
    text = _shown(make_client, path, begun(), *readings(every_s=4.0, until_s=1200.0))
    # A third of an Ah: a sixth of 52.92 µm, 8.82.
    assert "Lamp foot : under way. 8.8 ± 0.5 µm (95 %) of 52.92 µm." in text
    assert "These are the figures so far." in text


def test_an_interruption_wants_a_word(make_client: Make, tmp_path: Path) -> None:
    path = tmp_path / "cut.db"
    keep(path, begun(), *readings(every_s=4.0, until_s=1200.0))
    writer = Writer(path, threaded=False)
    restart = Restart(100.0 + 1200.0 + 360.0, STARTED_MS + HOUR_MS, "boot", None, lambda *_: 2.5)
    writer.close_unfinished("the daemon died", restart)
    writer.close()
    text = words(make_client(path).get("/runs/12"))
    assert "What passed while it was cut short has to be said." in text
    # 2.5 A for 6 min.
    assert "Cut short 6 min; 0 to 0.2500 Ah can have passed meanwhile" in text


def test_a_run_that_goes_on_tells_of_the_whole_part(make_client: Make, tmp_path: Path) -> None:
    path = tmp_path / "on.db"
    first = a_run(11, ended={"state": "stopped", "reason": "stopped by anna"})
    later = {"utc_ms": STARTED_MS + DAY_MS, "goes_on_from": 11}
    ended = {"utc_ms": STARTED_MS + DAY_MS + HOUR_MS, "thickness_um": 105.85, "mass_g": 4.7420}
    text = _shown(make_client, path, *first, *a_run(12, opened=later, ended=ended))
    # Two runs of 2 Ah; what errs alike in the meter errs alike in both: 1.96 % of 4 Ah.
    assert "Charge 4.00 ± 0.08 Ah (95 %)" in text
    assert "of the part with run 11; this run alone 2.0000 Ah" in text
    assert "106 ± 6 µm (95 %)" in text


def test_there_is_an_end_to_what_is_drawn(make_client: Make, tmp_path: Path) -> None:
    path = tmp_path / "noisy.db"
    entries = [e for n in range(1, 103) for e in a_short(n)[: 3 if n < 12 else 1]]
    notes = [Noted(12, "note", f"no {n}.", STARTED_MS, 100.0, {}) for n in range(301)]
    keep(path, begun(), *entries, *notes, over())
    html = make_client(path).get("/runs/12").text
    assert html.count('aria-label="Voltage in V around the alarm.') == 8
    assert html.count('href="/alarm/') == 100
    assert "These are the first 100; there were more." in html
    assert "no 299." in html
    assert "no 300." not in html


NASTY = '</title><script>alert(1)</script>\u202e" onload="x'


def test_what_was_written_is_text_and_never_markup(make_client: Make, tmp_path: Path) -> None:
    path = tmp_path / "nasty.db"
    told = {"title": NASTY, "who": NASTY, "bath": NASTY, "plan": PLAN + f"# {NASTY}"}
    keep(path, begun(**told), Noted(12, NASTY, NASTY, STARTED_MS, 100.0, {}), over(reason=NASTY))
    response = make_client(path).get("/runs/12")
    assert response.status_code == 200
    assert "<script>alert" not in response.text
    assert 'onload="x' not in response.text
    assert unescape(response.text).count("<script>alert(1)</script>") >= 6


def test_a_run_that_is_not_there_says_so(make_client: Make, told: Path) -> None:
    client: FlaskClient = make_client(told)
    response = client.get("/runs/99")
    assert response.status_code == 404
    assert "There is no run 99 in the record." in words(response)
    for number in ("0", "x", "1e3", "9" * 30):
        assert client.get(f"/runs/{number}").status_code == 404


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 1280])
def test_no_text_is_wider_than_a_small_screen(
    browser: Browser, make_page_of: Make, tmp_path: Path, width: int
) -> None:
    path, long = tmp_path / "long.db", "x" * 300
    entries = a_run(opened={"title": long, "who": long}, ended={"reason": long})
    keep(path, *entries[:-1], Noted(12, long, long, STARTED_MS, 100.0, {}), entries[-1])
    context = browser.new_context(
        java_script_enabled=False, viewport={"width": width, "height": 800}
    )
    page = context.new_page()
    page.goto(f"{make_page_of(path)}/runs/12")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()


@pytest.mark.browser
def test_it_prints_whole_on_both_papers(browser: Browser, make_page_of: Make, told: Path) -> None:
    context = browser.new_context(
        java_script_enabled=False, viewport={"width": 794, "height": 1123}
    )
    page = context.new_page()
    page.goto(f"{make_page_of(told)}/runs/12")
    page.emulate_media(media="print", color_scheme="dark")
    # On paper: no acts, no ways elsewhere; black on white whatever the screen prefers.
    expect(page.get_by_role("button", name="Stop")).to_be_hidden()
    expect(page.get_by_role("link", name="All runs")).to_be_hidden()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.querySelector('h1')).color") == "rgb(0, 0, 0)"
    styles = (
        "[...document.querySelectorAll('.over-time path')].map(p => {"
        "const s = getComputedStyle(p); return s.strokeDasharray + s.strokeWidth + s.fill})"
    )
    assert len(set(page.evaluate(styles))) == 4  # range, planned, limit and real: none by colour
    # A4 and Letter without their margins, at 96 px to the inch.
    for width in (680, 702):
        page.set_viewport_size({"width": width, "height": 1000})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    for paper in ("A4", "Letter"):
        pdf = page.pdf(format=paper)
        assert 2 <= pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") <= 4
    context.close()
