"""Plans on the page: the list, the form with its check and drawing, keeping, copying, deleting."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import LISTEN
from flask.testing import FlaskClient
from planning import Planner
from reading import beside, token, value, words
from werkzeug.test import TestResponse

from daemon.api.plans.text import typed_of
from daemon.record import audits
from daemon.record.store import open_reader
from daemon.units import parse
from web.app import create_app

PLAN = Path("daemon/service/examples/lamp_foot.toml").read_text("utf-8")
FILLED = typed_of(PLAN)


@pytest.fixture
def shelf_record(record: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(record, tmp_path / "record.db"))


@pytest.fixture
def planner(shelf_record: Path, tmp_path: Path) -> Iterator[Planner]:
    parse("1 A", "A")  # the units are loaded once, which takes a while
    planner = Planner(tmp_path / "control.sock", shelf_record)
    planner.start()
    yield planner
    planner.stop()


@pytest.fixture
def page(
    planner: Planner, shelf_record: Path, templates: Any, monkeypatch: pytest.MonkeyPatch
) -> FlaskClient:
    monkeypatch.setattr("web.tank.KEEP_S", -1.0)
    app = create_app(planner.path, shelf_record, LISTEN)
    app.jinja_env.bytecode_cache = templates
    return app.test_client()


def kept(planner: Planner, name: str = "lamp foot", text: str = PLAN) -> Path:
    planner.folder.mkdir(exist_ok=True)
    path = planner.folder / f"{name}.toml"
    path.write_text(text, "utf-8")
    return path


def send(page: FlaskClient, address: str, fields: dict[str, str], **more: str) -> TestResponse:
    return page.post(address, data={"csrf_token": token(page, "/plans/new"), **fields, **more})


def opened(page: FlaskClient, name: str = "lamp foot") -> dict[str, str]:
    """The fields of a plan's form as the page has them."""
    shown = page.get(f"/plans/edit?plan={name}")
    assert shown.status_code == 200
    return {**FILLED, "opened": name, "seen": value(shown, "seen"), "name": name}


def test_the_list_says_what_each_plan_is_and_whether_it_works_today(
    page: FlaskClient, planner: Planner
) -> None:
    assert "No plan is kept yet." in words(page.get("/plans"))
    kept(planner)
    kept(planner, "strong", PLAN.replace('"1.2 A/dm²"', '"12 A/dm²"'))
    kept(planner, "typo", PLAN.replace("target", "targt"))
    said = words(page.get("/plans"))
    assert "Lamp foot, 25 µm lamp foot.toml 25 µm on 1.8 dm², 3 stages" in said
    assert "Works here: 2 h" in said
    assert "Never started. Never rehearsed." in said
    assert "Does not work here: stage 3, 'full current': asks for 21.6 A, at most 5 A" in said
    assert "typo typo.toml Cannot be read: target is missing" in said


def test_without_the_daemon_plans_can_be_read_still(page: FlaskClient, planner: Planner) -> None:
    kept(planner)
    fields = opened(page)
    planner.path.rename(planner.path.with_name("elsewhere"))
    try:
        assert "Lamp foot, 25 µm" in words(page.get("/plans"))
        answer = send(page, "/plans/keep", fields, target="30 µm")
        assert "The daemon does not answer. All of it stands here still." in words(answer)
        assert value(answer, "target") == "30 µm"
    finally:
        planner.path.with_name("elsewhere").rename(planner.path)


def test_a_plan_is_drawn_as_the_daemon_foresees_it(page: FlaskClient, planner: Planner) -> None:
    kept(planner)
    shown = page.get("/plans/edit?plan=lamp foot")
    said = words(shown)
    assert "It would work here." in said
    # 0.3 A/dm² on 1.8 dm²: 0.54 A, reached within 5 min and held until 40 min are over: 0.3375 Ah.
    assert "0.54 A, 0.3 A/dm², within 5 min" in said
    assert "40 min, ends by its time, or sooner below 0.5 V; 0.338 Ah" in said
    assert "ends at the target" in said
    assert 'aria-label="Current in A against time, from 0 to 2.16 A."' in shown.text
    assert "Mean thickness in µm against time, up to 25 µm; the target is 25 µm." in shown.text


