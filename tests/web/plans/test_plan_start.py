"""Starting a plan on the page: what is shown before, one question, one run."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import LISTEN, a_run, a_status
from flask.testing import FlaskClient
from planning import Planner
from reading import token, value, words
from werkzeug.test import TestResponse

from daemon.api.socket.plans import InterlockSeen
from daemon.units import parse
from web.app import create_app

PLAN = Path("daemon/service/examples/lamp_foot.toml").read_text("utf-8")


@pytest.fixture
def planner(record: Path, tmp_path: Path) -> Iterator[Planner]:
    parse("1 A", "A")
    planner = Planner(tmp_path / "control.sock", Path(shutil.copy(record, tmp_path / "record.db")))
    planner.folder.mkdir()
    (planner.folder / "lamp foot.toml").write_text(PLAN, "utf-8")
    planner.start()
    yield planner
    planner.stop()


@pytest.fixture
def page(planner: Planner, templates: Any, monkeypatch: pytest.MonkeyPatch) -> FlaskClient:
    monkeypatch.setattr("web.tank.KEEP_S", -1.0)
    app = create_app(planner.path, planner.folder.with_name("record.db"), LISTEN)
    app.jinja_env.bytecode_cache = templates
    return app.test_client()


def asked(page: FlaskClient) -> TestResponse:
    return page.get("/plans/start?plan=lamp foot")


def press(page: FlaskClient, shown: TestResponse, **changes: str) -> TestResponse:
    fields = {key: value(shown, key) for key in ("csrf_token", "plan", "seen", "after")}
    return page.post("/plans/start", data=fields | changes)


def test_before_a_start_it_says_what_will_happen(page: FlaskClient, planner: Planner) -> None:
    planner.interlocks = (InterlockSeen(name="lid", is_open=False),)
    said = words(asked(page))
    assert "Start Lamp foot, 25 µm? 2 h 22 min, 3.4 Ah, done about" in said
    assert "Nothing keeps it from starting" in said
    assert "lid closed" in said
    assert "Nothing is due before it or falls due in it." in said
    # 1.2 A/dm² on 1.8 dm².
    assert "2.16 A, 1.2 A/dm² on 1.8 dm²" in said
    assert "Copper 1, 182.4 Ah so far" in said
    assert planner.started == []


def test_yes_starts_the_plan_that_was_shown(page: FlaskClient, planner: Planner) -> None:
    answer = press(page, asked(page))
    assert (answer.status_code, answer.headers["Location"]) == (303, "/")
    (started,) = planner.started
    assert (started.plan, started.after_run) == (PLAN, 12)
    assert started.who == "the page at 127.0.0.1"


def test_a_press_that_comes_twice_starts_one_run(page: FlaskClient, planner: Planner) -> None:
    shown = asked(page)
    planner.after = {"status": a_status(run=a_run(run_id=13))}
    assert press(page, shown).status_code == 303
    again = press(page, shown)
    assert again.headers["Location"] == "/"
    assert "Run 13 was started already, and this press started nothing more." in words(
        page.get("/")
    )
    # Also when that run is long over.
    planner.status = a_status(state="complete", output_on=False, run=a_run(run_id=13))
    press(page, shown)
    assert len(planner.started) == 1
    assert value(asked(page), "after") == "13"


def test_what_is_in_the_way_is_told_and_nothing_can_be_pressed(
    page: FlaskClient, planner: Planner
) -> None:
    planner.not_now = ("interlock open: lid", "no reading from the supply yet")
    planner.interlocks = (InterlockSeen(name="lid", is_open=True),)
    shown = asked(page)
    said = words(shown)
    assert "Lamp foot, 25 µm cannot start now." in said
    assert "Interlock open: lid. No reading from the supply yet." in said
    assert "lid open" in said
    assert "Yes, start it now" not in said
    (planner.folder / "lamp foot.toml").write_text(PLAN.replace("1.2 A/dm²", "12 A/dm²"), "utf-8")
    planner.not_now = ()
    assert "asks for 21.6 A, at most 5 A can be given" in words(asked(page))


def test_a_refused_start_says_why_and_asks_again(page: FlaskClient, planner: Planner) -> None:
    shown = asked(page)
    planner.refusal = "the guard cannot switch the output off by its own way: busy"
    answer = press(page, shown)
    assert answer.status_code == 409
    assert "Not started: the guard cannot switch the output off by its own way: busy." in words(
        answer
    )
    assert "Yes, start it now" in words(answer)
    assert (planner.folder / "lamp foot.toml").read_text("utf-8") == PLAN


def test_a_plan_that_was_changed_meanwhile_is_shown_anew(
    page: FlaskClient, planner: Planner
) -> None:
    shown = asked(page)
    (planner.folder / "lamp foot.toml").write_text(PLAN.replace("25 µm", "20 µm"), "utf-8")
    answer = press(page, shown)
    assert answer.status_code == 409
    assert "the plan was changed after this was asked" in words(answer)
    assert planner.started == []


def test_what_no_page_of_ours_sends(page: FlaskClient, planner: Planner) -> None:
    shown = asked(page)
    assert press(page, shown, after="x").status_code == 400
    assert press(page, shown, after="-1").status_code == 400
    assert press(page, shown, plan="../record").status_code == 404
    assert page.get("/plans/start?plan=../record").status_code == 404
    (planner.folder / "typo.toml").write_text(PLAN.replace("target", "targt"), "utf-8")
    assert page.get("/plans/start?plan=typo").status_code == 404
    assert planner.started == []


def test_without_the_daemon_nothing_is_started(page: FlaskClient, planner: Planner) -> None:
    shown = asked(page)
    planner.path.rename(planner.path.with_name("elsewhere"))
    try:
        assert "The daemon does not answer." in words(asked(page))
        assert press(page, shown).status_code == 503
    finally:
        planner.path.with_name("elsewhere").rename(planner.path)
    assert planner.started == []


def test_the_first_page_leads_to_the_plans_while_nothing_runs(
    page: FlaskClient, planner: Planner
) -> None:
    first = page.get("/")
    assert "Start a plan" in words(first)
    assert 'action="/plans"' in first.text
    planner.status = a_status()
    assert "Start a plan" not in words(page.get("/"))


def test_keeping_may_lead_on_to_the_start(page: FlaskClient, planner: Planner) -> None:
    fields = {
        "title": "Bracket", "target": "5 µm", "area": "1 dm²", "caps.charge": "2 Ah",
        "caps.duration": "5 h", "voltage_ceiling": "4 V", "stage[1].name": "build",
        "stage[1].current": "1 A", "then": "start",
    }  # fmt: skip
    sent = {"csrf_token": token(page, "/plans/new"), **fields}
    answer = page.post("/plans/keep", data=sent)
    assert answer.headers["Location"] == "/plans/start?plan=Bracket"
