"""The bath's pages: what is expected in it, anodes, rates; entering, the account, a run's cost."""

import re
import shutil
from collections.abc import Callable, Iterator
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, Page, expect
from reading import beside, value, words
from werkzeug.test import TestResponse

from daemon.api.socket.messages import DueStatus
from daemon.record.entries import BathEntered
from daemon.record.writer import Writer

Make = Callable[..., Any]

MADE = {
    "volume": 15.0, "copper": 810.0, "sulfuric acid": 900.0, "chloride": 0.9, "brightener": 24.0,
}  # fmt: skip


@pytest.fixture(scope="session")
def made(make_bath_record: Make) -> Path:
    """A bath that was made up 20 days ago, in which a night's 5.125 A·h have passed since."""
    return make_bath_record(  # type: ignore[no-any-return]
        ("make-up", MADE, 20.0, {}),
        ("dose", {"brightener": 5.0, "volume": 0.005}, 9.0, {}),
        ("anodes", {}, 5.0, {"area_dm2": 1.6, "mass_g": 620.0}),
    )


@pytest.fixture
def bath(make_client: Make, made: Path) -> FlaskClient:
    return make_client(made)  # type: ignore[no-any-return]


@pytest.fixture
def token(bath: FlaskClient) -> str:
    return re.findall(r'name="csrf_token" value="([^"]+)"', bath.get("/bath/enter/water").text)[0]


def test_what_is_expected_is_shown_with_its_band_and_window(bath: FlaskClient) -> None:
    page = bath.get("/bath")
    text = words(page)
    # 810 g in 15 L, a little more by 20 days' evaporation: 0.3 % a day of the volume.
    copper = re.search(r"Copper ([\d.]+) ± [\d.]+ g/L as CuSO4·5H2O", text)
    assert copper
    assert 54.0 < float(copper[1]) < 54.0 / (1 - 0.006 * 20)
    assert "window 45 to 60" in text
    assert "takes the place of no analysis" in text
    drawn = page.text.split("Copper:")[1].split("</svg>")[0]
    window, band = re.findall(r'x="([\d.]+)%" width="([\d.]+)%"', drawn)
    middle = float(re.findall(r'cx="([\d.]+)%"', drawn)[0])
    share = (float(copper[1]) - 45) / 15
    assert middle == pytest.approx(float(window[0]) + share * float(window[1]), abs=0.5)
    assert float(band[0]) < middle < float(band[0]) + float(band[1])


def test_what_is_outside_its_window_is_marked_with_what_would_bring_it_back(
    make_client: Make, bath_record: Path, enter_bath: Make
) -> None:
    enter_bath(bath_record, "make-up", MADE | {"copper": 600.0}, 1.0)
    text = words(make_client(bath_record).get("/bath"))
    assert "Copper outside its window" in text
    # From about 40 g/L to 50 in 15 L.
    added = re.search(r"Copper: add (\d+) g, as CuSO4·5H2O \d+ g; analyse first", text)
    assert added
    assert 120 < int(added[1]) <= 150


def test_when_to_analyse_again(make_client: Make, bath_record: Path, enter_bath: Make) -> None:
    enter_bath(bath_record, "make-up", MADE | {"chloride": 0.74}, 30.0)
    assert re.search(r"Analyse again (now|by 2026-\d\d-\d\d): ", words(
        make_client(bath_record).get("/bath")
    ))  # fmt: skip


def test_where_nothing_tells_that_is_said(client: FlaskClient) -> None:
    assert "Nothing tells what is in the bath" in words(client.get("/bath"))


def test_anodes_and_the_density_that_they_bear(
    bath: FlaskClient, peer: Any, make_status: Make
) -> None:
    text = words(bath.get("/bath"))
    # 5.125 A·h take 1.02 * 1.1855 * 5.125 = 6.2 g of 620; 1.6 dm² bear 3.2 A, and 3.498 A flow.
    assert "Anodes 614 ± " in text
    assert "bear 3.2 A on 1.6 dm²" in text
    assert "Now 2.19 A/dm², by 3.5 A" in text
    assert "More flows than the anodes bear" in text
    peer.status = make_status(current_a=3.0)
    assert "More flows than the anodes bear" not in words(bath.get("/bath"))
    peer.status = make_status(output_on=False, current_a=0.0)
    assert "A/dm², by" not in words(bath.get("/bath"))


def test_looks_suggest_a_rate_with_its_reason(
    make_client: Make, bath_record: Path, enter_bath: Make
) -> None:
    """5.125 A·h of the 33.3 of a dose are 15 %: a quarter more than 150 is the most."""
    for days in (-0.15, -0.2):
        enter_bath(bath_record, "appearance", {}, days, looks=["dull"])
    text = words(make_client(bath_record).get("/bath"))
    assert "Brightener 188 mL/kAh instead of 150: dull 2 times before a dose was due" in text
    assert "Look at chloride, temperature, agitation and dirt first" in text


