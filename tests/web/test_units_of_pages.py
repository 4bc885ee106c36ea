"""Figures in metric or in trade units, as each browser chooses."""

import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import run_records
from conftest import Peer, a_run, a_status, keep_bath
from flask.testing import FlaskClient
from reading import token, words
from screenshots import BATH_PAGES, ENTERED, FOUND, PAGES, STATES

from daemon.api.listen import Listen
from web.app import create_app
from web.units import COOKIE

METRIC = re.compile(r"(?<![A-Za-z/])(µm|[dc]m[²³]|°C|A/dm²|g|kg|L|g/L|cm)(?![\w/³²])")
"""The signs that the trade has others for."""

WARM = {"thermometers": [{"name": "bath", "temperature_c": 24.1, "age_s": 1.0}]}


class _Seen(HTMLParser):
    """What a reader of a page sees or hears, but what stands in fields and quoted files."""

    TYPED = ("textarea", "code", "pre", "option")

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._typed = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._typed += tag in self.TYPED
        spoken = ("aria-label", "placeholder", "title", "alt")
        self.texts += [value for key, value in attrs if key in spoken and value]

    def handle_endtag(self, tag: str) -> None:
        self._typed -= tag in self.TYPED

    def handle_data(self, data: str) -> None:
        if not self._typed:
            self.texts.append(" ".join(data.split()))


def metric_in(html: str) -> list[str]:
    seen = _Seen()
    seen.feed(html.split("<body", 1)[-1].split(">", 1)[1])
    return [text for text in seen.texts if METRIC.search(text)]


@pytest.fixture
def trade(make_client: Callable[[Path], FlaskClient]) -> Callable[[Path], FlaskClient]:
    """A browser that has chosen the trade's units."""

    def make(record: Path) -> FlaskClient:
        client = make_client(record)
        client.set_cookie(COOKIE, "trade")
        return client

    return make


def choose(client: FlaskClient, word: str, **headers: str) -> Any:
    data = {"csrf_token": token(client), "units": word}
    return client.post("/units", data=data, headers=headers)


def test_the_choice_leads_back_and_is_kept_by_the_browser(client: FlaskClient):
    assert "18.2 of 25 µm" in words(client.get("/"))
    answer = choose(client, "trade", Referer="http://localhost/runs?words=lamp")
    assert (answer.status_code, answer.location) == (303, "/runs?words=lamp")
    cookie = answer.headers["Set-Cookie"]
    assert cookie.startswith(f"{COOKIE}=trade; ")
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
    assert "Secure" not in cookie
    assert "18.2 of 25" not in words(client.get("/"))
    choose(client, "metric")
    assert "18.2 of 25 µm" in words(client.get("/"))


@pytest.mark.parametrize("word", ["", "imperial", "trade; Path=/x"])
def test_a_word_that_is_no_choice_changes_nothing(client: FlaskClient, word: str):
    answer = choose(client, word)
    assert answer.status_code == 303
    assert COOKIE not in answer.headers.get("Set-Cookie", "")
    client.set_cookie(COOKIE, word or "x")
    assert "18.2 of 25 µm" in words(client.get("/"))


def test_the_settings_say_what_is_shown_before_anybody_chose(peer: Peer, record: Path):
    client = create_app(peer.path, record, Listen("127.0.0.1", 8080), units="trade").test_client()
    assert "0.717 of 0.984 mil" in words(client.get("/"))
    client.set_cookie(COOKIE, "metric")
    assert "18.2 of 25 µm" in words(client.get("/"))


def test_the_first_page_in_trade_units(trade, peer: Peer, record: Path):
    """A mil is 25.4 µm, an A/dm² 9.29 ASF, an ounce 28.35 g, and 24.1 °C are 75.4 °F."""
    run = a_run(thickness_um=24.8, thickness_u95_um=0.9)
    peer.status = a_status(run=run, **WARM)
    client = trade(record)
    page = client.get("/")
    assert "Plating. 0.976 of 0.984 mil, done about" in words(page)
    assert re.search(r"0\.98</tspan><tspan[^>]*>± 0\.04</tspan><tspan[^>]*>mil<", page.text)
    marks = re.findall(r'<text class="mark"[^>]*>([^<]+)<', page.text)
    assert marks == ["0", "0.2", "0.4", "0.6", "0.8", "1"]
    texts = client.get("/status.json").json["texts"]
    plain = {key: text.replace("\u00a0", " ") for key, text in texts.items()}
    assert plain["figures"].startswith("0.976 of 0.984 mil")
    assert plain["title"] == "0.976 of 0.984 mil, plating"
    # 3.498 A on 12.2 dm² are 0.287 A/dm²; 19.98 g.
    assert (plain["density"], plain["mass"]) == ("2.7 ASF", "0.7048 oz copper")
    assert (plain["thickness"], plain["doubt"]) == ("0.98", "± 0.04")
    assert plain["temperature"] == "75.4"
    assert "°F" in words(page)


