"""A plan written in a real browser on a real daemon: drawn, corrected, kept, and started once."""

from pathlib import Path

import pytest
from playwright.sync_api import expect

from daemon.record import queries

pytestmark = pytest.mark.browser


def test_a_plan_is_written_drawn_corrected_kept_and_started(new_daemon, free_port, open_page):
    daemon = new_daemon(page=free_port).start().ready()
    page, address = open_page()
    page.goto(address)
    page.get_by_role("button", name="Start a plan").click()
    page.get_by_role("link", name="Write a plan").click()
    page.get_by_label("Title").fill("Bracket")
    page.get_by_label("Area of all parts").fill("1.8 dm²")
    page.get_by_label("Name", exact=True).fill("build")
    page.get_by_label("Current, all parts").fill("2 A")
    page.get_by_label("Charge", exact=True).fill("2 Ah")
    page.get_by_label("Time", exact=True).fill("5 h")
    page.get_by_label("Voltage, where").fill("6 V")
    # A slip: it stands at its field once the field is left, and the typed text stays.
    target = page.get_by_label("Target thickness")
    target.fill("0.4")
    page.get_by_label("Title").focus()
    expect(page.get_by_text("a number without a unit")).to_be_visible()
    expect(target).to_have_value("0.4")
    expect(target).to_have_attribute("aria-invalid", "true")
    target.fill("0.4 µm")
    # Drawn as it is typed, without any press: 0.4 µm on 1.8 dm² is 0.0544 Ah, 98 s at 2 A.
    expect(page.get_by_role("img", name="Current in A against time")).to_be_visible()
    expect(page.get_by_text("a number without a unit")).to_be_hidden()
    expect(page.get_by_role("heading", level=1)).to_contain_text("98 s, 0.0544 Ah.")
    page.get_by_role("button", name="Keep it, then start it").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Start Bracket?")
    kept = Path(daemon.folder) / "plans" / "Bracket.toml"
    assert 'target = "0.4 µm"' in kept.read_text("utf-8")
    question = page.url
    page.get_by_role("button", name="Yes, start it now").dblclick()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Plating")
    daemon.until_state("complete")
    assert daemon.run_record(1).plan == kept.read_text("utf-8")
    assert [run.id for run in daemon.record(queries.runs)] == [1]
    # The same file runs from the command line, and the page's question knows of run 1.
    assert daemon.cli("run", kept, "--check")[0] == 0
    page.goto(question)
    expect(page.locator("[name=after]")).to_have_value("1")