def test_what_a_rate_means(bath: FlaskClient) -> None:
    assert value(bath.get("/bath/rates"), "rate") == "150 mL/kAh"
    asked = {"rate": "188 mL/kAh", "dose": "5 mL", "current": "3.5 A"}
    text = words(bath.get("/bath/rates", query_string=asked))
    # 5 mL / 188 mL * 1000 A·h; at 3.5 A 7.6 h.
    assert "of 5 mL falls due each 26.6 Ah" in text
    assert "a dose each 7 h 36 min" in text
    wrong = bath.get("/bath/rates", query_string=asked | {"rate": "188 mL"})
    assert wrong.status_code == 422
    assert beside(wrong, "rate") == (
        'Expected a volume by charge such as "250 mL/kAh", got "188 mL": of another kind: "mL".'
    )
    assert value(wrong, "current") == "3.5 A"


@pytest.mark.parametrize(
    ("kind", "fields", "amounts", "facts"),
    [
        # 50 g * 63.546 / 249.685.
        ("addition", {"substance": "copper sulfate", "amount": "50 g"}, {"copper": 12.7252},
         {"as": "CuSO4·5H2O", "mass_g": 50.0}),
        ("water", {"amount": "0.5 L", "level": "15 L"}, {"volume": 0.5}, {"level_l": 15.0}),
        ("sample", {"amount": "10 mL"}, {"volume": -0.01}, {}),
        ("drag-out", {"amount": "20 mL"}, {"volume": -0.02}, {}),
        ("appearance", {"looks[1]": "dull", "looks[2]": "even", "run": "12"}, {},
         {"looks": ["dull", "even"]}),
        ("anodes", {"area": "4 dm²", "mass": "1.8 kg"}, {}, {"area_dm2": 4.0, "mass_g": 1800.0}),
        ("filtration", {}, {}, {}),
        ("carbon treatment", {}, {}, {}),
    ],
)  # fmt: skip
def test_what_was_done_is_entered(
    bath: FlaskClient,
    peer: Any,
    token: str,
    kind: str,
    fields: dict[str, str],
    amounts: dict[str, float],
    facts: dict[str, Any],
) -> None:
    data = fields | {"who": "ben", "note": "so", "at": "2026-02-20 18:00", "csrf_token": token}
    answer = bath.post(f"/bath/enter/{kind}", data=data)
    assert (answer.status_code, answer.headers.get("Location")) == (303, "/bath")
    (asked,) = peer.entered
    assert (asked.kind, asked.note, asked.who) == (kind, "so", "ben, the page at 127.0.0.1")
    assert asked.amounts == pytest.approx(amounts, rel=1e-4)
    assert asked.facts == facts
    assert asked.run == (12 if kind == "appearance" else None)


@pytest.mark.parametrize(
    ("kind", "fields", "key", "said"),
    [
        ("addition", {"substance": "copper sulfate", "amount": "-50 g"}, "amount",
         "Must be above 0 g, got '-50 g'."),
        ("addition", {"substance": "sulfuric acid", "amount": "50 mL", "strength": "120 %"},
         "strength", "at most 100 wt %"),
        ("addition", {"amount": "50 g"}, "substance", "Say what it was"),
        ("water", {"amount": "0.5 kg"}, "amount", 'Expected a volume such as "15 L", got "0.5 kg"'),
        ("appearance", {"looks[1]": "", "run": "12"}, "looks[1]", "Say how it looks: dull"),
        ("appearance", {"looks[1]": "dull", "run": "x"}, "run", "number of a run, such as 12"),
        ("anodes", {"area": "4 cm"}, "area", "Expected an area"),
        ("anodes", {"area": ""}, "area", "Say their area"),
        ("filtration", {"at": "noon"}, "at", "Expected a day and a time"),
    ],
)  # fmt: skip
def test_what_cannot_be_entered_is_told_beside_its_field_and_nothing_is_lost(
    bath: FlaskClient, peer: Any, token: str, kind: str, fields: dict[str, str], key: str, said: str
) -> None:
    page = bath.post(f"/bath/enter/{kind}", data=fields | {"csrf_token": token})
    assert (page.status_code, peer.entered) == (422, [])
    assert said in beside(page, key)
    typed = {name: text for name, text in fields.items() if not name.startswith("looks")}
    assert {name: value(page, name) for name in typed} == typed
    assert "Nothing was entered:" in words(page)


