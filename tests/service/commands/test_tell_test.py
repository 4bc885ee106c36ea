"""`tankhand tell-test` with a receiver on a real socket: what it says, and its exit code."""

import pytest
from click.testing import CliRunner

from daemon.service.commands.tell_test import tell_test
from tests.receiver import Receiver

BASE = '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "Tank 1"\n'


@pytest.fixture
def receiver():
    """One that takes what is sent to /ok and refuses all else."""
    with Receiver() as receiver:
        receiver.takes = "/ok"
        yield receiver


@pytest.fixture
def call(tmp_path):
    def call(*words, **addresses):
        path = tmp_path / "settings.toml"
        entries = [f'[[tell]]\nname = "{n}"\naddress = "{a}"\n' for n, a in addresses.items()]
        path.write_text(BASE + "".join(entries))
        result = CliRunner().invoke(tell_test, [*words, "--settings", str(path)])
        assert result.exception is None or isinstance(result.exception, SystemExit)
        assert "s3cret" not in result.output
        return result.exit_code, result.stdout.splitlines(), result.stderr.splitlines()

    return call


def test_everybody_gets_it(call, receiver):
    assert call(phone=receiver.at("/ok"), mail=receiver.at("/ok2")) == (
        0, ["phone: sent", "mail: sent"], [],
    )  # fmt: skip
    titles = {receiver.arrived.get_nowait()["title"] for _ in range(2)}
    assert titles == {"Tank 1: only a test, nothing has happened."}


def test_only_one_by_name(call, receiver):
    assert call("mail", phone=receiver.at("/ok"), mail=receiver.at("/ok")) == (
        0, ["mail: sent"], [],
    )  # fmt: skip
    assert receiver.arrived.qsize() == 1


def test_one_that_fails(call, receiver):
    code, said, errors = call(phone=receiver.at("/no"), mail=receiver.at("/ok"))
    assert code == 1
    assert said == ["phone: failed: refused with HTTP 403 (Forbidden)", "mail: sent"]
    assert errors == ["tankhand: no message was taken by phone"]


def test_a_name_that_nobody_has(call, receiver):
    code, said, errors = call("fax", phone=receiver.at(""))
    assert (code, said) == (2, [])
    assert errors == ["tankhand: NAME must be one of phone, got 'fax'"]


def test_nobody_to_tell(call):
    code, said, errors = call()
    assert (code, said) == (2, [])
    assert errors[0].endswith("settings.toml: there is no [[tell]]: nobody is told of anything")


def test_an_address_that_cannot_be(call):
    code, said, errors = call(phone="nosuch://s3cret@host")
    assert (code, said) == (2, [])
    assert len(errors) == 1
    assert "tell[1].address (phone): nothing can be sent there" in errors[0]


def test_settings_that_cannot_be_read(tmp_path):
    result = CliRunner().invoke(tell_test, ["--settings", str(tmp_path / "none.toml")])
    assert result.exit_code == 2
    assert "cannot be read" in result.stderr
