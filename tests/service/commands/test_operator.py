"""`tankhand operator`: what it says, what it keeps, and when it refuses."""

import stat
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from daemon.access.operators import Operators, operators_at
from daemon.access.passwords import Hashed, hashed
from daemon.access.sessions import Sessions, sessions_at
from daemon.access.untold import Untold, untold_at
from daemon.service.commands.operator import operator

BASE = '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "Tank 1"\n'
PASSWORD = "copper grows in the dark"
UTC_NOW = datetime(2026, 3, 1, 20, 0, tzinfo=UTC)
ON_THE_NETWORK = '[page]\nlisten = "192.168.1.7:8080"\n'


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """The check of a password is real, the hashing takes no time."""
    made = iter(range(100))

    def quick(password):
        if len(password) < 15:
            return hashed(password)
        number = next(made)
        return Hashed(bytes([number]) * 16, bytes([number]) * 32, 2**10, 1, 1)

    monkeypatch.setattr("daemon.access.operators.hashed", quick)


@pytest.fixture
def record(tmp_path):
    return tmp_path / "record.sqlite"


@pytest.fixture
def operators(record):
    return Operators(operators_at(record))


@pytest.fixture
def sessions(record):
    return Sessions(sessions_at(record), lambda: 1_772_395_200_000)


@pytest.fixture
def call(tmp_path, monkeypatch):
    monkeypatch.setattr("daemon.clock.SystemClock.utc", lambda _: UTC_NOW)
    monkeypatch.delenv("SUDO_USER", raising=False)

    def call(*words, typed="", page=""):
        path = tmp_path / "settings.toml"
        path.write_text(BASE + page)
        result = CliRunner().invoke(operator, [*words, "--settings", str(path)], input=typed)
        assert result.exception is None or isinstance(result.exception, SystemExit)
        assert PASSWORD not in result.output
        return result.exit_code, result.stdout.splitlines(), result.stderr.splitlines()

    return call


def test_what_was_done_stands_in_the_audit(call, record):
    """Here is no daemon that keeps it there, so it waits for one."""
    call("add", "anna", typed=f"{PASSWORD}\n")
    call("add", "anna", typed=f"{PASSWORD}!\n")
    call("end-sessions")
    call("end-sessions", "anna")
    call("remove", "anna")
    # What was refused, or only looked at, has changed nothing.
    call("remove", "eve")
    call("list")
    waiting = Untold(untold_at(record)).all()
    assert [(each.what, each.about) for each in waiting] == [
        ("make an operator", "anna"),
        ("give a new password", "anna"),
        ("end sessions", "everybody's"),
        ("end sessions", "anna's"),
        ("remove an operator", "anna"),
    ]
    assert {(each.utc_ms, each.where) for each in waiting} == {(1_772_395_200_000, "command line")}


def test_a_daemon_that_runs_keeps_it_in_the_audit_at_once(call, record, tmp_path, serve_access):
    call("list")  # which writes the settings
    kept = serve_access(tmp_path / "settings.toml")
    call("add", "anna", typed=f"{PASSWORD}\n")
    assert [(each.ask, each.about, each.where) for each in kept] == [
        ("make an operator", "anna", "command line")
    ]
    assert not untold_at(record).exists()


def test_one_is_made_by_the_first_line_of_what_comes_in(call, operators):
    assert call("add", "anna", typed=f"{PASSWORD}\n") == (0, ["anna is an operator."], [])
    assert [each.name for each in operators.all()] == ["anna"]
    assert stat.S_IMODE(operators.path.stat().st_mode) == 0o600
    assert PASSWORD not in operators.path.read_text()


def test_on_a_terminal_it_is_asked_for_twice_and_not_shown(call, operators, mocker):
    mocker.patch("daemon.service.commands.operator.is_terminal", return_value=True)
    code, out, _ = call("add", "anna", typed=f"{PASSWORD}\nanother\n{PASSWORD}\n{PASSWORD}\n")
    assert code == 0
    assert out[-1] == "anna is an operator."
    assert any("do not match" in line for line in out)


