"""Pictures of the page's plans in every state, taken by `screenshots.py`."""

from collections.abc import Callable
from pathlib import Path

from conftest import serving, write_record
from looking import NARROW, Look, look_in_each
from planning import Planner
from playwright.sync_api import Browser, Page

from daemon.api.socket.plans import InterlockSeen
from daemon.units import parse

PLAN = Path("daemon/service/examples/lamp_foot.toml").read_text("utf-8")


def _kept(planner: Planner) -> None:
    """Plans: one that works, one for another supply, one with a slip of the pen."""
    planner.folder.mkdir()
    for name, text in (
        ("lamp foot", PLAN),
        ("lamp foot, fast", PLAN.replace('"1.2 A/dm²"', '"12 A/dm²"')),
        ("door knob", PLAN.replace("Lamp foot", "Door knob").replace("target", "targt")),
    ):
        (planner.folder / f"{name}.toml").write_text(text, "utf-8")


def shoot_plans(browser: Browser, folder: Path, look: Look, wanted: str) -> None:
    """Plans: none, the list, and the form empty, at work and with what cannot be used."""
    if not "plans".startswith(wanted[:5]):
        return
    parse("1 A", "A")
    record = folder / "plans.db"
    write_record(record, hours=0.1)
    planner = Planner(folder / "plans.sock", record)
    planner.start()
    context = browser.new_context()
    page = context.new_page()

    def shoot(name: str) -> None:
        if not f"plans-{name}".startswith(wanted):
            return
        look_in_each(page, look, f"plans-{name}", NARROW)

    with serving(planner.path, record) as address:
        _walk(page, address, planner, shoot)
    context.close()
    planner.stop()


def _walk(page: Page, address: str, planner: Planner, shoot: Callable[[str], None]) -> None:
    page.goto(f"{address}/plans")
    shoot("none")
    page.goto(f"{address}/plans/new")
    shoot("new")
    _kept(planner)
    page.goto(f"{address}/plans")
    shoot("list")
    page.goto(f"{address}/plans/edit?plan=lamp foot")
    shoot("works")
    page.get_by_label("Target thickness").fill("30")
    page.get_by_label("Charge", exact=True).fill("4 V")
    page.get_by_role("button", name="Check and draw it").click()
    shoot("wrong")
    page.goto(f"{address}/plans/edit?plan=lamp foot, fast")
    shoot("too-much")
    page.goto(f"{address}/plans/delete?plan=lamp foot")
    shoot("delete")
    planner.interlocks = (
        InterlockSeen(name="lid", is_open=False),
        InterlockSeen(name="level", is_open=False),
    )
    page.goto(f"{address}/plans/start?plan=lamp foot")
    shoot("start")
    planner.interlocks = (
        InterlockSeen(name="lid", is_open=True),
        InterlockSeen(name="level", is_open=False),
    )
    planner.not_now = ("interlock open: lid", "proof test overdue: the last one was 94 d ago")
    page.goto(f"{address}/plans/start?plan=lamp foot")
    shoot("cannot")