def test_the_chart_grows_in_the_same_units(client: FlaskClient):
    metric = client.get("/chart.json?run=12&points=20").json
    # Asked again at once, while the first answer is still given to others.
    client.set_cookie(COOKIE, "trade")
    there = client.get("/chart.json?run=12&points=20").json
    assert metric["thickness"][-1] > 0
    assert there["thickness"] == pytest.approx([um / 25.4 for um in metric["thickness"]], abs=1e-6)
    assert there["current_mean"] == metric["current_mean"]


def test_a_poll_is_another_in_other_units(client: FlaskClient):
    metric = client.get("/status.json")
    same = client.get("/status.json", headers={"If-None-Match": metric.headers["ETag"]})
    assert same.status_code == 304
    client.set_cookie(COOKIE, "trade")
    trade = client.get("/status.json", headers={"If-None-Match": metric.headers["ETag"]})
    assert trade.status_code == 200
    # The script loads a page anew whose forms and signs are in the other units.
    assert trade.json["start"] != metric.json["start"]


def test_no_metric_figure_is_left_on_the_first_page(trade, peer: Peer, record: Path):
    client = trade(record)
    for name, status in STATES.items():
        if status is None:
            continue
        peer.status = status
        assert metric_in(client.get("/").text) == [], name
        texts = client.get("/status.json").json["texts"]
        assert [text for text in texts.values() if METRIC.search(text)] == [], name


BESIDE = re.compile(
    r"^(Every figure with its unit, metric or of the trade|Lamp foot, |.*(EUR|mol)/|.*SG 1)"
)
"""Hints with units of both kinds, what a person called a plan, prices and what is on a label."""


def left(html: str) -> list[str]:
    """Metric figures but in what was typed, is wrong with it, and tables of both units."""
    html = re.sub(r'<(table|p class="wrong")[^>]*>.*?</(table|p)>', "", html, flags=re.DOTALL)
    return [text for text in metric_in(html) if not BESIDE.search(text)]


def test_no_metric_figure_is_left_on_pages_about_the_bath(
    trade, make_bath_record, alarm_record: Path
):
    record = make_bath_record()
    keep_bath(record, *ENTERED, *FOUND)
    client = trade(record)
    for name, address in BATH_PAGES.items():
        if not name.endswith(("-wrong", "makeup-filled", "mixed-filled", "top-up-filled")):
            assert left(client.get(address).text) == [], name
    client = trade(alarm_record)
    for name, address in PAGES.items():
        assert left(client.get(address).text) == [], name


def test_a_runs_report_in_trade_units(trade, tmp_path: Path):
    """It was 52.83 ± 2.7 µm of 52.92 µm, which are 2.080 ± 0.106 of 2.0835 mil."""
    record = tmp_path / "night.db"
    run_records.keep_report(record)
    client = trade(record)
    page = client.get("/runs/12")
    assert metric_in(page.text) == []
    assert "2.08 ± 0.11 mil (95 %), target 2.083 mil" in words(page)
    assert "Thickness, mil" in page.text
    assert "target = &#34;52.92 µm&#34;" in page.text
    listed = client.get("/runs")
    assert metric_in(listed.text) == []
    assert "of 2.08" in words(listed)


def test_words_of_people_stay(trade, peer: Peer, record: Path):
    peer.status = a_status(run=a_run(title="Lamp foot, 25 µm"))
    assert ">Lamp foot, 25 µm<" in trade(record).get("/").text


def test_hints_in_forms_follow_and_both_are_taken(trade, peer: Peer, record: Path):
    page = trade(record).get("/plans/new")
    assert 'placeholder="0.98\u00a0mil"' in page.text
    assert 'placeholder="28\u00a0in²"' in page.text


def test_programs_and_files_are_given_metric_figures(trade, make_client, record: Path):
    plain, client = make_client(record), trade(record)
    for address in ("/api/v1/runs", "/api/v1/state", "/runs/12/readings.csv"):
        given = client.get(address)
        assert given.status_code == 200, address
        assert given.data == plain.get(address).data, address
