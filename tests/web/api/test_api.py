"""The HTTP API: what it gives and does, for whom, and how it says that it does not."""

import json
import re
import time
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from jinja2 import FileSystemBytecodeCache
from reading import words
from werkzeug.test import TestResponse

from daemon.access.operators import operators_at
from daemon.access.tokens import Tokens, tokens_at
from daemon.api.listen import Listen
from daemon.api.plans.kept import plans_at
from daemon.api.socket.messages import AlarmStatus, Status
from web import problems
from web.api.document import VERSION
from web.app import create_app

NETWORK = Listen("0.0.0.0", 8080, ("tank.lan",))
HERE = Listen("127.0.0.1", 8080)
PLC, OTHER = "192.168.1.30", "192.168.1.31"
PLAN = 'title = "Plate"\n'


class Machine:
    """A program that uses the API, with a token or without."""

    def __init__(self, app: Flask, token: str | None = None, where: str = PLC) -> None:
        self.client: FlaskClient = app.test_client()
        self.token = token
        self.where = where
        self.base = "http://tank.lan:8080"

    def ask(self, method: str, path: str, **more: Any) -> TestResponse:
        headers = more.pop("headers", {})
        if self.token is not None:
            headers = {"Authorization": f"Bearer {self.token}"} | headers
        return self.client.open(
            f"/api/v1{path}", method=method, base_url=self.base, headers=headers,
            environ_overrides={"REMOTE_ADDR": self.where}, **more,
        )  # fmt: skip

    def get(self, path: str, **more: Any) -> TestResponse:
        return self.ask("GET", path, **more)

    def post(self, path: str, sent: Any = None, **more: Any) -> TestResponse:
        return self.ask("POST", path, json={} if sent is None else sent, **more)


def problem(response: TestResponse, kind: problems.Kind) -> dict[str, Any]:
    """The problem that was answered, if it is of this kind and of RFC 9457's form."""
    told = response.json
    assert told is not None, response.text
    assert (told["type"], response.status_code) == (f"/api#{kind.name}", kind.status), told
    assert response.mimetype == "application/problem+json"
    assert told["status"] == response.status_code
    assert told["title"] == kind.title
    assert told["detail"]
    return dict(told)


@pytest.fixture
def place(tmp_path: Path, bath_record: Path) -> Path:
    """A record with a run of two hours and a described bath, and who may act beside it."""
    operators = operators_at(bath_record)
    operators.write_text(json.dumps({"operators": []}), encoding="utf-8")
    operators.chmod(0o600)
    return bath_record


@pytest.fixture
def make_app(
    peer: Any, place: Path, monkeypatch: pytest.MonkeyPatch, templates: FileSystemBytecodeCache
) -> Callable[..., Flask]:
    monkeypatch.setattr("web.tank.KEEP_S", -1.0)

    def make(listen: Listen = NETWORK, reading: Any = "anyone") -> Flask:
        app = create_app(peer.path, place, listen, reading)
        app.jinja_env.bytecode_cache = templates
        return app

    return make


@pytest.fixture
def app(make_app: Callable[..., Flask]) -> Flask:
    return make_app()


@pytest.fixture
def tokens(place: Path) -> Tokens:
    return Tokens(tokens_at(place))


@pytest.fixture
def reader(app: Flask, tokens: Tokens) -> Machine:
    return Machine(app, tokens.add("logger", "read", now_ms()))


@pytest.fixture
def caller(app: Flask, tokens: Tokens) -> Machine:
    return Machine(app, tokens.add("pager", "acknowledge", now_ms()))


@pytest.fixture
def plc(app: Flask, tokens: Tokens) -> Machine:
    return Machine(app, tokens.add("plc", "command", now_ms()))


@pytest.fixture
def nobody(app: Flask) -> Machine:
    return Machine(app)


def now_ms() -> int:
    return time.time_ns() // 1_000_000


