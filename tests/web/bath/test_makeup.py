"""The pages of making up, of what was mixed, and of topping up."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, Page, expect
from reading import beside, token, value, words

Make = Callable[..., Any]

TEN = {
    "volume": "10 L", "target.copper_sulfate": "200 g/L", "target.sulfuric_acid": "60 g/L",
    "target.chloride": "60 mg/L", "acid.strength": "96 %",
}  # fmt: skip


def ten_token(client: FlaskClient) -> str:
    return token(client, "/makeup", **TEN)


@pytest.fixture
def bath(make_client: Make, described: Path) -> FlaskClient:
    return make_client(described)  # type: ignore[no-any-return]


def test_the_form_opens_with_the_baths_own_description(bath: FlaskClient) -> None:
    page = bath.get("/makeup")
    assert value(page, "volume") == "15 L"
    # 50 g/L of copper are 50 * 249.685 / 63.546 g/L of the pentahydrate.
    assert value(page, "target.copper_sulfate") == "196.5 g/L"
    assert value(page, "target.sulfuric_acid") == "60 g/L"
    assert [value(page, f"additive[{n}].name") for n in (1, 2)] == ["brightener", "carrier"]
    assert value(page, "additive[1].make_up") == "1.6 mL/L"
    assert value(page, "additive[1].price") == "38 EUR/L"
    # 2 kg of anodes at 8.96 g/cm³.
    assert value(page, "container.anodes") == "0.22 L"
    assert "never water into acid" in words(page)
    assert "Weigh and pour" not in words(page)


def test_without_a_description_it_opens_with_a_usual_bath(client: FlaskClient, peer: Any) -> None:
    assert value(client.get("/makeup"), "volume") == "10 L"
    peer.stop()
    page = client.get("/makeup", query_string=TEN)
    assert page.status_code == 200
    assert "2000 g" in words(page)
    assert "once the daemon answers" in words(page)


def test_what_to_weigh_and_pour_in_order(bath: FlaskClient) -> None:
    prices = {"crystals.price": "9.50 EUR/kg", "acid.price": "14 EUR/L"}
    page = bath.get("/makeup", query_string=TEN | prices)
    text = words(page)
    # By hand: 200 * 10 g; 600 / 0.96 / 1.8355 mL; 0.6 * 58.443 / 35.453 g (see the bath's README).
    assert "copper sulfate, CuSO4·5H2O 2000 g 4.41 lb 19.00 EUR" in text
    assert "sulfuric acid, 96 wt % 625 g 340.5 mL, 11.5 fl oz 4.77 EUR" in text
    assert "sodium chloride 0.9891 g" in text
    # 19.00 + 14 * 0.3405.
    assert "In all 23.77 EUR, without sodium chloride" in text
    water, salt, acid = map(text.index, ("Fill in 65 %", "Stir in 2000", "pour 340.5 mL"))
    assert water < salt < acid
    caution = text.index("Acid into the solution, never water or solution into the acid")
    assert acid < caution < text.index("fill up to 10 L")
    assert text.index("Copper sulfate is harmful") < acid


def test_trade_units_come_to_the_same(bath: FlaskClient) -> None:
    trade = {"volume": "2.64172052 gal", "target.copper_sulfate": "26.7053 oz/gal"}
    text = words(bath.get("/makeup", query_string=TEN | trade))
    assert "2000 g" in text
    assert "340.5 mL" in text


@pytest.mark.parametrize(
    ("key", "typed", "said"),
    [
        ("volume", "-5 L", "Must be above 0 L, got -5 L."),
        ("volume", "5", 'Expected a volume such as "15 L", got "5": a number without a unit.'),
        ("volume", "", 'Missing: volume of the bath, such as "10 L".'),
        ("acid.strength", "120 %", "must be above 0 and at most 100 wt %, got 120 wt %."),
        ("acid.strength", "", "Missing: how strong the sulfuric acid is"),
        ("acid.strength", "1.28", 'a specific gravity is written "SG 1.28".'),
        (
            "additive[1].make_up", "7.8 mL",
            'Expected a volume by litre of bath such as "7.8 mL/L", got "7.8 mL": of another kind',
        ),
        ("target.copper_sulfate", "200 mg", 'such as "200 g/L", got "200 mg"'),
        ("target.sulfuric_acid", "2000 g/L", ""),
        ("container.brim", "11 L", ""),
        ("crystals.price", "9 USD/L", 'Expected a price such as "12.50 EUR/kg"'),
        ("storage.lowest_temperature", "120 °C", "Must be at most 100 °C, got 120 °C."),
        ("crystals.purity", "101 %", "Must be at most 1 (100 %), got 101 %."),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_told_beside_its_field_and_nothing_is_lost(
    bath: FlaskClient, key: str, typed: str, said: str
) -> None:
    fields = TEN | {"additive[1].name": "carrier", "additive[1].make_up": "5 mL/L", key: typed}
    page = bath.get("/makeup", query_string=fields)
    assert page.status_code == 422
    assert {name: value(page, name) for name in fields} == fields
    if said:
        assert said in beside(page, key)
    assert "Nothing was worked out:" in words(page)
    assert "Weigh and pour" not in words(page)


def test_every_wrong_field_is_told_at_once(bath: FlaskClient) -> None:
    wrong = TEN | {"volume": "-5 L", "acid.strength": "120 %", "target.chloride": "60"}
    page = bath.get("/makeup", query_string=wrong)
    assert "Volume , Chloride" in words(page)
    assert 'href="#f-acid-strength"' in page.text
    assert "got -5 L" in beside(page, "volume")
    assert "a number without a unit" in beside(page, "target.chloride")


def test_what_was_typed_is_never_markup(bath: FlaskClient) -> None:
    page = bath.get("/makeup", query_string=TEN | {"volume": '"><b>x', "additive[1].name": "<i>"})
    assert "<b>x" not in page.text
    assert "<i>" not in page.text
    assert value(page, "volume") == '"><b>x'


def test_what_was_mixed_is_held_against_the_window(bath: FlaskClient) -> None:
    mixed = {
        "volume": "4 gal", "poured.copper_sulfate": "3.3 lb", "poured.acid": "42.4 fl oz",
        "poured.water": "3.68 gal", "acid.strength": "SG 1.280", "additive[1].name": "brightener",
    }  # fmt: skip
    text = words(bath.get("/makeup/mixed", query_string=mixed))
    # 3.3 * 453.592 g in 4 * 3.785412 L.
    assert "98.86 g/L (13.2 oz/gal) as CuSO4·5H2O" in text
    assert "below the 195 to 248 g/L of a standard acid copper bath" in text
    half = words(bath.get("/makeup/mixed", query_string=mixed | {"for": "2 gal"}))
    assert "The same for 7.571 L (2 gal)" in half
    assert "748.4 g" in half
    wrong = bath.get("/makeup/mixed", query_string=mixed | {"for": "-2 gal"})
    assert beside(wrong, "for") == "Must be above 0 L, got -2 gal."


def test_what_tops_a_bath_up(bath: FlaskClient) -> None:
    there = {"present.volume": "9 L", "present.copper_sulfate": "180 g/L",
             "present.sulfuric_acid": "55 g/L"}  # fmt: skip
    page = bath.get("/makeup/top-up", query_string=TEN | there)
    # 10 * 200 - 9 * 180 g; (10 * 60 - 9 * 55) / 0.96 g.
    assert "copper sulfate, CuSO4·5H2O 380 g" in words(page)
    assert "sulfuric acid, 96 wt % 109.4 g" in words(page)
    assert "How much chloride is in it is not known" in words(page)
    wrong = bath.get("/makeup/top-up", query_string=TEN | there | {"present.volume": "0 L"})
    assert beside(wrong, "present.volume") == "Must be above 0 L, got 0 L."


def test_topping_up_opens_with_the_newest_analyses(
    make_client: Make, bath_record: Path, enter_bath: Make
) -> None:
    found = {"copper": {"value": 45.81, "u": 0.4}, "chloride": {"value": 52.0, "u": 2.0}}
    enter_bath(bath_record, "analysis", {}, 3.0, results=found)
    page = make_client(bath_record).get("/makeup/top-up")
    assert value(page, "present.copper_sulfate") == "180 g/L"
    assert value(page, "present.chloride") == "52 mg/L"
    assert value(page, "present.sulfuric_acid") == ""


KEEP = {"who": "ben", "at": "2026-02-20 18:00", "note": "new tank"}


def test_a_bath_that_was_made_is_entered(bath: FlaskClient, peer: Any) -> None:
    fields = TEN | {"additive[1].name": "brightener", "additive[1].make_up": "1.6 mL/L"} | KEEP
    answer = bath.post("/makeup/keep", data=fields | {"csrf_token": ten_token(bath)})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/bath")
    (asked,) = peer.entered
    assert (asked.kind, asked.note) == ("make-up", "new tank")
    assert asked.who == "ben, the page at 127.0.0.1"
    # 2000 g * 63.546 / 249.685; 600 g; 0.6 g; 16 mL.
    assert asked.amounts == pytest.approx(
        {"volume": 10.0, "copper": 509.01, "sulfuric acid": 600.0, "chloride": 0.6,
         "brightener": 16.0},
        rel=1e-4,
    )  # fmt: skip
    assert asked.facts["details"]["acid"] == {"strength": "96 %"}
    assert f"{asked.at_utc.astimezone():%Y-%m-%d %H:%M}" == "2026-02-20 18:00"
    assert "Entered as number 1" in words(bath.get("/bath"))


def test_what_was_mixed_is_entered_as_what_is_in_it(bath: FlaskClient, peer: Any) -> None:
    mixed = {"volume": "10 L", "poured.copper_sulfate": "2 kg"}
    bath.post("/makeup/mixed/keep", data=mixed | {"csrf_token": ten_token(bath)})
    assert peer.entered[0].amounts == pytest.approx({"volume": 10.0, "copper": 509.01}, rel=1e-4)
    other = mixed | {"for": "5 L", "csrf_token": ten_token(bath)}
    assert "leave this out" in beside(bath.post("/makeup/mixed/keep", data=other), "for")
    assert len(peer.entered) == 1


def test_a_topping_up_is_entered_as_one(bath: FlaskClient, peer: Any) -> None:
    there = {"present.volume": "9 L", "present.copper_sulfate": "180 g/L",
             "present.sulfuric_acid": "55 g/L"}  # fmt: skip
    page = bath.get("/makeup/top-up", query_string=TEN | there)
    assert "one entry of the account of Copper 1 has what was taken out" in words(page)
    data = TEN | there | KEEP | {"csrf_token": ten_token(bath)}
    answer = bath.post("/makeup/top-up/keep", data=data)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/bath")
    (asked,) = peer.entered
    assert (asked.kind, asked.note, asked.who) == (
        "top-up",
        "new tank",
        "ben, the page at 127.0.0.1",
    )
    # 380 g * 63.546 / 249.685; 105 g; 1 L of 60 mg/L, whose content was not known.
    assert asked.amounts == pytest.approx(
        {"volume": 1.0, "copper": 96.712, "sulfuric acid": 105.0, "chloride": 0.06}, rel=1e-4
    )
    assert asked.facts["level_l"] == 10.0
    assert asked.facts["details"]["present"]["volume"] == "9 L"
    assert "Entered as number 1: all of it is one entry." in words(bath.get("/bath"))
    done = {"present.volume": "10 L", "present.copper_sulfate": "200 g/L",
            "present.sulfuric_acid": "60 g/L", "present.chloride": "60 mg/L"}  # fmt: skip
    page = bath.post("/makeup/top-up/keep", data=data | done)
    assert page.status_code == 422
    assert "Nothing is wanted: the bath is as it shall be." in words(page)
    page = bath.post("/makeup/top-up/keep", data=data | {"present.volume": "9"})
    assert beside(page, "present.volume").startswith("Expected a volume")
    assert len(peer.entered) == 1


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"at": "yesterday"}, 'Expected a day and a time such as "2026-11-20 18:00", got'),
        (
            {"additive[1].name": "leveller", "additive[1].make_up": "1 mL/L"},
            "'leveller' is no additive of this bath, and its account cannot keep it; known:"
            " brightener, carrier",
        ),
        ({"volume": "0 L"}, "Must be above 0 L, got 0 L."),
    ],
)
def test_what_cannot_be_entered_is_told_and_nothing_is_lost(
    bath: FlaskClient, peer: Any, more: dict[str, str], said: str
) -> None:
    fields = TEN | KEEP | more
    page = bath.post("/makeup/keep", data=fields | {"csrf_token": ten_token(bath)})
    assert (page.status_code, peer.entered) == (422, [])
    assert said in words(page)
    # Without an answer there is nothing to enter, and no fields for it.
    kept = TEN | more if "volume" in more else fields
    assert {name: value(page, name) for name in kept} == kept


def test_a_refusal_of_the_daemons_is_shown(bath: FlaskClient, peer: Any) -> None:
    peer.refusal = "make-up: volume: 100 L is more than can be"
    page = bath.post("/makeup/keep", data=TEN | KEEP | {"csrf_token": ten_token(bath)})
    assert page.status_code == 422
    assert "Not entered: Make-up: volume: 100 L is more than can be." in words(page)
    assert value(page, "who") == "ben"
    peer.stop()
    assert bath.post("/makeup/keep", data=TEN | {"csrf_token": "x"}).status_code == 400


@pytest.mark.browser
def test_in_a_browser_on_a_phone_without_scripts(
    plain_phone: Page, make_page_of: Make, bath_record: Path, peer: Any
) -> None:
    address = make_page_of(bath_record)
    plain_phone.goto(f"{address}/makeup")
    plain_phone.get_by_label("Volume").fill("-5 L")
    plain_phone.get_by_label("Volume").press("Enter")
    expect(plain_phone.get_by_role("alert")).to_contain_text("Volume cannot be used as it stands.")
    volume = plain_phone.get_by_label("Volume")
    expect(volume).to_have_value("-5 L")
    expect(volume).to_have_accessible_description("Must be above 0 L, got -5 L.")
    volume.fill("10 L")
    plain_phone.get_by_role("button", name="Work it out").click()
    expect(plain_phone.get_by_text("In this order")).to_be_visible()
    plain_phone.get_by_role("button", name="Enter into the bath's account").click()
    expect(plain_phone.get_by_role("status")).to_contain_text("Entered as number 1")
    assert [entry.amounts["volume"] for entry in peer.entered] == [10.0]


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context()
    page = context.new_page()
    yield page
    context.close()


@pytest.mark.browser
def test_nothing_runs_out_of_any_screen(page: Page, make_page_of: Make, bath_record: Path) -> None:
    address = make_page_of(bath_record)
    wrong = TEN | {"volume": "x" * 80, "additive[1].make_up": "7.8 mL"}
    overflow = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    for path, fields in (("/makeup", TEN), ("/makeup", wrong), ("/makeup/top-up", {})):
        page.goto(f"{address}{path}?{urlencode(fields)}")
        for width in (320, 360, 1280):
            page.set_viewport_size({"width": width, "height": 740})
            assert page.evaluate(overflow) == 0, (path, width)
        expect(page.get_by_role("button", name="Stop")).to_be_in_viewport(ratio=1)