def test_cautions_stand_where_acid_is_entered(bath: FlaskClient) -> None:
    assert "Acid goes into the bath, slowly and stirring, never the other way" in words(
        bath.get("/bath/enter/addition")
    )
    assert bath.get("/bath/enter/nothing").status_code == 404
    assert bath.get("/bath/enter").headers["Location"] == "/bath/enter/addition"


def test_the_account_shows_a_past_day(bath: FlaskClient) -> None:
    now = words(bath.get("/bath/account"))
    assert "The account of Copper 1. What was done to it, newest first." in now
    assert now.index("Anodes: 1.6 dm², 620 g") < now.index("Dose: brightener 5 mL")
    assert "Brightener 29 mL" in now
    # Nine days before the run is 20 February 2026; the make-up eleven days earlier.
    past = words(bath.get("/bath/account?on=2026-02-15"))
    assert "Copper 1 as it stood on 2026-02-15 23:59." in past
    assert "Brightener 24 mL" in past
    # Six days after 810 g were put into 15 L: 54 g/L, and up to 0.6 % a day more.
    expected = re.search(r"What was expected in it .* Copper ([\d.]+) ± ", past)
    assert expected
    assert 54.0 <= float(expected[1]) < 54.0 / (1 - 0.006 * 7)
    assert "Dose: brightener" not in past
    wrong = bath.get("/bath/account?on=15.2.2026")
    assert wrong.status_code == 422
    assert "Expected a day and a time such as" in beside(wrong, "on")
    assert value(wrong, "on") == "15.2.2026"


