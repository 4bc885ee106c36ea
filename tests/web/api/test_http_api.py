"""A little of the campaign on the HTTP API, with a made-up daemon, by each kind of token."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from daemon.api.socket.messages import AlarmStatus, Status

# The campaign's program stands beside these tests, with the other campaigns.
sys.path.append(str(Path(__file__).parents[2] / "campaign"))

import http_api

SEED = 20261126


@pytest.mark.parametrize(
    ("right", "accepted"),
    [("read", http_api.FREE),
     ("command", http_api.FREE | {"resume", "reset", "acknowledge", "shelve", "unshelve"})],
)  # fmt: skip
def test_what_it_answers_is_what_its_document_says(
    peer: Any, bath_record: Path, right: Any, accepted: set[str], monkeypatch: pytest.MonkeyPatch,
    whisker: Callable[..., AlarmStatus], make_status: Callable[..., Status],
) -> None:  # fmt: skip
    monkeypatch.setattr("web.tank.KEEP_S", -1.0)
    peer.status = make_status(alarms=(whisker(number=1),))
    shown = http_api.token(bath_record, right)
    with http_api.serving(peer.path, bath_record) as address:
        asked = http_api.ask(address, shown, examples=0, seed=SEED)
    assert asked.defects == []
    # Each operation was reached, and each way in which one says no that can be had here.
    no = {401, 403, 404, 405, 422} if right == "read" else {401, 404, 405, 415, 422}
    assert asked.statuses.keys() == {200, *no}
    assert asked.statuses.total() > 300
    assert {act for act, _ in peer.acts} == accepted
    assert bool(peer.started) == (right == "command")
    assert {who for _, who in peer.acts} <= {f"token {right}", "the API at 127.0.0.1"}


def test_a_document_that_says_something_else_is_found(
    peer: Any, bath_record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """That it can fail: an answer that the document does not have, and an error of 500."""
    monkeypatch.setattr("web.api.views.Views.runs", lambda *_: 1 / 0)
    monkeypatch.setattr("web.api.document.Problem", Status)
    shown = http_api.token(bath_record, "read")
    with http_api.serving(peer.path, bath_record) as address:
        asked = http_api.ask(address, shown, examples=0, seed=SEED, only="/api/v1/runs")
    told = "\n".join(asked.defects)
    assert "GET /api/v1/runs: not_a_server_error" in told
    assert "response_schema_conformance" in told