def test_the_state_is_the_daemons_own_word(nobody: Machine, peer: Any) -> None:
    told = nobody.get("/state")
    assert told.status_code == 200
    assert Status.model_validate_json(told.text) == peer.status
    peer.stop()
    problem(nobody.get("/state"), problems.SILENT)


def test_runs_are_listed_and_told_one_by_one(nobody: Machine) -> None:
    told = nobody.get("/runs").json
    assert told
    assert told["older"] is None
    (run,) = told["runs"]
    # 0.5 A for half an hour, then 3.5 A reached within a quarter of an hour, two hours in all.
    assert run["number"] == 12
    assert run["title"] == "Bracket, left"
    assert run["started_utc"] == "2026-03-01T20:00:00Z"
    assert run["elapsed_s"] == 7200
    assert 4.5 < run["charge_ah"] < 5.5
    assert (run["thickness_um"], run["proof_test"]) == (None, False)
    one = nobody.get("/runs/12").json
    assert one
    assert {key: one[key] for key in run} == run
    assert (one["stages"], one["counted_by"]) == ([], "supply")
    assert problem(nobody.get("/runs/13"), problems.NOT_FOUND)["detail"] == (
        "there is no run 13 in the record."
    )
    for number in ("x", "0", "-1", "1.0", "١", str(2**63), "012"):
        problem(nobody.get(f"/runs/{number}"), problems.NOT_FOUND)


def test_readings_are_those_of_the_window(nobody: Machine) -> None:
    told = nobody.get("/runs/12/readings?from_s=600&for_s=60").json
    assert told
    assert told["level"] == "sample"
    assert len(told["first_s"]) == 30
    assert all(600 <= at < 660 for at in told["first_s"])
    # 0.5 A within the gentle wave of 0.02 A around it.
    assert all(abs(a - 0.5) < 0.021 for a in told["current_a"]["mean"])
    assert {len(told[key]) for key in ("last_s", "charge_ah")} == {30}
    assert len(nobody.get("/runs/12/readings?points=10").json["first_s"]) <= 10  # type: ignore[index]
    after = nobody.get("/runs/12/readings?from_s=9000&for_s=1").json
    assert after
    assert after["first_s"] == after["current_a"]["mean"] == []
    problem(nobody.get("/runs/13/readings"), problems.NOT_FOUND)


@pytest.mark.parametrize(
    ("query", "where"),
    [("for_s=0", "for_s"), ("from_s=-1", "from_s"), ("points=0", "points"),
     ("points=x", "points"), ("for_s=inf", "for_s"), ("from_s=nan", "from_s"), ("more=1", "more"),
     ("points=5&points=6", "points")],
)  # fmt: skip
def test_what_a_query_may_not_say_is_told(nobody: Machine, query: str, where: str) -> None:
    told = problem(nobody.get(f"/runs/12/readings?{query}"), problems.INVALID)
    assert [each["where"] for each in told["errors"]] == [where]


def test_lists_come_in_parts(make_app: Callable[..., Flask], alarm_record: Path, peer: Any) -> None:
    machine = Machine(create_app(peer.path, alarm_record, NETWORK))
    first = machine.get("/alarms/history?limit=3").json
    assert first
    assert [each["number"] for each in first["alarms"]] == [4, 3, 2]
    rest = machine.get(f"/alarms/history?before={first['older']}").json
    assert rest
    assert [each["number"] for each in rest["alarms"]] == [1]
    assert rest["older"] is None
    one = machine.get("/alarms/3").json
    assert one
    assert one == first["alarms"][1]
    assert (one["cause"], one["run"], one["over"]) == ("short", 12, False)
    assert one["raised_utc"] == "2026-03-02T02:09:14Z"
    assert [(each["what"], each["who"]) for each in one["events"]] == [
        ("stopped the run", None), ("returned", None), ("acknowledged", "anna"),
    ]  # fmt: skip
    problem(machine.get("/alarms/5"), problems.NOT_FOUND)