@pytest.fixture(scope="session")
def long_account(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with 120 waters more, 8 of them put down late: as they happened, not by number."""
    path = Path(shutil.copy(made, tmp_path_factory.mktemp("long") / "bath.db"))
    writer = Writer(path, threaded=False)
    day_ms, utc_ms = 86_400_000, 1_772_395_200_000 - 2 * 86_400_000
    for number in range(120):
        late_ms = 40 * day_ms if number >= 112 else 0
        at_ms = utc_ms + 1000 * number - late_ms
        amounts = {"volume": round(0.001 * (number + 1), 3)}
        writer.keep_bath_entry(BathEntered("Copper 1", "water", "ben", utc_ms, at_ms, amounts))
    writer.close()
    return path


def waters(page: TestResponse) -> list[int]:
    """How many mL each entry's water was, in the order of the page."""
    found = re.findall(r"Water: volume ([\d.]+) (mL|L)", words(page))
    return [round(float(much) * (1000 if unit == "L" else 1)) for much, unit in found]


def older(page: TestResponse) -> str | None:
    found = re.search(r'<a href="([^"]+)" rel="next">Older</a>', page.text)
    return None if found is None else unescape(found[1])


@pytest.mark.parametrize("query", ["", "?on=2026-02-28"])
def test_the_account_has_pages_without_gap_or_double(
    make_client: Make, long_account: Path, query: str
) -> None:
    client = make_client(long_account)
    seen, pages, link = [], [], f"/bath/account{query}"
    while link is not None:
        page = client.get(link)
        assert page.status_code == 200
        pages.append(page)
        seen += waters(page)
        link = older(page)
    # 112 in the order in which they happened, and the 8 that happened before the make-up last.
    assert seen == [*range(112, 0, -1), *range(120, 112, -1)]
    assert [len(waters(page)) for page in pages[:2]] == [50, 50]
    newest = '<a href="/bath/account' + query.replace("&", "&amp;") + '">Newest</a>'
    assert [newest in page.text for page in pages] == [False, True, True]
    assert "as it stood on 2026-02-28" in words(pages[1]) or not query
    assert "What was done to it before entry" in words(pages[1])


def test_a_page_that_is_none_is_told(bath: FlaskClient) -> None:
    assert bath.get("/bath/account?before=x").status_code == 400
    assert bath.get("/bath/account?before=999").status_code == 404


def test_an_entry_is_corrected_and_withdrawn(bath: FlaskClient, peer: Any, token: str) -> None:
    assert "Entry 3. Dose: brightener 5 mL" in words(bath.get("/bath/account/3"))
    data = {"amount": "7 mL", "who": "ben", "note": "misread", "csrf_token": token}
    assert bath.post("/bath/account/3/correct", data=data).headers["Location"] == "/bath/account"
    data = {"by": "ben", "why": "never done", "csrf_token": token}
    assert bath.post("/bath/account/3/withdraw", data=data).status_code == 303
    corrected, withdrawn = peer.entered
    assert (corrected.kind, corrected.corrects, corrected.note) == ("correction", 3, "misread")
    assert corrected.amounts == {"brightener": 7.0, "volume": 0.007}
    assert (withdrawn.corrects, withdrawn.facts, withdrawn.note) == (3, None, "never done")
    assert withdrawn.who == "ben, the page at 127.0.0.1"


@pytest.mark.parametrize(
    ("number", "amount", "said"),
    [
        (3, "7", 'expected a volume such as "5 mL", got "7": a number without a unit'),
        (3, "-7 mL", "must be above 0 mL"),
        (2, "7 mL", "has more to it than an amount"),
    ],
)
def test_a_correction_that_is_none_is_told(
    bath: FlaskClient, peer: Any, token: str, number: int, amount: str, said: str
) -> None:
    data = {"amount": amount, "who": "ben", "csrf_token": token}
    page = bath.post(f"/bath/account/{number}/correct", data=data)
    assert (page.status_code, peer.entered) == (422, [])
    assert said.casefold() in words(page).casefold()
    if number == 3:
        assert [value(page, key) for key in ("amount", "who")] == [amount, "ben"]


def test_an_entry_that_is_not_there(bath: FlaskClient, token: str) -> None:
    assert bath.get("/bath/account/99").status_code == 404
    data = {"amount": "7 mL", "csrf_token": token}
    assert bath.post("/bath/account/99/correct", data=data).status_code == 404


def test_upkeep_that_is_due_leads_to_its_entry(
    bath: FlaskClient, peer: Any, make_status: Make
) -> None:
    due = DueStatus(kind="upkeep", name="carbon treatment", doses=1, in_ah=-3.0)
    peer.status = make_status(dues=(due,))
    assert 'href="/bath/enter/carbon%20treatment"' in bath.get("/bath").text


def test_what_a_run_cost(bath: FlaskClient) -> None:
    page = bath.get("/bath/cost")
    assert value(page, "run") == "12"
    asked = {"run": "12", "parts": "4", "efficiency": "80 %"}
    text = words(bath.get("/bath/cost", query_string=asked))
    # 150 and 80 mL/kAh of 5.125 A·h; 0.769 mL at 38 EUR/L.
    assert "Run 12, Bracket, left, 5.125 Ah" in text
    assert "Brightener 0.769 mL, 0.03 EUR" in text
    # 5.125 * 1.1855 g at 12.5 EUR/kg, of a run that is under way.
    assert "Copper 6.08 g, 0.08 EUR" in text
    assert "Carrier 0.41 mL, no price in the settings" in text
    for key, typed, said in (
        ("run", "99", "there is no run 99"),
        ("run", "x", "valid integer"),
        ("parts", "0", "greater than or equal to 1"),
        ("efficiency", "120 %", "must be at most 1 (100 %), got 120 %"),
    ):
        wrong = bath.get("/bath/cost", query_string=asked | {key: typed})
        assert wrong.status_code == 422
        assert said in beside(wrong, key).casefold()
        assert value(wrong, key) == typed


def test_without_a_daemon_it_is_read_where_it_can_be(bath: FlaskClient, peer: Any) -> None:
    peer.stop()
    for path in ("/bath", "/bath/account", "/bath/enter/water"):
        page = bath.get(path)
        assert page.status_code == 503, path
        assert "The daemon does not answer." in words(page)
    assert bath.get("/bath/account/3").status_code == 503
    assert bath.get("/bath/cost").status_code == 200


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(java_script_enabled=True, viewport={"width": 360, "height": 740})
    page = context.new_page()
    yield page
    context.close()


@pytest.mark.browser
def test_in_a_browser_on_a_phone(page: Page, make_page_of: Make, made: Path, peer: Any) -> None:
    address = make_page_of(made)
    overflow = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    wrong = urlencode({"rate": "188 mL" + "x" * 40, "dose": "5 mL"})
    for path in ("/bath", "/bath/account", f"/bath/rates?{wrong}", "/analyses/hull?current=2+A"):
        page.goto(address + path)
        assert page.evaluate(overflow) == 0, path
        expect(page.get_by_role("button", name="Stop")).to_be_in_viewport(ratio=1)
    page.goto(f"{address}/bath/enter/water")
    page.get_by_label("How much").fill("0.5")
    page.get_by_label("How much").press("Enter")
    amount = page.get_by_label("How much")
    expect(amount).to_have_accessible_description(re.compile("a number without a unit"))
    page.get_by_role("link", name="How much").click()
    expect(amount).to_be_in_viewport()
    amount.fill("0.5 L")
    page.keyboard.press("Tab")
    expect(page.get_by_label("Bath's volume afterwards, if known")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Entered as number 1.")
    assert peer.entered[0].amounts == {"volume": 0.5}
