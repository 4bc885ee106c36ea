"""Every address with every method, for everybody who has no right to it: nothing is accepted."""

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from jinja2 import FileSystemBytecodeCache

from daemon.access.operators import operators_at
from daemon.access.tokens import Tokens, tokens_at
from daemon.api.listen import Listen
from web.app import create_app
from web.gate.rights import PRESSES, Right

CHANGING = ("POST", "PUT", "PATCH", "DELETE", "QUERY")
VALUES = {"ask": "resume", "what": "acknowledge", "number": 1, "kind": "water", "sha256": "0",
          "address": "copper", "tag": "x", "name": "y"}  # fmt: skip
FREE = {name.partition(" ")[0] for name, right in PRESSES.items() if right is Right.ANYONE}
BODIES: tuple[dict[str, Any], ...] = (
    {},
    {"json": {"plan": "title = 'x'", "for_s": 60}},
    {"data": {"csrf_token": "x", "amount": "1 L"}},
)


@pytest.fixture
def app(
    peer: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, templates: FileSystemBytecodeCache
) -> Flask:
    """A page on the network with an operator, who is not here."""
    monkeypatch.setattr("web.tank.KEEP_S", -1.0)
    place = tmp_path / "record.sqlite"
    kept = {"name": "anna", "since_utc_ms": 1, "salt": "00" * 16, "key": "00" * 32, "cost": 2**10,
            "block": 8, "lanes": 1}  # fmt: skip
    operators_at(place).write_text(json.dumps({"operators": [kept]}))
    operators_at(place).chmod(0o600)
    app = create_app(peer.path, place, Listen("0.0.0.0", 8080, ("tank.lan",)))
    app.jinja_env.bytecode_cache = templates
    return app


@pytest.fixture
def token(tmp_path: Path) -> Callable[[Any], str]:
    tokens = Tokens(tokens_at(tmp_path / "record.sqlite"))
    return lambda right: tokens.add(right, right, time.time_ns() // 1_000_000)


def given(peer: Any) -> list[Any]:
    """Everything that a daemon would have done."""
    return [
        *peer.acts, *peer.started, *peer.attended, *peer.entered, *peer.proved, *peer.settled,
        *peer.kept_parts, *peer.calibrations, *peer.rehearsed,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("who", "at"),
    [("nobody", "/"), ("a foreign page", "/"), ("a cookie", "/"),
     ("a wrong token", "/api"), ("read", "/api")],
)  # fmt: skip
def test_nothing_is_accepted_of_who_has_no_right(
    app: Flask, token: Callable[[Any], str], peer: Any, who: str, at: str
) -> None:
    headers = {
        "nobody": {},
        "a wrong token": {"Authorization": "Bearer tankhand_x"},
        "read": {"Authorization": f"Bearer {token('read')}"},
        "a foreign page": {"Origin": "http://evil.example", "Sec-Fetch-Site": "cross-site"},
        "a cookie": {"Cookie": "tankhand_operator=x; tankhand=x", "X-CSRFToken": "x"},
    }[who]
    adapter, client = app.url_map.bind("tank.lan:8080"), app.test_client()
    asked = 0
    for rule in app.url_map.iter_rules():
        if not rule.rule.startswith(at) or (rule.endpoint in FREE and rule.endpoint != "act"):
            continue
        is_press = "POST" in (rule.methods or ())
        path = adapter.build(rule.endpoint, VALUES, method="POST" if is_press else "GET")
        for method in CHANGING:
            for body in BODIES if is_press and method == "POST" else BODIES[:1]:
                answer = client.open(
                    path, method=method, base_url="http://tank.lan:8080", headers=headers, **body
                )
                asked += 1
                assert answer.status_code in (400, 401, 403, 405, 429), (method, path)
    assert asked > (80 if at == "/api" else 400)
    assert given(peer) == []


@pytest.mark.parametrize(
    ("right", "accepted"),
    [("read", set()), ("acknowledge", {"acknowledge"}),
     ("command", {"acknowledge", "shelve", "unshelve", "resume", "reset", "start"})],
)  # fmt: skip
def test_a_token_is_accepted_for_what_it_holds(
    app: Flask, token: Callable[[Any], str], peer: Any, right: str, accepted: set[str],
    whisker: Callable[..., Any], make_status: Callable[..., Any],
) -> None:  # fmt: skip
    peer.status = make_status(alarms=(whisker(number=1),))
    headers = {"Authorization": f"Bearer {token(right)}"}
    client = app.test_client()
    for rule in app.url_map.iter_rules():
        if "POST" in (rule.methods or ()) and rule.endpoint not in FREE:
            sent = {"for_s": 60} if rule.endpoint == "api.shelve" else {}
            client.post(
                rule.rule.replace("<number>", "1"), base_url="http://tank.lan:8080",
                headers=headers, json=sent,
            )  # fmt: skip
    done = {act for act, _ in peer.acts} | {"start" for _ in peer.started}
    assert done == accepted