def test_a_record_that_is_not_there_is_told(peer: Any, tmp_path: Path) -> None:
    machine = Machine(create_app(peer.path, tmp_path / "none.sqlite", NETWORK))
    for path in ("/runs", "/runs/1", "/runs/1/readings", "/alarms/history", "/alarms/1", "/bath"):
        problem(machine.get(path), problems.NO_RECORD)


def test_the_baths_account_is_summed_up(
    nobody: Machine, place: Path, enter_bath: Callable[..., None]
) -> None:
    enter_bath(place, "addition", {"copper": 12.0}, 10.0)
    enter_bath(place, "water", {"volume": 1.0}, 5.0, level_l=14.5)
    enter_bath(place, "dose", {"brightener": 5.0, "volume": 0.005}, 2.0)
    told = nobody.get("/bath").json
    assert told
    assert (told["name"], told["charge_ah"], told["entries"]) == ("Copper 1", 182.4, 4)
    assert told["balances_ml"] == {"brightener": 5.0}
    assert told["balances_g"] == {"copper": 12.0}
    # It stood at 14.5 L five days before the run, and 5 mL have gone in since.
    assert told["volume_l"] == pytest.approx(14.505)
    assert told["volume_stated_utc"] == "2026-02-24T20:00:00Z"


def test_plans_that_are_kept_are_listed_and_started(
    plc: Machine, nobody: Machine, place: Path, peer: Any
) -> None:
    assert nobody.get("/plans").json == {"plans": []}
    folder = plans_at(place)
    folder.mkdir()
    text = (Path(__file__).parents[3] / "daemon/service/examples/lamp_foot.toml").read_text()
    (folder / "lamp foot.toml").write_text(text)
    (folder / "broken.toml").write_text('title = "x')
    (folder / ".hidden.toml").write_text(text)
    told = nobody.get("/plans").json
    assert told
    broken, lamp = told["plans"]
    assert (broken["name"], broken["title"], lamp["name"]) == ("broken", None, "lamp foot")
    assert "not TOML" in broken["problems"][0]
    assert (lamp["title"], lamp["problems"]) == (tomllib.loads(text)["title"], [])
    one = nobody.get("/plan?name=lamp+foot").json
    assert one == {"name": "lamp foot", "text": text, "sha256": lamp["sha256"]}
    assert plc.post("/commands/start", {"plan": one["text"]}).status_code == 200
    assert peer.started[0].plan == text
    for name in ("none", "../record", "..", "/etc/passwd", ".hidden", "%00"):
        problem(nobody.get(f"/plan?name={name}"), problems.NOT_FOUND)
    problem(nobody.get("/plan"), problems.INVALID)
    folder.joinpath("latin.toml").write_bytes(b"\xff")
    problem(nobody.get("/plan?name=latin"), problems.NO_RECORD)


def test_a_machine_commands_by_its_tokens_name(plc: Machine, peer: Any) -> None:
    for act in ("hold", "resume", "stop", "abort", "reset"):
        done = plc.post(f"/commands/{act}")
        assert done.status_code == 200
        assert Status.model_validate(done.json["status"]) == peer.status  # type: ignore[index]
    assert peer.acts == [(act, "token plc") for act in ("hold", "resume", "stop", "abort", "reset")]
    assert plc.post("/commands/start", {"plan": PLAN}).status_code == 200
    (started,) = peer.started
    assert (started.plan, started.goes_on_from, started.who, started.where) == (
        PLAN, None, "token plc", f"API, {PLC}",
    )  # fmt: skip
    peer.warning = "the run has started, but is not on the disk yet"
    told = plc.post("/commands/start", {"goes_on_from": 12}).json
    assert told
    assert told["warning"] == peer.warning
    assert peer.started[1].goes_on_from == 12


