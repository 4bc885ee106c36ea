"""The bath on the page: what is due, the press for a dose, what was entered last."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from reading import token, words

from daemon.api.socket.messages import DueStatus
from daemon.api.socket.pumps import PumpStatus
from daemon.record.entries import BathEntered
from daemon.record.writer import Writer

Make = Callable[..., Any]

DUE = DueStatus(kind="dose", name="brightener", amount_ml=5.0, open_ml=5.6, doses=1, in_ah=-3.2)
LATER = DueStatus(kind="dose", name="carrier", amount_ml=10.0, open_ml=1.0, in_ah=12.4)
FILTER = DueStatus(kind="upkeep", name="filtration", in_ah=30.0)


@pytest.fixture
def bath(peer: Any, make_status: Make) -> None:
    peer.status = make_status(dues=(DUE, LATER, FILTER))


def test_the_first_page_says_what_is_due_and_offers_its_press(
    client: FlaskClient, bath: None
) -> None:
    page = client.get("/")
    assert "Bath 182.4 Ah Copper 1 5 mL of brightener now, overdue by 3.2 Ah" in words(page)
    assert "The bath wants 5 mL of brightener." in words(page)
    forms = re.findall(r'<form class="dose"[^>]*data-shown="(\w+)"( hidden)?>', page.text)
    assert forms == [("dose_0", ""), ("dose_1", " hidden")]
    texts = client.get("/status.json").json["texts"]  # type: ignore[index]
    assert [texts[f"dose_{place}"] for place in range(3)] == ["due", "", ""]


def test_what_a_pump_gives_is_nobodys_press_and_what_it_is_about_is_told(
    client: FlaskClient, peer: Any, make_status: Make
) -> None:
    pump = PumpStatus(
        additive="brightener", dose_ml=5.0, flow_ml_s=1.2, most_day_ml=20.0, due=True, day_ml=15.0,
        why_not="the level is low or not known: interlock open: level",
    )  # fmt: skip
    peer.status = make_status(dues=(DUE, LATER), pumps=(pump,))
    page = client.get("/")
    forms = re.findall(r'<form class="dose"[^>]*data-shown="(\w+)"( hidden)?>', page.text)
    assert forms == [("dose_0", " hidden"), ("dose_1", " hidden")]
    said = "brightener: the pump rests: the level is low or not known: interlock open: level"
    assert said in words(page)
    text = client.get("/status.json").json["texts"]["pump"]  # type: ignore[index]
    assert text.replace("\u00a0", " ") == said
    bath = client.get("/bath")
    assert f"{said[0].upper()}{said[1:]}; 15 of 20 mL in 24 h" in words(bath)
    assert "What a pump gives enters itself." in words(bath)
    assert 'aria-label="Dosing pumps"' in bath.text


def test_a_dose_that_a_pump_is_kept_from_is_shown_and_may_be_given_by_hand(
    client: FlaskClient, peer: Any, make_status: Make
) -> None:
    pump = PumpStatus(
        additive="brightener", dose_ml=5.0, flow_ml_s=1.2, most_day_ml=20.0, due=True, owed_ml=5.6,
        why_not="20 mL were given in the last 24 h, and 20 mL is the most", day_ml=20.0,
        kept_utc="2026-03-02T01:40:00+00:00",
    )  # fmt: skip
    peer.status = make_status(dues=(DUE,), pumps=(pump,))
    page = client.get("/")
    said = r"rightener: not dosed since \d\d:40, 5.6 mL are owed: 20 mL were given in the last 24 h"
    assert re.search(f"b{said}", words(page))
    assert re.findall(r'<form class="dose"[^>]*data-shown="(\w+)"( hidden)?>', page.text) == [
        ("dose_0", "")
    ]
    shown = client.get("/bath")
    assert re.search(f"B{said}", words(shown))
    assert "<li data-now>Brightener: not" in shown.text
    assert "Something is due." in words(shown)


def test_what_a_pump_is_giving_is_due_from_nobody(
    client: FlaskClient, peer: Any, make_status: Make
) -> None:
    pump = PumpStatus(
        additive="brightener", dose_ml=5.0, flow_ml_s=1.2, most_day_ml=20.0, due=True, runs=True,
    )  # fmt: skip
    peer.status = make_status(dues=(DUE, LATER), pumps=(pump,))
    page = client.get("/bath")
    assert "A pump gives what is due." in words(page)
    assert "5 mL of brightener now, overdue by 3.2 Ah" in words(page)
    assert "<li data-now>" not in page.text
    assert "Dosing brightener: the pump gives 5 mL" in words(client.get("/"))
    peer.status = make_status(dues=(DUE, LATER))
    assert '<div data-shown="pump" hidden>' in client.get("/").text


def test_of_a_bath_that_nothing_is_known_of_nothing_is_said(client: FlaskClient) -> None:
    page = client.get("/")
    assert 'class="dose"' not in page.text
    assert "Nothing falls due" in words(client.get("/bath"))


def test_a_press_enters_a_dose(client: FlaskClient, peer: Any, bath: None) -> None:
    form = {"csrf_token": token(client), "additive": "brightener", "amount": "5 mL", "back": "now"}
    response = client.post("/bath/dose", data=form)
    assert (response.status_code, response.headers["Location"]) == (303, "/")
    (asked,) = peer.entered
    assert asked.kind == "dose"
    assert asked.amounts == {"brightener": 5.0, "volume": 0.005}
    assert asked.who == asked.where.replace("page, ", "the page at ")


def test_the_baths_page_lists_what_falls_due_and_takes_another_amount(
    client: FlaskClient, peer: Any, bath: None
) -> None:
    text = words(client.get("/bath"))
    assert "Copper 1: 182.4 Ah. Something is due." in text
    for said in (
        "5 mL of brightener now, overdue by 3.2 Ah",
        "10 mL of carrier in 12.4 Ah",
        "Filtration in 30.0 Ah",
    ):
        assert said in text
    form = {"csrf_token": token(client), "additive": "carrier", "amount": "0.3 fl oz"}
    response = client.post("/bath/dose", data=form | {"back": "bath"})
    assert response.headers["Location"] == "/bath"
    assert peer.entered[-1].amounts["carrier"] == pytest.approx(8.872, abs=0.001)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"amount": "5"}, "a number without a unit"),
        ({"amount": "5 g"}, "expected a volume such as"),
        ({}, "not a number with a unit"),
    ],
)
def test_an_amount_that_is_none_is_not_passed_on(
    client: FlaskClient, peer: Any, bath: None, fields: dict[str, str], said: str
) -> None:
    form = {"csrf_token": token(client), "additive": "brightener", "back": "bath"} | fields
    client.post("/bath/dose", data=form)
    assert not peer.entered
    assert said in words(client.get("/bath"))


def test_a_refusal_is_shown(client: FlaskClient, peer: Any, bath: None) -> None:
    peer.refusal = "dose: leveller: no such additive"
    form = {"csrf_token": token(client), "additive": "leveller", "amount": "5 mL", "back": "bath"}
    client.post("/bath/dose", data=form)
    assert "Not done: dose: leveller: no such additive." in words(client.get("/bath"))


def test_without_its_token_nothing_is_entered(client: FlaskClient, peer: Any, bath: None) -> None:
    response = client.post("/bath/dose", data={"additive": "brightener", "amount": "5 mL"})
    assert response.status_code == 400
    assert not peer.entered


def test_without_a_daemon(client: FlaskClient, peer: Any, bath: None) -> None:
    form = {"csrf_token": token(client), "additive": "brightener", "amount": "5 mL"}
    peer.stop()
    response = client.get("/bath")
    assert response.status_code == 503
    assert "The daemon does not answer." in words(response)
    assert client.post("/bath/dose", data=form).status_code == 503


def test_what_was_entered_last_is_listed_and_never_markup(
    make_client: Make, tmp_path: Path, bath: None
) -> None:
    path = tmp_path / "record.db"
    writer = Writer(path, threaded=False)
    described = {"name": "Copper 1", "additives": [{"name": "<b>bright"}]}
    writer.keep_bath_entry(
        BathEntered("Copper 1", "description", "tankhand", 0, 0, facts=described)
    )
    dose = {"<b>bright": 5.0, "volume": 0.005}
    writer.keep_bath_entry(BathEntered("Copper 1", "dose", "anna", 0, 0, dose))
    writer.close()
    response = make_client(path).get("/bath")
    assert "Dose: <b>bright 5 mL entry 2, anna" in words(response)
    assert "<b>bright" not in response.text