def test_errors_stand_at_their_fields_and_nothing_typed_is_lost(
    page: FlaskClient, planner: Planner
) -> None:
    wrong = {
        "target": "25", "copies": "two", "caps.charge": "9 V", "stage[1].current": "0.5 A",
        "stage[2].ramp": "-5 min", "stage[3].current_density": "1,2 A/dm²",
    }  # fmt: skip
    answer = send(page, "/plans/check", FILLED | wrong)
    assert answer.status_code == 200
    for key, text in wrong.items():
        assert value(answer, key) == text
    assert beside(answer, "target").startswith('Expected a length such as "25 µm", got "25"')
    assert beside(answer, "caps.charge").startswith('Expected a charge such as "4.5 Ah", got "9 V"')
    assert "valid integer" in beside(answer, "copies")
    assert "both are given" in beside(answer, "stage[1].current")
    assert "must be at least 0 s" in beside(answer, "stage[2].ramp").lower()
    assert '"1,2 A/dm²"' in beside(answer, "stage[3].current_density")
    assert "Drawn once everything in it can be read." in words(answer)


def test_what_the_supply_cannot_give_stands_at_the_density_that_was_typed(
    page: FlaskClient, planner: Planner
) -> None:
    answer = send(page, "/plans/check", FILLED, **{"stage[3].current_density": "12 A/dm²"})
    assert "asks for 21.6 A" in beside(answer, "stage[3].current_density")
    # It is drawn all the same.
    assert "21.6 A, 12 A/dm²" in words(answer)
    much = send(page, "/plans/check", FILLED, **{"caps.charge": "1 Ah"})
    assert "the cap on charge is 1 Ah" in beside(much, "caps.charge")


def test_stages_come_go_and_move_with_what_was_typed(page: FlaskClient, planner: Planner) -> None:
    names = ["strike over paint", "build the layer", "full current"]

    def pressed(do: str) -> list[str]:
        answer = send(page, "/plans/check", FILLED, do=do)
        return [
            value(answer, f"stage[{n}].name")
            for n in range(1, 1 + len(re.findall('<fieldset class="stage"', answer.text)))
        ]

    assert pressed("add") == [*names, ""]
    assert pressed("later-1") == [names[1], names[0], names[2]]
    assert pressed("earlier-3") == [names[0], names[2], names[1]]
    assert pressed("remove-2") == [names[0], names[2]]
    for nothing in ("earlier-1", "later-3", "remove-9", "later-0", "drop", "add-x"):
        assert pressed(nothing) == names
    moved = send(page, "/plans/check", FILLED, do="later-1")
    assert value(moved, "stage[2].until.cell_voltage_below") == "0.5 V"


def test_a_plan_is_kept_and_kept_anew(
    page: FlaskClient, planner: Planner, shelf_record: Path
) -> None:
    answer = send(page, "/plans/keep", FILLED, who="anna")
    assert answer.status_code == 303
    assert "Lamp-foot,-25-µm is kept." in words(page.get(answer.headers["Location"]))
    path = planner.folder / "Lamp-foot,-25-µm.toml"
    assert typed_of(path.read_text("utf-8")) == FILLED
    fields = opened(page, "Lamp-foot,-25-µm")
    assert send(page, "/plans/keep", fields, target="20 µm").status_code == 303
    assert 'target = "20 µm"' in path.read_text("utf-8")
    # Whoever had it open before does not write over that.
    late = send(page, "/plans/keep", fields, target="30 µm")
    assert late.status_code == 422
    assert "has been changed meanwhile" in words(late)
    assert value(late, "target") == "30 µm"
    assert 'target = "20 µm"' in path.read_text("utf-8")
    engine = open_reader(shelf_record)
    with engine.connect() as connection:
        told = [each.act for each in audits.page(connection, limit=9)]
    engine.dispose()
    assert [(act.what, act.refused is None) for act in told] == [
        ("keep a plan", False), ("keep a plan", True), ("keep a plan", True),
    ]  # fmt: skip
    assert told[-1].who.startswith("anna, the page at")


def test_by_another_name_it_is_a_copy_and_takes_nobodys_place(
    page: FlaskClient, planner: Planner
) -> None:
    kept(planner)
    kept(planner, "other")
    fields = opened(page)
    assert send(page, "/plans/keep", fields | {"name": "new"}).status_code == 303
    assert sorted(path.stem for path in planner.folder.glob("*.toml")) == [
        "lamp foot", "new", "other",
    ]  # fmt: skip
    taken = send(page, "/plans/keep", fields | {"name": "other", "target": "9 µm"})
    assert "is kept already: take another name" in words(taken)
    assert value(taken, "target") == "9 µm"
    copied = page.get("/plans/new?copy=lamp foot")
    assert (value(copied, "name"), value(copied, "seen")) == ("lamp-foot-copy", "")
    assert value(copied, "stage[3].name") == "full current"