def test_a_new_password_ends_what_the_old_one_began(call, operators, sessions):
    call("add", "anna", typed=f"{PASSWORD}\n")
    token = sessions.begin(operators.find("anna"), "192.168.1.20")
    assert call("add", "Anna", typed=f"{PASSWORD}!\n") == (0, ["Anna has a new password."], [])
    found = sessions.find(token)
    assert found is None or found.mark != operators.find("anna").mark


@pytest.mark.parametrize(
    ("name", "typed", "said"),
    [
        ("anna", "", "the password has 0 characters: 15 to 256 are taken"),
        ("anna", "too short\n", "the password has 9 characters: 15 to 256 are taken"),
        ("", f"{PASSWORD}\n", "'' is no operator's name: 1 to 40 characters"),
        ("an\nna", f"{PASSWORD}\n", r"'an\nna' is no operator's name"),
    ],
)
def test_what_cannot_be_taken_is_told(call, operators, name, typed, said):
    code, out, err = call("add", name, typed=typed)
    assert (code, out) == (2, [])
    assert err[0].startswith(f"tankhand: {said}")
    assert operators.all() == ()


def test_they_are_listed_with_where_they_are_signed_in(call, operators, sessions):
    assert call("list") == (
        0, ["There is no operator: whoever uses this machine may act on its page."], [],
    )  # fmt: skip
    for name in ("anna", "ben"):
        call("add", name, typed=f"{PASSWORD}\n")
    sessions.begin(operators.find("ben"), "192.168.1.20")
    assert call("list") == (
        0, ["anna, since 2026-03-01", "ben, since 2026-03-01, signed in from 192.168.1.20"], [],
    )  # fmt: skip


def test_one_is_removed(call, operators):
    call("add", "anna", typed=f"{PASSWORD}\n")
    assert call("remove", "ben") == (1, [], ["tankhand: 'ben' is no operator: anna is"])
    assert call("remove", "ANNA") == (0, ["ANNA is no operator any more."], [])
    assert operators.all() == ()


def test_the_last_one_stays_while_the_page_is_for_others(call, operators):
    for name in ("anna", "ben"):
        call("add", name, typed=f"{PASSWORD}\n", page=ON_THE_NETWORK)
    assert call("remove", "ben", page=ON_THE_NETWORK)[0] == 0
    code, out, err = call("remove", "anna", page=ON_THE_NETWORK)
    assert (code, out) == (1, [])
    assert err == [
        "tankhand: anna is the last operator, and the page at 192.168.1.7:8080 needs one: add "
        "another one first, or have it listen on 127.0.0.1"
    ]
    assert [each.name for each in operators.all()] == ["anna"]
    assert call("remove", "anna", page=ON_THE_NETWORK + "on = false\n")[0] == 0


def test_sessions_are_ended(call, operators, sessions):
    for name in ("anna", "ben"):
        call("add", name, typed=f"{PASSWORD}\n")
    for name in ("anna", "anna", "ben"):
        sessions.begin(operators.find(name), "192.168.1.20")
    assert call("end-sessions", "eve") == (1, [], ["tankhand: 'eve' is no operator"])
    assert call("end-sessions", "ben") == (0, ["1 session has ended."], [])
    assert [each.name for each in sessions.living()] == ["anna", "anna"]
    assert call("end-sessions") == (0, ["2 sessions have ended."], [])
    assert sessions.living() == ()


def test_a_spoiled_file_is_told_and_kept(call, operators):
    operators.path.write_text("spoiled")
    operators.path.chmod(0o600)
    for words in (("add", "anna"), ("list",), ("remove", "anna")):
        code, out, err = call(*words, typed=f"{PASSWORD}\n")
        assert (code, out) == (1, [])
        assert err == [f"tankhand: {operators.path}: holds no operators as tankhand keeps them"]
    assert operators.path.read_text() == "spoiled"


def test_a_folder_that_takes_nothing_is_told(call, operators, mocker):
    refused = OSError(30, "Read-only file system")
    mocker.patch("daemon.access.operators.write_private", side_effect=refused)
    assert call("add", "anna", typed=f"{PASSWORD}\n") == (
        1, [], [f"tankhand: {operators.path}: cannot be changed: Read-only file system"],
    )  # fmt: skip
