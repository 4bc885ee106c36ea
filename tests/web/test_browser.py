"""The page in a real browser, with scripts and without."""

import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Request, expect

pytestmark = pytest.mark.browser

Make = Callable[..., Any]


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(timezone_id="Asia/Kolkata")
    page = context.new_page()
    yield page
    context.close()


@pytest.fixture
def plain_page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    yield page
    context.close()


def test_without_scripts_the_tank_can_be_read_and_stopped(
    plain_page: Page, address: str, peer: Any, make_status: Make
) -> None:
    plain_page.goto(address)
    expect(plain_page.get_by_role("heading")).to_contain_text("Plating.")
    expect(plain_page.get_by_role("heading")).to_contain_text("Nothing needs you.")
    expect(plain_page.get_by_text("16.853")).to_be_visible()
    expect(plain_page.get_by_role("img", name="Current over the run")).to_be_visible()
    peer.after = {"status": make_status(state="stopped", output_on=False, current_a=0.0)}
    plain_page.get_by_role("button", name="Stop").click()
    expect(plain_page.get_by_role("heading")).to_contain_text("Stopped.")
    expect(plain_page.get_by_role("button", name="Hold")).to_be_hidden()
    assert peer.acts == [("stop", "the page at 127.0.0.1")]


def test_without_scripts_the_page_reloads_itself(
    plain_page: Page, address: str, peer: Any, make_status: Make
) -> None:
    plain_page.goto(address)
    peer.status = make_status(state="aborted", output_on=False)
    expect(plain_page.get_by_role("heading")).to_contain_text("Aborted.", timeout=20_000)


def test_figures_follow_the_tank(page: Page, address: str, peer: Any, make_status: Make) -> None:
    page.goto(address)
    # 03:40 UTC is 09:10 where this browser stands.
    expect(page.get_by_role("heading")).to_contain_text("done about 09:10.")
    peer.status = make_status(
        current_a=3.21, run=make_status().run.model_copy(update={"thickness_um": 20.25})
    )
    expect(page.locator("[data-text=current]")).to_have_text("3.21")
    expect(page.locator(".thickness")).to_contain_text("20.2")
    # 20.25 of a ruler that ends at 1.08 times 25 µm.
    expect(page.locator(".copper")).to_have_attribute("width", "75.000%")
    expect(page).to_have_title(re.compile(r"^20\.2 of 25\sµm, plating · tankhand$"))


def test_a_trip_is_shown_and_read_aloud(
    page: Page, address: str, peer: Any, make_status: Make
) -> None:
    page.goto(address)
    expect(page.get_by_text("Last word from the tank just now")).to_be_visible()
    expect(page.locator(".word")).to_have_attribute("data-level", "calm")
    run = make_status().run.model_copy(update={"reason": "no current for 3 s"})
    peer.status = make_status(state="aborted", output_on=False, run=run)
    expect(page.locator(".word")).to_have_attribute("data-level", "alarm")
    expect(page.get_by_role("status")).to_contain_text("Aborted.")
    expect(page.get_by_role("status")).to_contain_text("Find the cause, then reset.")
    expect(page.get_by_role("button", name="Reset")).to_be_visible()
    expect(page.get_by_role("button", name="Hold")).to_be_hidden()
    expect(page.get_by_role("button", name="Stop")).to_be_visible()


def test_a_silent_daemon_turns_old_figures_old(page: Page, address: str, peer: Any) -> None:
    page.goto(address)
    expect(page.get_by_text("Last word from the tank just now")).to_be_visible()
    peer.stop()
    expect(page.get_by_role("heading")).to_contain_text("The daemon does not answer.")
    expect(page.locator("body[data-old]")).to_be_attached(timeout=10_000)
    expect(page.locator(".heard")).to_have_text(re.compile(r"^Last word from the tank \d+ s ago$"))
    peer.start()
    expect(page.get_by_role("heading")).to_contain_text("Plating.")
    expect(page.locator("body[data-old]")).not_to_be_attached()


def test_a_page_cut_off_from_its_server_says_so(page: Page, address: str) -> None:
    page.goto(address)
    expect(page.get_by_text("Last word from the tank just now")).to_be_visible()
    page.context.set_offline(True)
    heading = page.get_by_role("heading")
    expect(heading).to_contain_text("No word from the tank for", timeout=10_000)
    expect(heading).to_contain_text("What stands below is old.")
    expect(page.locator(".word")).to_have_attribute("data-level", "alarm")
    page.context.set_offline(False)
    expect(heading).to_contain_text("Plating.")


def test_a_page_written_without_a_word_never_claims_one(
    page: Page, address: str, peer: Any
) -> None:
    peer.stop()
    with page.expect_response("**/status.json**") as answer:
        page.goto(address)
    assert answer.value.status == 503
    expect(page.locator(".heard")).to_contain_text("No answer at")
    peer.start()
    expect(page.get_by_role("heading")).to_contain_text("Plating.")
    expect(page.get_by_text("16.853")).to_be_visible()


