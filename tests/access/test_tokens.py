"""Machines' tokens as they are kept, and what waits for the audit."""

import hashlib
import json
import stat

import pytest

from daemon.access.errors import BadTokenError, UnreadableError
from daemon.access.tokens import MOST, TOKEN_RIGHTS, Tokens, tokens_at
from daemon.service.commands.token import RIGHTS

DAY_MS = 86_400_000
NOW_MS = 1_772_395_200_000


@pytest.fixture
def tokens(tmp_path):
    return Tokens(tokens_at(tmp_path / "record.sqlite"))


def test_a_token_is_known_by_what_was_shown_and_kept_as_its_hash_alone(tokens):
    shown = tokens.add("press room", "read", NOW_MS)
    found = tokens.find(shown, NOW_MS)
    assert (found.name, found.right, found.ends_utc_ms) == ("press room", "read", None)
    text = tokens.path.read_text()
    assert shown not in text
    assert shown.removeprefix("tankhand_") not in text
    # FIPS 180-4's hash of what was shown, as any other program works it out.
    assert json.loads(text)["tokens"][0]["sha256"] == hashlib.sha256(shown.encode()).hexdigest()
    assert stat.S_IMODE(tokens.path.stat().st_mode) == 0o600
    # 256 random bits are 43 characters of 6 bits each (RFC 4648, 5).
    assert len(shown.removeprefix("tankhand_")) == 43


def test_nothing_else_is_one(tokens):
    shown = tokens.add("press room", "command", NOW_MS)
    kept = json.loads(tokens.path.read_text())["tokens"][0]["sha256"]
    for other in ("", "x", shown[:-1], shown + "x", shown.upper(), kept, "\udc80", "ü" * 50):
        assert tokens.find(other, NOW_MS) is None


def test_it_ends_when_it_was_said_to_and_at_once_when_revoked(tokens):
    ends = tokens.add("short", "read", NOW_MS, NOW_MS + DAY_MS)
    stays = tokens.add("long", "read", NOW_MS)
    assert tokens.find(ends, NOW_MS + DAY_MS - 1) is not None
    assert tokens.find(ends, NOW_MS + DAY_MS) is None
    # A clock that was set back does not give a token that ends its life again.
    assert tokens.find(ends, NOW_MS - DAY_MS) is None
    assert tokens.find(stays, NOW_MS - DAY_MS) is not None
    other = Tokens(tokens.path)
    assert other.revoke("LONG").name == "long"
    assert tokens.find(stays, NOW_MS) is None


def test_what_cannot_be_made_or_revoked_is_told(tokens):
    tokens.add("plc", "read", NOW_MS)
    with pytest.raises(BadTokenError, match="there is a token 'PLC' already: revoke it first"):
        tokens.add("PLC", "command", NOW_MS)
    with pytest.raises(BadTokenError, match="' ' is no token's name: 1 to 40 characters"):
        tokens.add(" ", "read", NOW_MS)
    with pytest.raises(BadTokenError, match="'eve' is no token: there is plc"):
        tokens.revoke("eve")
    assert [(each.name, each.right) for each in tokens.all()] == [("plc", "read")]


def test_there_are_so_many_at_most(tokens):
    kept = [
        {"name": f"t{n}", "right": "read", "since_utc_ms": 1, "ends_utc_ms": None,
         "sha256": f"{n:064x}"}
        for n in range(MOST)
    ]  # fmt: skip
    tokens.path.write_text(json.dumps({"tokens": kept}))
    tokens.path.chmod(0o600)
    with pytest.raises(BadTokenError, match="there are 100 tokens, which is the most"):
        tokens.add("one more", "read", NOW_MS)


@pytest.mark.parametrize("text", ["spoiled", '{"tokens": [{"name": "x"}]}', "[]"])
def test_a_spoiled_file_lets_nobody_in(tokens, text):
    shown = tokens.add("plc", "read", NOW_MS)
    tokens.path.write_text(text)
    with pytest.raises(UnreadableError, match="holds no tokens as tankhand keeps them"):
        tokens.find(shown, NOW_MS)
    tokens.path.chmod(0o644)
    with pytest.raises(UnreadableError, match="others may read or write it"):
        tokens.find(shown, NOW_MS)


def test_the_command_line_knows_the_rights():
    assert RIGHTS == TOKEN_RIGHTS