@pytest.mark.parametrize("name", ["../up", "/etc/x", ".x", "<b>", "a/b", "-x"])
def test_a_name_that_is_no_file_here_is_told_at_its_field(
    page: FlaskClient, planner: Planner, name: str
) -> None:
    answer = send(page, "/plans/keep", FILLED, name=name)
    assert "Must be 1 to 60 letters" in beside(answer, "name")
    assert not planner.folder.exists()
    for address in ("edit", "delete", "file", "new"):
        query = {"copy" if address == "new" else "plan": name}
        assert page.get(f"/plans/{address}", query_string=query).status_code == 404
    assert page.get("/rehearse", query_string={"plan": name}).status_code == 404


def test_what_cannot_be_read_is_not_kept_and_a_plan_for_another_supply_is(
    page: FlaskClient, planner: Planner
) -> None:
    answer = send(page, "/plans/keep", FILLED | {"target": ""})
    assert answer.status_code == 422
    assert "Nothing was kept" in words(answer)
    assert not planner.folder.exists()
    strong = FILLED | {"stage[3].current_density": "12 A/dm²", "name": "strong"}
    kept_now = send(page, "/plans/keep", strong)
    assert "would not work here as it is" in words(page.get(kept_now.headers["Location"]))


def test_html_in_a_plan_stays_text(page: FlaskClient, planner: Planner) -> None:
    evil = '<script>alert("x")</script>'
    kept(planner, "evil", PLAN.replace("Lamp foot, 25 µm", evil.replace('"', "'")))
    answer = send(page, "/plans/check", FILLED | {"title": evil, "stage[1].name": evil})
    for shown in (answer, page.get("/plans"), page.get("/plans/edit?plan=evil")):
        assert "<script>alert" not in shown.text
        assert "&lt;script&gt;alert" in shown.text


def test_more_than_a_plan_is_refused(page: FlaskClient, planner: Planner) -> None:
    many = {f"stage[{n}].name": "x" * 100 for n in range(1, 999)}
    assert send(page, "/plans/check", many).status_code == 413
    few = {f"stage[{n}].name": f"s{n}" for n in range(1, 60)}
    assert len(re.findall('<fieldset class="stage"', send(page, "/plans/check", few).text)) == 24


def test_a_plan_is_deleted_after_a_question(page: FlaskClient, planner: Planner) -> None:
    path = kept(planner)
    asked = page.get("/plans/delete?plan=lamp foot")
    assert "Delete “lamp foot”?" in words(asked)
    assert path.exists()
    fields = {"plan": "lamp foot", "seen": value(asked, "seen")}
    path.write_text(PLAN + "\n", "utf-8")
    assert "has been changed meanwhile" in words(
        page.get(send(page, "/plans/delete", fields).headers["Location"])
    )
    assert path.exists()
    fields["seen"] = value(page.get("/plans/delete?plan=lamp foot"), "seen")
    gone = page.get(send(page, "/plans/delete", fields).headers["Location"])
    assert "lamp foot is deleted." in words(gone)
    assert not path.exists()


def test_a_plan_as_a_file_and_by_rehearsal(page: FlaskClient, planner: Planner) -> None:
    kept(planner)
    answer = page.get("/plans/file?plan=lamp foot")
    assert answer.text == PLAN
    assert 'filename="lamp foot.toml"' in answer.headers["Content-Disposition"]
    shown = page.get("/rehearse?plan=lamp foot")
    assert "Lamp foot, 25 µm" in shown.text
    sent = {"csrf_token": token(page, "/rehearse"), "plan": PLAN}
    assert page.post("/rehearse", data=sent).status_code == 200
    assert "would work." in words(page.get("/plans"))


def test_the_plan_of_an_earlier_run(
    page: FlaskClient, planner: Planner, shelf_record: Path
) -> None:
    assert page.get("/plans/new?run=99").status_code == 404
    assert page.get("/plans/new?run=x").status_code == 404
    kept(planner, "bracket", PLAN.replace("Lamp foot, 25 µm", "Bracket, left"))
    assert "Run 12, 2026-03-0" in words(page.get("/plans"))
    assert ", as it was then" in words(page.get("/plans"))
