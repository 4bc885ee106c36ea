"""When a proof test is due, by the settings and the record; and what the settings say is there."""

from datetime import UTC, datetime
from types import SimpleNamespace

import pytest

from daemon.record.entries import ProofMade
from daemon.record.proofs import Proof
from daemon.service.proof.assembly import cabinet_of
from daemon.service.proof.due import Proving
from daemon.service.settings.file import read_settings

BARE = '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "b"\n'
AROUND = """\
[contactor]
heartbeat_pin = 17
[[interlock]]
name = "lid"
pin = 22
stop = "hold"
[siren]
pin = 20
[[tell]]
name = "phone"
address = "json://127.0.0.1/x"
"""
MADE = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def settings(tmp_path):
    def make(more=""):
        path = tmp_path / "settings.toml"
        path.write_text(BARE + more, encoding="utf-8")
        return read_settings(path)

    return make


def proving(settings, utc, newest=MADE):
    made = (
        None if newest is None else Proof(1, ProofMade(int(newest.timestamp() * 1000), "Ann", ()))
    )
    words = SimpleNamespace(newest_proof=made)
    return Proving(settings, words, SimpleNamespace(utc=lambda: utc))


def test_it_holds_for_as_long_as_the_settings_say(settings):
    """10 days after 1 March, noon, is 11 March, noon."""
    every = settings(AROUND + '[proof]\nevery = "10 d"\n')
    before = proving(every, datetime(2026, 3, 11, 11, 59, tzinfo=UTC))
    assert (before.due().overdue, before.sign()) == (None, None)
    assert before.due().at == datetime(2026, 3, 11, 12, 0, tzinfo=UTC)
    after = proving(every, datetime(2026, 3, 12, 13, 0, tzinfo=UTC))
    why = "the last was 11 days ago, one every 10 days is wanted"
    assert after.due().overdue == why
    assert (after.sign().cause, after.sign().seen) == ("proof test overdue", why)
    assert after.keeps_from_starting() is None


def test_one_that_is_required_keeps_runs_from_starting(settings):
    required = settings("[proof]\nrequired = true\n")
    never = proving(required, MADE, newest=None)
    assert never.keeps_from_starting() == "the ways to stop were never proved here"
    assert never.due().at is None
    assert proving(required, MADE).keeps_from_starting() is None


def test_where_nothing_is_to_be_proved_none_is_overdue(settings):
    due = proving(settings(), MADE, newest=None).due()
    assert (due.wanted, due.overdue) == (False, None)


def test_the_cabinet_is_what_the_settings_name(settings):
    read = settings(AROUND)
    limits = read.limits(0.001)
    cabinet = cabinet_of(read, limits)
    assert (cabinet.loops, cabinet.has_contactor, cabinet.limits) == (("lid",), True, limits)
    assert (cabinet.beacon, cabinet.siren, cabinet.button) == (False, True, False)
    assert cabinet.addresses == ("phone",)
    assert not cabinet_of(settings(), settings().limits(0.001)).has_contactor
