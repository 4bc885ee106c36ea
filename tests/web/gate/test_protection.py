"""Each way in which somebody else might act on the tank, or hide the page in theirs."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from reading import token


@pytest.mark.parametrize("act", ["hold", "resume", "stop", "abort", "reset"])
def test_a_form_without_its_token_does_nothing(client: FlaskClient, peer: Any, act: str) -> None:
    for data in ({}, {"csrf_token": "made up"}):
        response = client.post(f"/act/{act}", data=data)
        assert response.status_code == 400
        assert "This form is from before the page was restarted." in response.text
    assert peer.acts == []


def test_a_form_from_before_a_restart_is_one_press_away_from_a_stop(
    client: FlaskClient, make_client: Callable[[Path], FlaskClient], record: Path, peer: Any
) -> None:
    old = token(client)
    cookie = client.get_cookie("tankhand")
    assert cookie
    restarted = make_client(record)
    restarted.set_cookie("tankhand", cookie.value)
    refused = restarted.post("/act/stop", data={"csrf_token": old})
    assert refused.status_code == 400
    fresh = re.search(r'name="csrf_token" value="([^"]+)"', refused.text)
    assert fresh
    assert restarted.post("/act/stop", data={"csrf_token": fresh[1]}).status_code == 303
    assert [act for act, _ in peer.acts] == ["stop"]


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost:9999"},
        {"Origin": "https://localhost"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"},
    ],
)
def test_a_form_from_another_site_does_nothing_even_with_a_token(
    client: FlaskClient, peer: Any, headers: dict[str, str]
) -> None:
    response = client.post("/act/abort", data={"csrf_token": token(client)}, headers=headers)
    assert response.status_code == 403
    assert "This form was sent from another site." in response.text
    assert peer.acts == []


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "http://localhost"},
        {"Origin": "http://localhost", "Sec-Fetch-Site": "same-origin"},
    ],
)
def test_our_own_form_is_taken(client: FlaskClient, peer: Any, headers: dict[str, str]) -> None:
    response = client.post("/act/stop", data={"csrf_token": token(client)}, headers=headers)
    assert response.status_code == 303
    assert peer.acts == [("stop", "the page at 127.0.0.1")]


@pytest.mark.parametrize("path", ["/", "/status.json", "/act/stop", "/none"])
@pytest.mark.parametrize(
    "host", ["elsewhere.example", "192.168.1.7:8080", "127.0.0.1.example:8080", "localhost.", ""]
)
def test_a_foreign_name_is_not_answered(client: FlaskClient, path: str, host: str) -> None:
    response = client.get(path, headers={"Host": host})
    assert response.status_code == 400
    assert "18.2" not in response.text
    assert "csrf_token" not in response.text


@pytest.mark.parametrize("host", ["localhost", "localhost:8080", "127.0.0.1:8080"])
def test_our_own_names_are_answered(client: FlaskClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("act", ["hold", "resume", "stop", "abort", "reset"])
def test_looking_at_an_act_changes_nothing(client: FlaskClient, peer: Any, act: str) -> None:
    for method in ("GET", "HEAD", "PUT", "DELETE"):
        response = client.open(f"/act/{act}", method=method)
        assert response.status_code in (400, 405)
        assert response.status_code == 405 or method in ("PUT", "DELETE")
    assert "changes nothing here" in client.get(f"/act/{act}").text
    assert peer.acts == []


@pytest.mark.parametrize("act", ["start", "status", "none", "Stop"])
def test_there_are_no_other_acts(client: FlaskClient, peer: Any, act: str) -> None:
    response = client.post(f"/act/{act}", data={"csrf_token": token(client)})
    assert response.status_code == 404
    assert peer.acts == []


def test_an_oversized_form_is_not_read(client: FlaskClient, peer: Any) -> None:
    data = {"csrf_token": token(client), "more": "x" * 9000}
    response = client.post("/act/hold", data=data)
    assert response.status_code == 413
    assert "That was too much to read." in response.text
    assert peer.acts == []


def test_too_many_presses_are_told_but_stop_and_abort_always_pass(
    client: FlaskClient, peer: Any
) -> None:
    pass_ = token(client)
    held = [client.post("/act/hold", data={"csrf_token": pass_}) for _ in range(25)]
    assert [response.status_code for response in held] == [303] * 20 + [429] * 5
    assert "Too many presses in a minute." in held[-1].text
    for act in ("stop", "abort"):
        answers = [client.post(f"/act/{act}", data={"csrf_token": pass_}) for _ in range(30)]
        assert {response.status_code for response in answers} == {303}
    assert len(peer.acts) == 20 + 60


@pytest.mark.parametrize(
    "path", ["/", "/status.json", "/none", "/chart.json", "/act/stop", "/static/x/y"]
)
def test_every_answer_carries_the_protections(client: FlaskClient, path: str) -> None:
    headers = client.get(path).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self';" in policy
    assert "style-src 'self';" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cache-Control"] == "no-store"


def test_the_cookie_is_for_our_own_forms_only(client: FlaskClient) -> None:
    cookie = client.get("/").headers["Set-Cookie"]
    assert cookie.startswith("tankhand=")
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Set-Cookie" not in client.get("/status.json").headers


def test_the_page_holds_nothing_that_the_policy_forbids(client: FlaskClient) -> None:
    text = client.get("/").text
    assert not re.search(r"<script(?![^>]*\ssrc=)|\sstyle=|<style|\son\w+=|javascript:", text)
    assert set(re.findall(r'(?:href|src|action)="([^"/#]*)', text)) == {""}
