"""`tankhand token`: what it shows once, what it keeps, and what stands in the audit of it."""

from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from daemon.access.tokens import Tokens, tokens_at
from daemon.access.untold import Untold, untold_at
from daemon.service.commands.token import token

BASE = '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "Tank 1"\n'
UTC_NOW = datetime(2026, 3, 1, 20, 0, tzinfo=UTC)
NOW_MS = 1_772_395_200_000


@pytest.fixture
def tokens(tmp_path):
    return Tokens(tokens_at(tmp_path / "record.sqlite"))


@pytest.fixture
def untold(tmp_path):
    """What waits for the audit: here is no daemon."""
    found = Untold(untold_at(tmp_path / "record.sqlite"))
    return lambda: [(each.who, each.where, each.what, each.about) for each in found.all()]


@pytest.fixture
def call(tmp_path, monkeypatch):
    monkeypatch.setattr("daemon.clock.SystemClock.utc", lambda _: UTC_NOW)
    monkeypatch.setenv("LOGNAME", "root")
    monkeypatch.setenv("SUDO_USER", "anna")

    def call(*words):
        path = tmp_path / "settings.toml"
        path.write_text(BASE)
        result = CliRunner().invoke(token, [*words, "--settings", str(path)])
        assert result.exception is None or isinstance(result.exception, SystemExit)
        return result.exit_code, result.stdout.splitlines(), result.stderr.splitlines()

    return call


def test_one_is_made_and_shown_once(call, tokens, untold):
    code, out, err = call("add", "press room", "--right", "acknowledge", "--days", "90")
    assert code == 0
    assert len(out) == 1
    assert err == ["press room: may acknowledge, until 2026-05-30. It is shown this once."]
    found = tokens.find(out[0], NOW_MS)
    assert (found.name, found.right) == ("press room", "acknowledge")
    assert found.ends_utc_ms - NOW_MS == 90 * 86_400_000
    assert out[0] not in "".join(call("list")[1])
    assert untold() == [
        ("root", "command line, by sudo of anna", "make a token",
         "press room: may acknowledge, until 2026-05-30")
    ]  # fmt: skip


def test_they_are_listed_with_what_they_may(call, tokens):
    assert call("list") == (0, ["There is no token."], [])
    call("add", "plc", "--right", "command")
    tokens.add("old", "read", NOW_MS - 2 * 86_400_000, NOW_MS - 86_400_000)
    assert call("list") == (
        0,
        ["plc, since 2026-03-01: may command",
         "old, since 2026-02-27: may read, until 2026-02-28: over"],
        [],
    )  # fmt: skip


def test_one_is_revoked(call, tokens, untold):
    shown = call("add", "plc", "--right", "command")[1][0]
    assert call("revoke", "eve") == (1, [], ["tankhand: 'eve' is no token: there is plc"])
    assert call("revoke", "PLC") == (0, ["plc is worth nothing any more."], [])
    assert tokens.find(shown, NOW_MS) is None
    assert [(what, about) for _, _, what, about in untold()] == [
        ("make a token", "plc: may command"), ("revoke a token", "plc")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("add", "plc", "--right", "command"), "tankhand: there is a token 'plc' already"),
        (("add", "", "--right", "read"), "tankhand: '' is no token's name"),
        (("add", "b", "--right", "all"), "'all' is not one of 'read', 'acknowledge', 'command'"),
        (("add", "b", "--right", "read", "--days", "0"), "0 is not in the range 1<=x<=3650"),
        (("add", "b"), "Missing option '--right'"),
    ],
)
def test_what_cannot_be_made_is_told(call, tokens, words, said):
    tokens.add("plc", "read", NOW_MS)
    code, out, err = call(*words)
    assert (code, out) == (2, [])
    assert said in " ".join(err)
    assert [each.right for each in tokens.all()] == ["read"]


def test_a_spoiled_file_is_told_and_kept(call, tokens):
    tokens.path.write_text("spoiled")
    tokens.path.chmod(0o600)
    for words in (("add", "plc", "--right", "read"), ("list",), ("revoke", "plc")):
        code, out, err = call(*words)
        assert (code, out) == (1, [])
        assert err == [f"tankhand: {tokens.path}: holds no tokens as tankhand keeps them"]
    assert tokens.path.read_text() == "spoiled"


def test_a_folder_that_takes_nothing_is_told(call, tokens, mocker):
    refused = OSError(30, "Read-only file system")
    mocker.patch("daemon.access.tokens.write_private", side_effect=refused)
    assert call("add", "plc", "--right", "read") == (
        1, [], [f"tankhand: {tokens.path}: cannot be changed: Read-only file system"],
    )  # fmt: skip


def test_an_audit_that_takes_nothing_is_told_after_the_token(call, tokens, mocker):
    refused = OSError(28, "No space left on device")
    mocker.patch("daemon.access.untold.write_private", side_effect=refused)
    code, out, err = call("add", "plc", "--right", "read")
    assert code == 1
    assert tokens.find(out[0], NOW_MS) is not None
    assert err[-1].startswith("tankhand: this was done, and the audit cannot be told: ")
