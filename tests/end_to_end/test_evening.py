"""A whole evening in the browser, from a bath that is made up to the report of its first run.

Everything is done by the page, in a real browser, on a real daemon and a simulated tank: nobody
uses the command line but to make the operator. Figures are held against the tank's own.
"""

import subprocess
import sys

import pytest
from playwright.sync_api import expect

from daemon.record import alarms, audits, bath_entries
from drivers.simulator.process import SimulatorProcess

pytestmark = pytest.mark.browser

FOUR_PARTS = "".join(
    f'[[parts]]\nname = "part {n}"\narea_dm2 = 0.45\npaint_ohm_per_sq = 0\n' for n in range(4)
)

UM_PER_AH = 1.18549 / 8.96 / 1.8 * 100  # copper: g/Ah, g/cm³; 1.8 dm²

PASSWORD = "four brackets in a row"


@pytest.fixture
def tank(rate, origin_s, tmp_path):
    """Four parts of bare metal on one rack."""
    scenario = tmp_path / "scenario.toml"
    scenario.write_text(FOUR_PARTS)
    with SimulatorProcess(rate=rate, origin_s=origin_s, scenario=scenario) as process:
        yield process


@pytest.fixture
def daemon(new_daemon, free_port):
    """A daemon with its page, and an operator."""
    daemon = new_daemon(page=free_port)
    subprocess.run(
        [sys.executable, "-m", "daemon.service.commands.cli", "operator", "add", "anna",
         "--settings", str(daemon.settings)],
        input=f"{PASSWORD}\n", text=True, check=True, capture_output=True,
    )  # fmt: skip
    return daemon.start().ready()


@pytest.fixture
def evening(daemon, open_page):
    """The page on a phone."""
    return Evening(*open_page(viewport={"width": 390, "height": 844}))


class Evening:
    """What a person does on the page: goes to a chapter, fills in, presses, reads."""

    def __init__(self, page, address):
        self.page, self._address = page, address
        self.word = page.get_by_role("heading", level=1)

    def to_the_tank(self):
        self.page.goto(self._address)

    def to(self, chapter):
        self.to_the_tank()
        self.follow(chapter)

    def follow(self, link):
        self.page.get_by_role("link", name=link, exact=True).first.click()

    def fill(self, fields):
        for label, text in fields.items():
            self.page.get_by_label(label, exact=True).fill(text)

    def press(self, name):
        self.page.get_by_role("button", name=name, exact=True).first.click()

    def reads(self, *texts):
        for text in texts:
            expect(self.word).to_contain_text(text)

    def told(self, text):
        expect(self.page.get_by_role("status").filter(has_text=text)).to_be_visible()

    def shows(self, *texts):
        for text in texts:
            expect(self.page.get_by_role("main")).to_contain_text(text)


def test_the_whole_evening(evening, daemon, tank, wait_until):
    page = evening.page
    evening.to_the_tank()
    evening.reads("Nothing is running.")
    evening.follow("Sign in")
    evening.fill({"Name": "anna", "Password": PASSWORD})
    evening.press("Sign in")

    # The bath, from crystals, acid and water.
    evening.to("Make-up")
    evening.fill({"Volume": "10 L"})
    evening.press("Work it out")
    evening.press("Enter into the bath's account")
    evening.told("Entered as number")

    # The part: four blocks of 0.45 dm², 2 (30 x 30 + 30 x 22.5 + 30 x 22.5) mm².
    evening.to("Parts")
    evening.follow("Add one")
    evening.fill({"A shape, or a kept part": "box 30 x 30 x 22.5 mm"})
    evening.press("Work it out")
    evening.fill({"By this name": "block"})
    evening.press("Keep it")
    evening.told("Block is kept")

    # The plan, drawn as it is written.
    evening.to_the_tank()
    evening.press("Start a plan")
    evening.follow("Write a plan")
    page.get_by_label("Or the area of a kept part").select_option("block")
    evening.fill({
        "Title": "Four blocks", "So many of that part": "4", "Target thickness, the mean": "3 µm",
        "Name": "build", "Current, all parts": "2 A", "Charge": "2 Ah", "Time": "5 h",
        "Voltage, where a stage says none": "6 V",
    })  # fmt: skip
    expect(page.get_by_role("img", name="Current in A against time")).to_be_visible()
    # 3 µm of 1.8 dm² are 0.4081 Ah, at 2 A 12 min.
    evening.reads("0.408 Ah", "It would work here.")
    evening.press("Keep it")
    evening.told("Four-blocks is kept")

    # Rehearsed, then started.
    evening.to_the_tank()
    evening.press("Start a plan")
    evening.follow("Rehearse Four-blocks")
    evening.press("Rehearse it")
    evening.shows("0.408 Ah")
    evening.to_the_tank()
    evening.press("Start a plan")
    evening.follow("Start Four-blocks")
    evening.reads("Start Four blocks?")
    evening.press("Yes, start it now")
    evening.reads("Plating.")

    # A look at a part in between.
    daemon.until_state("running")
    evening.press("Hold")
    evening.reads("Held")
    wait_until(lambda: tank.truth().current_a < 0.02, "no current flows")
    evening.press("Resume")
    evening.reads("Plating.")

    # One of four falls off. The run holds by itself, and says why.
    wait_until(lambda: daemon.status().run.running_s > 450, "the cell is known")
    tank.inject("lose_part", part=2)
    lost = page.get_by_role("article").filter(has=page.get_by_role("link", name="Part lost"))
    expect(lost).to_contain_text("less")
    evening.reads("Held")
    wait_until(lambda: tank.truth().current_a < 0.02, "no current flows")
    lost.get_by_role("button", name="Acknowledge").click()
    tank.inject("mend")
    evening.press("Resume")
    daemon.until_state("complete")
    evening.reads("Done.")

    # Weighed: what the tank has really deposited.
    gained_g = tank.truth().charge_ah * 1.18549
    evening.follow("says what it gained")
    evening.fill({
        "Mass before it": "120.000 g", "Mass after it, rinsed and dry": f"{120 + gained_g:.3f} g",
    })  # fmt: skip
    evening.press("Work it out")
    evening.press("Keep this weighing")
    evening.told("Kept as entry")

    # The report has it all.
    evening.to("Runs")
    page.get_by_role("link", name="Four blocks").click()
    evening.shows("Part lost", "build", "120", "anna")

    run = daemon.run_record()
    assert run.charge_ah == pytest.approx(tank.truth().charge_ah, rel=5e-3)
    assert run.charge_ah * UM_PER_AH == pytest.approx(3.0, rel=5e-3)
    (alarm,) = daemon.record(alarms.since, 0)
    assert alarm.raised.cause == "part lost"
    kinds = [entry.made.kind for entry in daemon.record(bath_entries.all_of, "Acid copper")]
    assert kinds[-2:] == ["make-up", "weighing"]
    acts = [entry.act for entry in daemon.record(audits.page)]
    assert {act.who for act in acts if act.what in ("start", "hold", "resume")} == {"anna"}