def test_a_plan_is_looked_at_without_starting_it(plc: Machine, peer: Any) -> None:
    peer.foreseen = ("the target is reached after 7 h",)
    told = plc.post("/commands/start", {"plan": PLAN, "check": True}).json
    assert told
    assert told["notes"] == ["the target is reached after 7 h"]
    assert peer.started == []


def test_a_plan_as_long_as_a_plan_may_be_is_taken(plc: Machine, peer: Any) -> None:
    assert plc.post("/commands/start", {"plan": "#" * 50_000}).status_code == 200
    told = problem(plc.post("/commands/start", {"plan": "#" * 50_001}), problems.INVALID)
    assert told["errors"][0]["where"] == "plan"
    problem(plc.post("/commands/start", {"plan": "#" * 64_000}), problems.TOO_LARGE)
    problem(plc.post("/commands/reset", {"x": "#" * 9_000}), problems.TOO_LARGE)
    assert len(peer.started) == 1
    assert peer.acts == []


def test_what_the_daemon_refuses_is_a_conflict_and_what_it_cannot_use_is_not(
    plc: Machine, peer: Any
) -> None:
    peer.refusal = "resume is not possible while running; possible: hold, stop, abort"
    told = problem(plc.post("/commands/resume"), problems.REFUSED)
    assert told["detail"] == f"{peer.refusal}. Nothing was done."
    peer.refusal, peer.unusable = "plan: area is missing", True
    told = problem(plc.post("/commands/start", {"plan": PLAN}), problems.INVALID)
    assert told["detail"] == "plan: area is missing. Nothing was done."


def test_a_daemon_without_an_answer_leaves_it_open(plc: Machine, peer: Any) -> None:
    peer.stop()
    told = problem(plc.post("/commands/stop"), problems.UNSURE)
    assert "is not known" in told["detail"]
    problem(plc.post("/alarms/acknowledge"), problems.UNSURE)
    problem(plc.post("/alarms/3/acknowledge"), problems.SILENT)


def test_alarms_are_acknowledged_and_shelved(
    plc: Machine, caller: Machine, peer: Any, make_status: Callable[..., Status],
    whisker: Callable[..., AlarmStatus],
) -> None:  # fmt: skip
    peer.status = make_status(alarms=(whisker(),))
    told = caller.get("/alarms").json
    assert told
    assert [each["number"] for each in told["alarms"]] == [3]
    assert caller.post("/alarms/3/acknowledge").status_code == 200
    assert caller.post("/alarms/acknowledge").status_code == 200
    assert plc.post("/alarms/3/shelve", {"for_s": 3600}).status_code == 200
    assert plc.post("/alarms/3/unshelve").status_code == 200
    assert [(each.ask, each.alarm, each.for_s, each.who) for each in peer.attended] == [
        ("acknowledge", 3, 0, "token pager"), ("acknowledge", None, 0, "token pager"),
        ("shelve", 3, 3600, "token plc"), ("unshelve", 3, 0, "token plc"),
    ]  # fmt: skip
    problem(caller.post("/alarms/4/acknowledge"), problems.NOT_FOUND)
    problem(plc.post("/alarms/3/shelve"), problems.INVALID)
    for for_s in (0, -1, "60", None, True, 1e400):
        problem(plc.post("/alarms/3/shelve", {"for_s": for_s}), problems.INVALID)
    assert len(peer.attended) == 4


def test_a_token_may_what_it_was_given_and_no_more(
    reader: Machine, caller: Machine, nobody: Machine, peer: Any
) -> None:
    acknowledging = ("/alarms/acknowledge", "/alarms/3/acknowledge")
    commanding = (
        "/commands/start", "/commands/resume", "/commands/reset", "/alarms/3/shelve",
        "/alarms/3/unshelve",
    )  # fmt: skip
    for path in (*acknowledging, *commanding):
        told = problem(reader.post(path), problems.NO_RIGHT)
        assert told["detail"] == "The token 'logger' may read. Nothing was done."
        refused = nobody.post(path)
        problem(refused, problems.NO_TOKEN)
        assert refused.headers["WWW-Authenticate"] == 'Bearer realm="tankhand"'
    for path in commanding:
        problem(caller.post(path), problems.NO_RIGHT)
    assert (peer.acts, peer.started, peer.attended) == ([], [], [])