def test_another_run_brings_its_own_page(
    page: Page, address: str, peer: Any, make_status: Make
) -> None:
    page.goto(address)
    run = make_status().run.model_copy(update={"run_id": 13, "title": "Bracket, right"})
    peer.status = make_status(run=run)
    expect(page.get_by_text("Bracket, right").first).to_be_visible()
    expect(page.get_by_text("there is no run 13 in the record")).to_be_visible()


def test_the_chart_is_drawn_from_our_own_server_within_the_policy(page: Page, address: str) -> None:
    said: list[str] = []
    asked: list[str] = []

    def note(request: Request) -> None:
        asked.append(request.url)

    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", note)
    page.goto(address)
    drawn = page.locator(".drawn")
    expect(drawn.locator(".main-svg").first).to_be_visible(timeout=20_000)
    # A band and a mean each of current and voltage, and the charge.
    expect(drawn.locator(".scatterlayer .trace")).to_have_count(5)
    expect(page.locator(".plain")).to_be_hidden()
    assert said == []
    assert {url.split("/")[2] for url in asked} == {address.split("/")[2]}
    assert sum("plotly" in url for url in asked) == 1


def test_the_charts_hours_say_once_which_day_they_are_of(browser: Browser, address: str) -> None:
    # The run's two hours are those around midnight here.
    context = browser.new_context(timezone_id="Africa/Nairobi")
    page = context.new_page()
    page.goto(address)
    expect(page.locator(".drawn .main-svg").first).to_be_visible(timeout=20_000)
    marks = page.locator(".drawn .xtick text").all_text_contents()
    context.close()
    assert [mark[5:] for mark in marks if len(mark) > 5] == ["1 Mar", "2 Mar"]
    assert marks[0].startswith("23:")
    assert any(mark.startswith("00:") and mark.endswith("2 Mar") for mark in marks)


def test_a_zoom_fetches_what_is_seen(page: Page, address: str) -> None:
    page.set_viewport_size({"width": 1280, "height": 1400})
    page.goto(address)
    drag = page.locator(".drawn .nsewdrag").first
    expect(drag).to_be_visible(timeout=20_000)
    box = drag.bounding_box()
    assert box
    middle = box["y"] + box["height"] / 2
    with page.expect_request(re.compile(r"chart\.json.*from=")) as asked:
        page.mouse.move(box["x"] + box["width"] * 0.25, middle)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] * 0.5, middle, steps=5)
        page.mouse.up()
    found = re.search(r"from=([\d.]+)&to=([\d.]+)", asked.value.url)
    assert found
    # The run is two hours long: a quarter and a half of it, give or take a pixel's worth.
    assert float(found[1]) == pytest.approx(1800, abs=60)
    assert float(found[2]) == pytest.approx(3600, abs=60)


@pytest.mark.parametrize("width", [320, 390, 768, 1280, 2560])
def test_nothing_runs_out_of_any_screen(page: Page, address: str, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 700})
    page.goto(address)
    expect(page.locator(".drawn .main-svg").first).to_be_visible(timeout=20_000)
    overflow = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert page.evaluate(overflow) == 0
    expect(page.get_by_role("button", name="Stop")).to_be_in_viewport(ratio=1)


def test_the_keyboard_reaches_every_act_in_order(page: Page, address: str, peer: Any) -> None:
    page.goto(address)
    reached = []
    while not reached or reached[-1] != "Stop":
        page.keyboard.press("Tab")
        reached.append(page.locator(":focus").inner_text())
        assert len(reached) < 30, reached
    assert reached[0] == "Copper 1"
    links = page.locator("footer a").all_inner_texts()
    assert "Alarms" in links
    assert reached[1:-3] == ["metric", "US trade", *links]
    assert reached[-3:] == ["Hold", "Abort", "Stop"]
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert [act for act, _ in peer.acts] == ["stop"]


def test_what_the_keyboard_comes_to_is_not_under_the_acts(page: Page, address: str) -> None:
    """Success criterion 2.4.11 of WCAG 2.2; on a phone the acts take a seventh of the height."""
    page.set_viewport_size({"width": 390, "height": 640})
    page.goto(f"{address}/makeup")
    hidden = page.evaluate_handle("[]")
    for _ in range(40):
        page.keyboard.press("Tab")
        page.evaluate(
            """hidden => {
              const bar = document.querySelector('.bar');
              const at = document.activeElement;
              const below = at.getBoundingClientRect().bottom > bar.getBoundingClientRect().top + 1;
              if (at !== document.body && !bar.contains(at) && below) hidden.push(at.outerHTML);
            }""",
            hidden,
        )
    assert hidden.json_value() == []
