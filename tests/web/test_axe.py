"""No page keeps anybody out, by axe-core: each page once, as a phone shows it.

All states in all sizes and themes are looked at by `python tests/web/axe.py`.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe import Barriers
from conftest import (
    LISTEN,
    STARTED_MS,
    a_measured_status,
    a_rehearsal,
    alarm_entries,
    an_alarm,
    an_entry,
    audit_entries,
    keep_bath,
    serving,
    write_entries,
    write_record,
)
from planning import Planner
from playwright.sync_api import Browser, Page

from daemon.record.entries import Noted
from daemon.units import parse
from web.app import create_app

pytestmark = pytest.mark.browser

PLAN = Path("daemon/service/examples/lamp_foot.toml").read_text("utf-8")

PAGES = {
    "sign_in": "/sign-in",
    "now": "/?open",
    "history": "/alarms/history",
    "alarm": "/alarm/3",
    "effects": "/effects",
    "settings": "/settings",
    "audit": "/audit",
    "bath": "/bath",
    "makeup": "/makeup",
    "mixed": "/makeup/mixed",
    "top_up": "/makeup/top-up",
    "analyses": "/analyses",
    "analysis": "/analyses/edta",
    "hull": "/analyses/hull",
    "rates": "/bath/rates",
    "filtration": "/bath/filtration",
    "drag_out": "/bath/drag-out",
    "account": "/bath/account",
    "account_entry": "/bath/account/2",
    "enter_first": "/bath/enter",
    "enter": "/bath/enter/addition",
    "cost": "/bath/cost?run=12&parts=4",
    "parts": "/parts",
    "part_new": "/parts/new",
    "weigh": "/parts/weigh?run=12",
    "weighings": "/parts/weighings",
    "proof": "/proof",
    "runs": "/runs",
    "run": "/runs/12",
    "compare": "/runs/compare?run=12",
    "plans": "/plans",
    "plan_new": "/plans/new",
    "plan_edit": "/plans/edit?plan=lamp foot",
    "plan_delete": "/plans/delete?plan=lamp foot",
    "plan_start": "/plans/start?plan=lamp foot",
    "rehearse": "/rehearse",
    "rehearsal_after": "/rehearse/12",
    "calibration": "/calibration",
    "api_page": "/api",
    "offline": "/offline",
}
"""Each page by its endpoint."""

NO_PAGES = {
    "status", "details", "chart", "asset", "alarms", "part_picture", "mesh_picture",
    "readings_csv", "readings_parquet", "plan_file", "manifest", "worker",
}  # fmt: skip
"""What is no page: pieces, pictures, files and figures."""


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A page that has something of everything to show."""
    folder = tmp_path_factory.mktemp("axe")
    record = folder / "record.db"
    write_record(record, hours=1.0, every_s=10.0, plan=PLAN)
    told: dict[str, Any] = {"rehearsal": a_rehearsal().model_dump_json()}
    foretold = Noted(12, "foretold", "would work", STARTED_MS, 100.0, told)
    write_entries(record, [*alarm_entries(), *audit_entries(9), foretold])
    keep_bath(record, an_entry("dose", {"brightener": 5.0, "volume": 0.005}))
    parse("1 A", "A")  # the units are loaded once, which takes a while
    planner = Planner(folder / "control.sock", record, a_measured_status(alarms=(an_alarm(),)))
    planner.folder.mkdir()
    (planner.folder / "lamp foot.toml").write_text(PLAN, "utf-8")
    planner.start()
    with serving(planner.path, record) as address:
        yield address
    planner.stop()


@pytest.fixture(scope="module")
def phone(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844})
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("endpoint", PAGES)
def test_nobody_is_kept_out(shown: str, phone: Page, endpoint: str) -> None:
    answer = phone.goto(shown + PAGES[endpoint])
    assert answer
    barriers = Barriers()
    barriers.look(phone, endpoint)
    assert barriers.found == []
    # A refusal in words would have no barrier either.
    assert answer.status == 200


def test_each_page_is_looked_at(tmp_path: Path) -> None:
    app = create_app(tmp_path / "control.sock", tmp_path / "record.db", LISTEN)
    shown: set[Any] = {
        rule.endpoint
        for rule in app.url_map.iter_rules()
        if "GET" in (rule.methods or ()) and not rule.endpoint.startswith("api.")
    }
    assert shown - NO_PAGES == PAGES.keys()


def test_a_barrier_is_found(phone: Page, shown: str) -> None:
    phone.route(
        "**/barred", lambda route: route.fulfill(body="<p><img src=x>", content_type="text/html")
    )
    phone.goto(f"{shown}/barred")
    barriers = Barriers()
    barriers.look(phone, "barred")
    assert any(line.startswith("barred: image-alt: ") for line in barriers.found)