@pytest.mark.parametrize("reading", ["anyone", "operators"])
@pytest.mark.parametrize("act", ["stop", "abort", "hold"])
def test_whoever_reaches_it_takes_the_current_away(
    make_app: Callable[..., Flask], tokens: Tokens, peer: Any, act: str, reading: str
) -> None:
    app = make_app(reading=reading)
    worthless = Machine(app, "tankhand_nothing")
    for machine in (Machine(app), worthless, Machine(app, tokens.add("logger", "read", now_ms()))):
        # Whatever is sent along, or nothing at all.
        for more in ({}, {"data": b"\xff{", "content_type": "text/plain"}, {"json": [1]}):
            assert machine.ask("POST", f"/commands/{act}", **more).status_code == 200
    names = [who for _, who in peer.acts]
    assert names == 6 * [f"the API at {PLC}"] + 3 * ["token logger"]
    assert peer.signed == []


def test_stop_works_while_tokens_cannot_be_read(plc: Machine, tokens: Tokens, peer: Any) -> None:
    tokens.path.write_text("spoiled")
    assert plc.post("/commands/stop").status_code == 200
    told = problem(plc.post("/commands/resume"), problems.NO_ACCESS)
    assert str(tokens.path) in told["detail"]
    assert peer.acts == [("stop", f"the API at {PLC}")]


def test_where_only_operators_look_a_machine_needs_a_token(
    make_app: Callable[..., Flask], tokens: Tokens
) -> None:
    app = make_app(reading="operators")
    reader = Machine(app, tokens.add("logger", "read", now_ms()))
    for path in ("/state", "/runs", "/runs/12", "/runs/12/readings", "/alarms", "/bath",
                 "/alarms/history", "/alarms/1", "/openapi.json"):  # fmt: skip
        refused = Machine(app).get(path)
        assert "18.2" not in refused.text
        problem(refused, problems.NO_TOKEN)
        assert reader.get(path).status_code in (200, 404)
    assert reader.get("/state").json["run"]["thickness_um"] == 18.2  # type: ignore[index]


def test_a_worthless_token_is_refused_told_and_not_tried_for_ever(
    app: Flask, plc: Machine, tokens: Tokens, peer: Any
) -> None:
    bad = Machine(app, "tankhand_x")
    for _ in range(5):
        refused = bad.get("/state")
        problem(refused, problems.WRONG_TOKEN)
        assert (
            refused.headers["WWW-Authenticate"] == 'Bearer realm="tankhand", error="invalid_token"'
        )
    waits = bad.get("/state")
    problem(waits, problems.TOO_MANY)
    assert 880 < int(waits.headers["Retry-After"]) <= 900
    # From there the right one waits too; stop does not, and from elsewhere all goes on.
    problem(plc.post("/commands/resume"), problems.TOO_MANY)
    assert plc.post("/commands/stop").status_code == 200
    elsewhere = Machine(app, plc.token, OTHER)
    assert elsewhere.post("/commands/resume").status_code == 200
    # Without a token whoever may look still does.
    assert Machine(app).get("/state").status_code == 200
    assert [(each.ask, each.who, each.where) for each in peer.signed] == 5 * [
        ("use a token", "somebody", f"API, {PLC}")
    ]
    assert all("tankhand_x" not in each.refused for each in peer.signed)


def test_many_addresses_with_old_tokens_keep_no_other_out(app: Flask, plc: Machine) -> None:
    for n in range(40):
        problem(Machine(app, "old", f"10.0.0.{n}").get("/state"), problems.WRONG_TOKEN)
    assert plc.post("/commands/resume").status_code == 200


