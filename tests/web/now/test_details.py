"""How sure the thickness is, and what stands behind the figures: on the page and in its parts."""

import re
from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, expect

from daemon.api.socket.messages import MeterStatus, RippleStatus, ThermometerStatus

Make = Callable[..., Any]


def plain(text: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", text)).replace("\u00a0", " ").split())


def body(client: FlaskClient, address: str = "/") -> str:
    return str(client.get(address).text.split("<main>", 1)[1])


def shown(html: str) -> str:
    """What can be read, without the optional places that are hidden."""
    html = re.sub(r"<div data-shown=\"\w+\" hidden>.*?</div>", "", html, flags=re.DOTALL)
    html = re.sub(r"<details[^>]* hidden>.*?</details>", "", html, flags=re.DOTALL)
    return plain(html)


def widths(html: str, name: str) -> float:
    found = re.search(rf'<rect class="{name}"[^>]* width="([\d.]+)%"', html)
    assert found
    return float(found[1])


def test_a_thickness_is_told_with_its_doubt(client: FlaskClient, peer: Any, measured: Make) -> None:
    peer.status = measured()
    text = shown(body(client))
    assert "Plating. 18.2 of 25 µm, done about" in text
    assert "How sure 18.2 ± 0.7 µm (95 %)" in text


def test_the_causes_stand_biggest_first(client: FlaskClient, peer: Any, measured: Make) -> None:
    peer.status = measured()
    # 0.31, 0.093, 0.058, 0.031 and 0.02 µm: squares add up to 0.109474 µm², a whole of 0.3309 µm
    # that is shown as ± 0.65 µm; each part is larger by the same 1.964.
    text = shown(body(client))
    assert (
        "the plated area 0.61 µm the bath's efficiency 0.18 µm the meter's gain 0.11 µm "
        "the meter's zero 0.06 µm times without a reading 0.04 µm" in text
    )
    assert "the clock" not in text
    bars = re.findall(r'<rect class="bar" width="([\d.]+)%"', body(client))
    # 0.31² of the whole's square is 87.8 %.
    assert bars[0] == "87.8"
    assert sum(map(float, bars)) == pytest.approx(100.0, abs=0.3)


def test_the_front_of_the_drawn_deposit_is_as_wide_as_the_doubt(
    client: FlaskClient, peer: Any, measured: Make
) -> None:
    peer.status = measured()
    page = body(client)
    # 18.2 - 0.65 µm, and twice 0.65 µm, of a ruler of 1.08 times 25 µm.
    assert widths(page, "copper") == pytest.approx(65.0, abs=0.02)
    assert widths(page, "edge") == pytest.approx(4.815, abs=0.02)


def test_a_deposit_thinner_than_its_doubt_is_all_edge(
    client: FlaskClient, peer: Any, measured: Make
) -> None:
    peer.status = measured(run={"thickness_um": 0.2})
    assert widths(body(client), "copper") == 0.0


def test_meters_are_listed_the_counting_one_first(
    client: FlaskClient, peer: Any, measured: Make
) -> None:
    peer.status = measured()
    text = shown(body(client))
    assert "Meters shunt counts; supply and clamp agree" in text
    assert (
        "shunt 3.498 A counts ripple 2.1 % rms, 7.4 % peak to peak "
        "supply 3.512 A 0.014 A more; their doubt explains up to 0.066 A "
        "clamp 3.460 A 0.038 A less; their doubt explains up to 0.120 A" in text
    )
    assert "Ripple 2.1 % rms, 7.4 % peak to peak" in text
    assert "rms of the alternating part, % of the mean current" in text


def test_a_silent_meter_has_no_figure(client: FlaskClient, peer: Any, measured: Make) -> None:
    status = measured()
    silent = status.meters[0].model_copy(update={"age_s": 14.0})
    peer.status = status.model_copy(update={"meters": (silent, *status.meters[1:])})
    text = shown(body(client))
    assert "Meters shunt counts; supply silent" in text
    assert "supply – A silent for 14 s" in text


def test_the_baths_temperature_is_among_the_figures(
    client: FlaskClient, peer: Any, measured: Make
) -> None:
    peer.status = measured()
    assert "Temperature 24.6 °C bath; room 19.2 °C" in shown(body(client))
    old = ThermometerStatus(name="bath", temperature_c=24.6, age_s=240.0)
    peer.status = measured(thermometers=(old,))
    assert "Temperature – °C bath 24.6 °C, 4 min ago" in shown(body(client))


def test_where_there_is_nothing_to_show_nothing_is_shown(client: FlaskClient) -> None:
    text = shown(body(client))
    for word in ("How sure", "Meters", "Ripple", "Temperature", "±"):
        assert word not in text


def test_a_supply_alone_is_no_list_and_its_ripple_is_not_measured(
    client: FlaskClient, peer: Any, measured: Make
) -> None:
    alone = MeterStatus(
        name="supply", counts=True, current_a=3.5, raw_current_a=3.5, voltage_v=2.2, age_s=0.2
    )
    peer.status = measured(meters=(alone,))
    text = shown(body(client))
    assert "Meters" not in text
    assert "Ripple of the current not measured: read too slowly." in text
    looked = RippleStatus(not_measured="the meter samples too slowly", age_s=1.0)
    peer.status = measured(meters=(alone.model_copy(update={"ripple": looked}),))
    text = shown(body(client))
    assert "Ripple of the current not measured: the meter samples too slowly." in text
    assert " rms" not in text


def test_names_of_meters_are_text(client: FlaskClient, peer: Any, measured: Make) -> None:
    status = measured()
    evil = "<script>alert('x')</script>"
    named = tuple(meter.model_copy(update={"name": evil}) for meter in status.meters)
    warm = tuple(seen.model_copy(update={"name": evil}) for seen in status.thermometers)
    peer.status = status.model_copy(update={"meters": named, "thermometers": warm})
    assert "<script>alert" not in client.get("/").text
    assert "<script>alert" not in client.get("/details").text


def test_the_poll_stays_small_with_everything_measured(
    client: FlaskClient, peer: Any, measured: Make
) -> None:
    peer.status = measured()
    answer = client.get("/status.json")
    assert len(answer.data) <= 1000
    assert answer.json["texts"]["doubt"] == "± 0.7"
    assert answer.json["doubt"] == pytest.approx(0.65 / 27, abs=1e-4)
    assert "plated area" not in answer.text


def test_the_first_view_stays_small_with_everything_measured(
    client: FlaskClient, peer: Any, measured: Make
) -> None:
    peer.status = measured()
    page = client.get("/")
    addresses = re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text)
    assert len(page.data) + sum(len(client.get(a).data) for a in addresses) <= 60_000


