"""The pages of analyses: titrations worked out and kept, trends, the Hull cell, filtration."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Page, expect
from reading import beside, token, value, words

Make = Callable[..., Any]

EDTA = {
    "strength": "0.1 mol/L", "factor": "0.998", "sample": "10 mL", "diluted-to": "100 mL",
    "aliquot": "20 mL", "readings[1]": "0.00-14.12", "readings[2]": "14.12-28.21",
    "readings[3]": "0.05-14.19", "blank[1]": "0.06",
}  # fmt: skip
"""The titration that daemon/bath/README.md works through by hand: 44.57 g/L."""


def edta_token(client: FlaskClient) -> str:
    return token(client, "/analyses/edta", **EDTA)


def analysis(days: float, component: str, value: float, u: float) -> tuple[Any, ...]:
    results = {component: {"value": value, "u": u}}
    return "analysis", {}, days, {"method": "EDTA 0.1 mol/L", "results": results}


@pytest.fixture(scope="session")
def found(make_bath_record: Make) -> Path:
    """A record with three analyses of copper, ten days apart, and one of acid."""
    return make_bath_record(  # type: ignore[no-any-return]
        analysis(40.0, "copper", 54.0, 0.1),
        analysis(30.0, "copper", 52.0, 0.1),
        analysis(20.0, "copper", 50.0, 0.1),
        analysis(15.0, "sulfuric acid", 60.0, 0.5),
    )


@pytest.fixture
def bath(make_client: Make, found: Path) -> FlaskClient:
    return make_client(found)  # type: ignore[no-any-return]


def test_a_titration_is_worked_out_and_held_against_the_window(bath: FlaskClient) -> None:
    text = words(bath.get("/analyses/edta", query_string=EDTA))
    # By hand: (14.117 - 0.06) * 0.0998 * 63.546 / 2 = 44.57 g/L.
    assert "Copper 44.6 ± 0.8 g/L (95 %)" in text
    assert "least 45 g/L, target 50 g/L, greatest 60 g/L: below the window" in text
    # 5.43 g/L * 15 L / 0.25451 = 320 g, rounded down.
    assert re.search(r"Add (319|320) g of CuSO4·5H2O to 15 L: it comes to 50 g/L", text)
    assert "What was titrated holds copper: no drains" in text


def test_too_much_is_thinned_with_its_caution(bath: FlaskClient) -> None:
    fields = {"strength": "0.1 mol/L", "sample": "2 mL"}
    fields |= {f"readings[{n}]": "22.03" for n in (1, 2)}
    text = words(bath.get("/analyses/edta", query_string=fields))
    # 22.03 * 3.1773 = 70.0 g/L to 50: 2/7 of 15 L, and 60 g/L of acid fall to 42.9.
    assert "take out 4.28 L of 15 L" in text
    assert "sulfuric acid falls from 60 to 42.9 g/L" in text
    assert "Caution. What is taken out holds copper and acid: no drains" in text


def test_before_anything_is_opened_its_cautions_are_read(bath: FlaskClient) -> None:
    assert "Sodium hydroxide blinds and burns" in words(bath.get("/analyses/hydroxide"))
    assert "Silver nitrate stains" in words(bath.get("/analyses/silver-nitrate"))
    assert bath.get("/analyses/none").status_code == 404


@pytest.mark.parametrize(
    ("address", "key", "typed", "said"),
    [
        ("edta", "sample", "-10 mL", "Must be above 0 mL, got -10 mL."),
        ("edta", "sample", "10 g", 'Expected a volume such as "5 mL", got "10 g"'),
        ("edta", "readings[2]", "7,62", "a decimal comma where a point belongs"),
        ("edta", "readings[2]", "14.12-3", ""),
        ("edta", "strength", "0.1 N", "EDTA is to be given in mol/L"),
        ("edta", "strength", "0.1 g", "an amount concentration such as"),
        ("edta", "blank[1]", "x", "Expected a volume such as"),
        ("edta", "titrant-limit", "120 %", "must be at least 0 and below 100 %, got 120 %"),
        ("edta", "least", "50 mL/L", "Expected a mass concentration"),
        ("edta", "volume", "0 L", "Must be above 0 L, got 0 L."),
        ("edta", "purity", "120 %", ""),
        ("other", "strength", "", "Missing: concentration of the titrant"),
        ("hull", "at[1]", "4 in", "0.25 to 3.25 in"),
        ("hull", "density[2]", "90 A/dm²", "is not among them"),
        ("hull", "bright[2]", "9 cm", ""),
        ("hull", "current", "2 V", 'Expected a current such as "2.5 A", got "2 V"'),
        ("hull", "current", "-2 A", "Must be above 0 A, got -2 A."),
    ],
)
def test_what_cannot_be_used_is_told_beside_its_field_and_nothing_is_lost(
    bath: FlaskClient, address: str, key: str, typed: str, said: str
) -> None:
    usual = {"current": "2 A", "at[2]": "2 in", "bright[1]": "1.2 cm", "bright[2]": "6 cm"}
    fields = (usual if address == "hull" else EDTA) | {key: typed}
    page = bath.get(f"/analyses/{address}", query_string=fields)
    assert page.status_code == 422
    assert {name: value(page, name) for name in fields} == fields
    assert said.casefold() in (beside(page, key) if said else words(page)).casefold()
    assert "Nothing was worked out" in words(page)


def test_a_range_that_is_off_the_panel_is_told_at_the_range(bath: FlaskClient) -> None:
    fields = {"current": "2 A", "bright[1]": "1.2 cm", "bright[2]": "9 cm"}
    assert "got 9 cm" in beside(bath.get("/analyses/hull", query_string=fields), "bright[1]")


def test_the_panel_of_a_hull_cell(bath: FlaskClient) -> None:
    fields = {"current": "2 A", "cell": "267 mL", "at[2]": "2 in", "density[1]": "20 ASF"}
    page = bath.get("/analyses/hull", query_string=fields)
    text = words(page)
    # 2 * (27.7 - 48.7 * log10 2) = 26.1 A/ft²; L = 10 ** ((27.7 - 10) / 48.7) = 2.31 in.
    assert "At 5.08 cm (2 in): 2.81 A/dm² (26.1 A/ft²)" in text
    assert "Density 2.15 A/dm² (20 A/ft²): 5.87 cm (2.31 in)" in text
    # 2 * (27.7 + 48.7 * 0.60206) = 114 A/ft² at a quarter of an inch.
    assert "0.635 cm (0.25 in) 12.3 A/dm² (114 A/ft²)" in text
    # Its bar is the longest; at 1 in it is 55.4 / 114.0 of that.
    widths = [float(x) for x in re.findall(r'<rect class="bar" width="([\d.]+)%"', page.text)]
    assert widths[0] == 100.0
    assert widths[2] == pytest.approx(100 * 55.4 / 114.04, abs=0.1)


def test_filtration_and_drag_out(bath: FlaskClient) -> None:
    pump = {"volume": "15 L", "flow": "60 L/h", "for": "1 h", "share": "97 %"}
    text = words(bath.get("/bath/filtration", query_string=pump))
    assert "Turnovers 4 in an hour" in text
    assert "98.2 % of the dirt" in text  # 1 - e^-4
    assert value(bath.get("/bath/filtration"), "volume") == "15 L"
    text = words(bath.get("/bath/drag-out", query_string={"area": "180 dm²", "rate": "1 mL/dm²"}))
    assert "carry away 180 mL" in text
    wrong = bath.get("/bath/filtration", query_string=pump | {"flow": "60 L"})
    assert 'Expected a flow such as "60 L/h", got "60 L"' in beside(wrong, "flow")


def test_it_is_kept_with_its_form(bath: FlaskClient, peer: Any) -> None:
    fields = EDTA | {"who": "ben", "note": "after filtering", "csrf_token": edta_token(bath)}
    answer = bath.post("/analyses/edta/keep", data=fields)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/analyses")
    (asked,) = peer.entered
    assert (asked.kind, asked.amounts, asked.note) == ("analysis", {}, "after filtering")
    result = asked.facts["results"]["copper"]
    assert result["value"] == pytest.approx(44.57, abs=0.01)
    assert 1.96 * result["u"] == pytest.approx(0.82, abs=0.02)
    assert asked.facts["details"]["readings"] == ["0.00-14.12", "14.12-28.21", "0.05-14.19"]
    assert "Kept as entry 1." in words(bath.get("/analyses"))


def test_what_is_not_kept_is_told_and_nothing_is_lost(bath: FlaskClient, peer: Any) -> None:
    fields = EDTA | {"who": "ben", "at": "noon"}
    page = bath.post("/analyses/edta/keep", data=fields | {"csrf_token": edta_token(bath)})
    assert (page.status_code, peer.entered) == (422, [])
    assert "Expected a day and a time" in beside(page, "at")
    assert {name: value(page, name) for name in fields} == fields
    peer.refusal = "analysis: no"
    page = bath.post("/analyses/edta/keep", data=EDTA | {"csrf_token": edta_token(bath)})
    assert "Not entered: Analysis: no." in words(page)
    wrong = EDTA | {"sample": "0 mL", "csrf_token": edta_token(bath)}
    assert bath.post("/analyses/edta/keep", data=wrong).status_code == 422


def test_the_form_opens_as_the_last_one_was(
    make_client: Make, bath_record: Path, enter_bath: Make
) -> None:
    details = {"titrant": "EDTA", "strength": "0.05 mol/L", "factor": "1.01", "sample": "1 mL"}
    results = {"copper": {"value": 50.0, "u": 0.5}}
    enter_bath(bath_record, "analysis", {}, 2.0, results=results, details=details)
    page = make_client(bath_record).get("/analyses/edta")
    assert [value(page, key) for key in ("strength", "factor", "sample")] == [
        "0.05 mol/L", "1.01", "1 mL",
    ]  # fmt: skip
    assert value(make_client(bath_record).get("/analyses/thiosulfate"), "strength") == "0.1 mol/L"


def test_trends_are_drawn_against_the_window(bath: FlaskClient) -> None:
    page = bath.get("/analyses")
    text = words(page)
    # 2 g/L in ten days; from 50 to 45 in 25 days after 9 February 2026.
    assert "Copper falls by 0.2" in text
    assert "Reaches its least, 45 g/L, about 2026-03-06" in text
    assert "Copper, g/L 50 on 2026-02-09" in text
    assert "45 to 60 g/L" in text
    figure = page.text.split('<figure class="trend">')[1]
    dots = [tuple(map(float, xy)) for xy in re.findall(r'cx="([\d.]+)" cy="([\d.]+)"', figure)]
    (band,) = re.findall(r'class="band"[^>]*y="([-\d.]+)" height="([\d.]+)"', figure)
    top, height = map(float, band)
    assert len(dots) == 3
    # Evenly apart, and 54 of 45 to 60 lies two fifths of the band below its top.
    assert dots[2][0] - dots[1][0] == pytest.approx(dots[1][0] - dots[0][0], abs=0.2)
    assert dots[0][1] == pytest.approx(top + height * 6 / 15, abs=0.2)
    assert "Sulfuric acid 60.0 ± 1.0 g/L" in text


def test_without_analyses_and_without_a_daemon(client: FlaskClient, peer: Any) -> None:
    assert "No analysis is kept of Copper 1." in words(client.get("/analyses"))
    peer.stop()
    page = client.get("/analyses")
    assert page.status_code == 503
    assert "The daemon does not answer." in words(page)
    page = client.get("/analyses/edta", query_string=EDTA)
    assert "44.6 ± 0.8 g/L" in words(page)
    assert "can be kept once the daemon answers" in words(page)


@pytest.mark.browser
def test_in_a_browser_on_a_phone_without_scripts(
    plain_phone: Page, make_page_of: Make, found: Path, peer: Any
) -> None:
    address = make_page_of(found)
    plain_phone.goto(f"{address}/analyses/edta?{urlencode(EDTA | {'sample': '10'})}")
    sample = plain_phone.get_by_label("Bath taken")
    expect(sample).to_have_accessible_description(re.compile("a number without a unit"))
    sample.fill("10 mL")
    sample.press("Enter")
    expect(plain_phone.get_by_text("44.6 ± 0.8")).to_be_visible()
    plain_phone.get_by_role("button", name="Keep this analysis").click()
    expect(plain_phone.get_by_role("status")).to_contain_text("Kept as entry 1.")
    expect(plain_phone.get_by_role("img", name="Copper, g/L over time")).to_be_visible()
    assert peer.entered[0].facts["method"] == "EDTA 0.1 mol/L"