def test_a_token_is_over_at_once_when_it_is_revoked_or_has_run_out(
    app: Flask, plc: Machine, tokens: Tokens
) -> None:
    assert plc.post("/commands/resume").status_code == 200
    tokens.revoke("plc")
    problem(plc.post("/commands/resume"), problems.WRONG_TOKEN)
    over = Machine(app, tokens.add("old", "command", now_ms() - 2000, now_ms() - 1000))
    problem(over.post("/commands/resume"), problems.WRONG_TOKEN)


def test_what_is_sent_has_to_be_json_that_fits(plc: Machine, peer: Any) -> None:
    for more in ({}, {"data": {"plan": PLAN}}, {"data": "{}", "content_type": "text/plain"}):
        problem(plc.ask("POST", "/commands/start", **more), problems.MEDIA)
    for sent in (b"", b"{", b'{"plan": "\xff"}', b'{"plan": "\\ud800"}', b"[" * 5000, b"nan"):
        told = plc.ask("POST", "/commands/start", data=sent, content_type="application/json")
        problem(told, problems.UNREADABLE)
    for sent, where in (
        ([], ""), (7, ""), ({"plan": 1}, "plan"), ({"plan": PLAN, "who": "anna"}, "who"),
        ({"goes_on_from": "12"}, "goes_on_from"), ({"check": "no"}, "check"),
    ):  # fmt: skip
        told = plc.ask("POST", "/commands/start", json=sent)
        assert [each["where"] for each in problem(told, problems.INVALID)["errors"]] == [where]
    problem(plc.post("/commands/resume", {"really": True}), problems.INVALID)
    assert (peer.started, peer.acts) == ([], [])


def test_commands_are_limited_and_stops_are_not(plc: Machine, peer: Any) -> None:
    answers = [plc.post("/commands/resume") for _ in range(21)]
    assert [each.status_code for each in answers] == 20 * [200] + [429]
    problem(answers[-1], problems.TOO_MANY)
    assert answers[-1].headers["Retry-After"] == "60"
    assert {plc.post("/commands/stop").status_code for _ in range(30)} == {200}
    assert {plc.post("/commands/abort").status_code for _ in range(30)} == {200}


def test_other_addresses_and_methods_are_told_in_the_same_shape(nobody: Machine) -> None:
    problem(nobody.get("/none"), problems.NOT_FOUND)
    wrong = nobody.get("/commands/stop")
    problem(wrong, problems.METHOD)
    assert set(wrong.headers["Allow"].split(", ")) == {"POST", "OPTIONS"}
    problem(nobody.ask("DELETE", "/runs/12"), problems.METHOD)


def test_a_failure_is_told_in_the_same_shape(app: Flask, nobody: Machine, mocker: Any) -> None:
    app.config["PROPAGATE_EXCEPTIONS"] = False
    mocker.patch("web.tank.Tank.status", side_effect=ZeroDivisionError)
    told = problem(nobody.get("/state"), problems.FAILED)
    assert "ZeroDivision" not in json.dumps(told)


def test_a_name_that_is_not_the_pages_is_told_in_the_same_shape(app: Flask) -> None:
    machine = Machine(app)
    machine.base = "http://evil.example"
    problem(machine.get("/state"), problems.UNREADABLE)


