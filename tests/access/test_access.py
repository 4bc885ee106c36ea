"""Operators, passwords and sessions as they are kept: in files that open nothing to a thief."""

import hashlib
import json
import stat
import threading

import pytest

from daemon.access.errors import BadOperatorError, UnreadableError
from daemon.access.operators import Operators, operators_at
from daemon.access.passwords import Hashed, hashed, matches
from daemon.access.private_file import locked
from daemon.access.sessions import IDLE_S, LONGEST_S, MOST, SEEN_EVERY_S, Sessions

PASSWORD = "copper grows in the dark"


class Wall:
    """A wall clock that tests set."""

    def __init__(self):
        self.ms = 1_772_395_200_000

    def __call__(self):
        return self.ms

    def on(self, seconds):
        self.ms += round(seconds * 1000)


@pytest.fixture(scope="module")
def kept():
    return hashed(PASSWORD)


@pytest.fixture
def operators(tmp_path):
    return Operators(operators_at(tmp_path / "record.sqlite"))


@pytest.fixture
def quick(monkeypatch):
    """Hashing that takes no time, where a test asks nothing of it."""
    made = iter(range(100))
    monkeypatch.setattr(
        "daemon.access.operators.hashed",
        lambda _: Hashed(bytes([next(made)]) * 16, bytes([next(made)]) * 32, 2**10, 1, 1),
    )


@pytest.fixture
def anna(operators, quick):
    operators.add("anna", PASSWORD, 1)
    return operators.find("anna")


def test_scrypt_is_that_of_rfc_7914():
    """RFC 7914, 12, third vector; its first 32 bytes are the key of that length."""
    key = "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
    kept = Hashed(b"SodiumChloride", bytes.fromhex(key), 16384, 8, 1)
    assert matches("pleaseletmein", kept)
    assert not matches("pleaseletmeln", kept)


def test_a_password_is_known_again_and_no_other():
    key = hashlib.scrypt(PASSWORD.encode(), salt=b"salt", n=2**10, r=8, p=1, dklen=32)
    kept = Hashed(b"salt", key, 2**10, 8, 1)
    assert matches(PASSWORD, kept)
    for other in ("", PASSWORD[:-1], PASSWORD + " ", PASSWORD.upper(), "x" * 5000, "\ud800"):
        assert not matches(other, kept)
    assert not matches(PASSWORD, None)


def test_it_costs_what_the_cheat_sheet_says(kept):
    """OWASP, Password Storage Cheat Sheet: N=2^15 (32 MiB), r=8, p=3."""
    assert (kept.cost, kept.block, kept.lanes) == (32768, 8, 3)
    assert (len(kept.salt), len(kept.key)) == (16, 32)


def test_letters_of_two_parts_are_those_of_one():
    composed, apart = "bl\u00e5bærgrød om natten", "bla\u030abærgrød om natten"
    assert matches(apart, hashed(composed))


@pytest.mark.parametrize("password", ["", "x" * 14, "x" * 257])
def test_nothing_but_the_length_is_asked_of_a_password(password):
    with pytest.raises(BadOperatorError, match=r"15 to 256 are taken") as said:
        hashed(password)
    assert f"has {len(password)} characters" in str(said.value)
    assert "xx" not in str(said.value)


def test_each_password_has_its_salt(operators):
    operators.add("anna", PASSWORD, 1)
    operators.add("ben", PASSWORD, 2)
    anna, ben = operators.all()
    assert anna.password.salt != ben.password.salt
    assert anna.password.key != ben.password.key
    text = operators.path.read_text()
    assert PASSWORD not in text
    key = hashlib.scrypt(
        PASSWORD.encode(), salt=ben.password.salt, n=2**15, r=8, p=3, maxmem=2**26, dklen=32
    )
    assert key.hex() in text


def test_nobody_else_may_read_them(operators, anna):
    assert stat.S_IMODE(operators.path.stat().st_mode) == 0o600
    operators.path.chmod(0o640)
    with pytest.raises(UnreadableError, match=r"others may read.*mode 640.*chmod 600"):
        Operators(operators.path).all()


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", '{"operators": [{}]}', '{"operators": [], "more": 1}', "\xff",
     '{"operators":[{"name":"a","since_utc_ms":1,"salt":"zz","key":"0","cost":1024,"block":8,'
     '"lanes":1}]}'],
)  # fmt: skip
def test_a_spoiled_file_lets_nobody_in(operators, text):
    operators.path.write_bytes(text.encode("latin-1"))
    operators.path.chmod(0o600)
    with pytest.raises(UnreadableError):
        operators.all()
    with pytest.raises(UnreadableError):
        operators.remove("anna")
    assert operators.path.read_bytes() == text.encode("latin-1")


def test_a_spoiled_cost_is_refused_before_it_costs_memory(operators, anna):
    kept = json.loads(operators.path.read_text())
    kept["operators"][0]["cost"] = 2**40
    operators.path.write_text(json.dumps(kept))
    with pytest.raises(UnreadableError):
        operators.all()


def test_a_link_in_its_place_is_not_followed(operators, tmp_path):
    (tmp_path / "elsewhere").write_text('{"operators": []}')
    (tmp_path / "elsewhere").chmod(0o600)
    operators.path.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(UnreadableError):
        operators.all()