def test_the_details_are_the_same_as_on_the_page(
    client: FlaskClient, peer: Any, measured: Make
) -> None:
    peer.status = measured()
    parts = re.findall(r'<div data-part="\w+">.*?</div>', client.get("/details").text, re.DOTALL)
    assert len(parts) == 2
    page = body(client)
    for part in parts:
        assert part in page


def test_the_details_of_a_silent_daemon_are_none(client: FlaskClient, peer: Any) -> None:
    peer.stop()
    answer = client.get("/details")
    assert (answer.status_code, answer.data) == (503, b"")


@pytest.mark.browser
def test_details_follow_the_tank_while_they_are_open(
    browser: Browser, address: str, peer: Any, measured: Make
) -> None:
    peer.status = measured()
    page = browser.new_page()
    asked = []
    page.on("request", lambda request: asked.append(request.url.split("/")[-1]))
    page.goto(address)
    expect(page.get_by_text("Last word from the tank just now")).to_be_visible()
    expect(page.get_by_text("the plated area")).to_be_hidden()
    assert "details" not in asked
    page.get_by_text("How sure").click()
    expect(page.get_by_text("the plated area")).to_be_visible()
    peer.status = measured(run={"thickness_u95_um": 1.3})
    expect(page.locator(".causes tr").first).to_contain_text("1.22 µm", timeout=20_000)
    expect(page.locator("summary").first).to_contain_text("18.2 ± 1.3 µm (95 %)")
    expect(page.locator(".edge")).to_have_attribute("width", "9.620%")
    page.close()


@pytest.mark.browser
def test_what_comes_to_be_known_appears_and_what_is_gone_disappears(
    browser: Browser, address: str, peer: Any, make_status: Make, measured: Make
) -> None:
    page = browser.new_page()
    page.goto(address)
    expect(page.get_by_text("Last word from the tank just now")).to_be_visible()
    expect(page.get_by_text("How sure")).to_be_hidden()
    peer.status = measured()
    for text in ("How sure", "Meters", "Ripple", "Temperature"):
        expect(page.get_by_text(text, exact=True)).to_be_visible()
    peer.status = make_status()
    for text in ("How sure", "Meters", "Ripple", "Temperature"):
        expect(page.get_by_text(text, exact=True)).to_be_hidden()
    page.close()


@pytest.mark.browser
def test_without_scripts_the_details_open_and_can_be_kept_open(
    browser: Browser, address: str, peer: Any, measured: Make
) -> None:
    peer.status = measured()
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address)
    expect(page.get_by_text("the plated area")).to_be_hidden()
    page.get_by_text("How sure").click()
    expect(page.get_by_text("the plated area")).to_be_visible()
    page.get_by_role("link", name="Keep this open").first.click()
    expect(page.get_by_text("the plated area")).to_be_visible()
    expect(page.get_by_role("link", name="Keep this open")).to_have_count(0)
    context.close()


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_nothing_runs_out_of_any_screen_with_everything_open(
    browser: Browser, address: str, peer: Any, measured: Make, width: int
) -> None:
    peer.status = measured()
    context = browser.new_context(viewport={"width": width, "height": 700})
    page = context.new_page()
    page.goto(f"{address}/?open")
    # 12 and 12.3 µm are drawn on either side of where the figure changes its side.
    for thickness_um, told in ((0.4, "0.4"), (12.0, "12.0"), (12.3, "12.3"), (25.0, "25.0")):
        peer.status = measured(run={"thickness_um": thickness_um})
        expect(page.locator(".thickness")).to_contain_text(told, timeout=20_000)
        overflow = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        assert page.evaluate(overflow) == 0
        # Neither may the drawing's own text, which counts as no overflow.
        box = page.locator(".section .thickness").bounding_box()
        assert box
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
    context.close()