def test_a_browser_gives_no_command_to_it(
    make_app: Callable[..., Flask], place: Path, peer: Any
) -> None:
    """Neither by its cookie, nor for another site's page, which cannot send a token."""
    operators_at(place).unlink()
    app = make_app(HERE)
    here = Machine(app, where="127.0.0.1")
    here.base = "http://127.0.0.1:8080"
    foreign = ({"Origin": "http://evil.example"}, {"Sec-Fetch-Site": "cross-site"},
               {"Sec-Fetch-Site": "same-site"}, {"Origin": "null"})  # fmt: skip
    for headers in foreign:
        for act in ("stop", "resume"):
            problem(here.post(f"/commands/{act}", headers=headers), problems.FOREIGN)
    # As a foreign form, whose kinds of content need no leave, from a browser that says nothing.
    form = here.ask("POST", "/commands/resume", data="{}", content_type="text/plain")
    problem(form, problems.MEDIA)
    assert peer.acts == []
    # Without operators whoever uses this machine may do all; not through an unknown proxy.
    assert here.post("/commands/resume").status_code == 200
    problem(here.post("/commands/resume", headers={"Via": "1.1 x"}), problems.NO_TOKEN)
    # Nobody is given leave to ask across sites.
    asked = here.ask("OPTIONS", "/commands/resume", headers={"Origin": "http://evil.example"})
    assert "Access-Control-Allow-Origin" not in asked.headers


def test_a_token_needs_no_word_against_foreign_forms(plc: Machine, peer: Any) -> None:
    sent = plc.post("/commands/resume", headers={"Origin": "http://panel.example"})
    assert sent.status_code == 200
    assert peer.acts == [("resume", "token plc")]


def test_the_document_has_the_addresses_that_there_are_and_no_others(
    app: Flask, nobody: Machine
) -> None:
    told = nobody.get("/openapi.json").json
    assert told
    assert told["openapi"] == "3.1.1"
    assert told["info"]["version"] == VERSION
    documented = {(path, method.upper()) for path, item in told["paths"].items() for method in item}
    routed = {
        (rule.rule, method)
        for rule in app.url_map.iter_rules()
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
        if rule.rule.startswith("/api/v1/")
    }
    as_routed = {(re.sub(r"{\w+}", "<number>", path), method) for path, method in documented}
    assert as_routed | {("/api/v1/openapi.json", "GET")} == routed
    # What programs rely on: taking one of these away is another version.
    assert documented == {
        (f"/api/v1{path}", method)
        for method, paths in (
            ("GET", ("/state", "/runs", "/runs/{run}", "/runs/{run}/readings", "/alarms",
                     "/alarms/history", "/alarms/{alarm}", "/bath", "/plans", "/plan")),
            ("POST", ("/commands/start", "/commands/hold", "/commands/resume", "/commands/stop",
                      "/commands/abort", "/commands/reset", "/alarms/acknowledge",
                      "/alarms/{alarm}/acknowledge", "/alarms/{alarm}/shelve",
                      "/alarms/{alarm}/unshelve")),
        )
        for path in paths
    }  # fmt: skip


def test_the_document_says_what_each_needs(
    make_app: Callable[..., Flask], nobody: Machine, tokens: Tokens
) -> None:
    token, free = {"token": []}, {}
    told = nobody.get("/openapi.json").json
    assert told
    paths = told["paths"]
    assert paths["/api/v1/state"]["get"]["security"] == [free, token]
    assert paths["/api/v1/commands/stop"]["post"]["security"] == [free, token]
    assert paths["/api/v1/commands/start"]["post"]["security"] == [token]
    closed = Machine(make_app(reading="operators"), tokens.add("x", "read", now_ms()))
    told = closed.get("/openapi.json").json
    assert told
    assert told["paths"]["/api/v1/state"]["get"]["security"] == [token]


def test_people_read_the_same_on_a_page(nobody: Machine, app: Flask) -> None:
    page = app.test_client().get("/api", base_url="http://tank.lan:8080")
    assert page.status_code == 200
    told = words(page)
    for text in ("GET /api/v1/state", "POST /api/v1/commands/stop", "Needs no token.",
                 "Needs a token that may command.", "area_dm2", "number, above 0",
                 "whole number, from 1 up to 2 000"):  # fmt: skip
        assert text in told, text
    for kind in problems.KINDS:
        assert f'id="{kind.name}"' in page.text
        assert kind.title in told