@pytest.mark.parametrize("name", ["", "  ", "x" * 41, "an\nna", "an\x00na", "an\u202ena"])
def test_a_name_that_cannot_be_shown_is_not_taken(operators, quick, name):
    with pytest.raises(BadOperatorError, match="is no operator's name: 1 to 40"):
        operators.add(name, PASSWORD, 1)
    assert not operators.path.exists()


def test_a_name_is_one_whatever_its_case(operators, quick):
    assert operators.add("Bj\u00f6rn", PASSWORD, 1)
    assert not operators.add("BJO\u0308RN", PASSWORD, 2)
    assert [each.since_utc_ms for each in operators.all()] == [2]
    assert operators.find(" björn ") == operators.all()[0]
    operators.remove("björn")
    assert operators.all() == ()
    with pytest.raises(BadOperatorError, match="'björn' is no operator: nobody is"):
        operators.remove("björn")


def test_two_that_are_added_at_once_are_both_there(operators, quick):
    def add(number):
        operators.add(f"operator {number}", PASSWORD, number)

    threads = [threading.Thread(target=add, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(operators.all()) == 8


def test_a_disk_that_is_full_leaves_the_old_file(operators, anna, mocker):
    before = operators.path.read_bytes()
    mocker.patch("daemon.access.private_file.os.fsync", side_effect=OSError(28, "No space left"))
    with pytest.raises(OSError, match="No space left"):
        operators.add("ben", PASSWORD, 2)
    assert operators.path.read_bytes() == before


@pytest.fixture
def wall():
    return Wall()


@pytest.fixture
def path(tmp_path):
    return tmp_path / "record.sqlite.sessions"


@pytest.fixture
def sessions(path, wall):
    return Sessions(path, wall)


def test_a_token_is_long_new_and_kept_as_its_hash_alone(sessions, anna, path):
    tokens = {sessions.begin(anna, "192.168.1.20") for _ in range(3)}
    assert len(tokens) == 3
    text = path.read_text()
    for token in tokens:
        assert len(token) >= 43  # 256 bits in base64
        assert token not in text
        assert hashlib.sha256(token.encode()).hexdigest() in text
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_it_survives_the_pages_restart(sessions, anna, wall, path):
    token = sessions.begin(anna, "192.168.1.20")
    again = Sessions(path, wall)
    found = again.find(token)
    assert (found.name, found.where, found.mark) == ("anna", "192.168.1.20", anna.mark)
    assert again.find(token[:-1]) is None
    assert again.find("") is None
    # Nobody signs in with what stands in the file.
    assert again.find(found.token_sha256) is None


def test_it_ends_when_nobody_has_looked_for_a_night(sessions, anna, wall):
    token = sessions.begin(anna, "here")
    wall.on(IDLE_S - 1)
    sessions.look(sessions.find(token))
    wall.on(IDLE_S - 1)
    assert sessions.find(token)
    wall.on(1)
    assert sessions.find(token) is None


def test_it_ends_after_a_week_however_often_somebody_looks(sessions, anna, wall):
    token = sessions.begin(anna, "here")
    lasted_s = 0.0
    while found := sessions.find(token):
        sessions.look(found)
        wall.on(3 * 3600)
        lasted_s += 3 * 3600
    assert lasted_s == LONGEST_S == 7 * 86_400


def test_looks_are_noted_now_and_then_only(sessions, anna, wall, path):
    token = sessions.begin(anna, "here")
    began_ms = wall.ms
    wall.on(SEEN_EVERY_S - 1)
    sessions.look(sessions.find(token))
    assert sessions.find(token).seen_utc_ms == began_ms
    wall.on(1)
    with locked(path.parent):  # a command changes it: nobody waits for that
        sessions.look(sessions.find(token))
    assert sessions.find(token).seen_utc_ms == began_ms
    sessions.look(sessions.find(token))
    assert sessions.find(token).seen_utc_ms == wall.ms


def test_a_clock_that_is_set_back_ends_it(sessions, anna, wall):
    token = sessions.begin(anna, "here")
    wall.on(-200)
    assert sessions.find(token)
    wall.on(-200)
    assert sessions.find(token) is None


def test_one_or_all_can_be_ended(sessions, operators, anna, wall, path):
    operators.add("ben", PASSWORD, 2)
    ben = operators.find("ben")
    tokens = [sessions.begin(each, "here") for each in (anna, anna, ben)]
    elsewhere = Sessions(path, wall)
    elsewhere.end(tokens[0])
    assert [sessions.find(token) is not None for token in tokens] == [False, True, True]
    assert elsewhere.end_all("anna") == 1
    assert [sessions.find(token) is not None for token in tokens] == [False, False, True]
    assert elsewhere.end_all() == 1
    assert sessions.living() == ()


def test_there_are_no_more_than_fifty(sessions, anna):
    tokens = [sessions.begin(anna, "here") for _ in range(MOST + 1)]
    assert sessions.find(tokens[0]) is None
    assert sessions.find(tokens[1])
    assert len(sessions.living()) == 50


@pytest.mark.parametrize("text", ["", "{}", "[", '{"sessions": [1]}', "\xff"])
def test_a_spoiled_file_has_everybody_sign_in_anew(sessions, anna, path, text):
    token = sessions.begin(anna, "here")
    path.write_bytes(text.encode("latin-1"))
    assert sessions.find(token) is None
    assert sessions.find(sessions.begin(anna, "here"))


def test_a_new_password_has_another_mark(operators, anna):
    operators.add("anna", PASSWORD, 2)
    assert operators.find("anna").mark != anna.mark
    assert anna.mark not in operators.path.read_text()
