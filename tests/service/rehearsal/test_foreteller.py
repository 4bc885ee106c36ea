"""Runs that are foretold while they are under way, in a process of its own."""

import json
import threading

import pytest

from daemon.api.errors import InputError
from daemon.api.socket.messages import RehearseRequest
from daemon.api.socket.rehearsal import BandRow, RangeMessage, Rehearsal
from daemon.service.rehearsal.apart import Apart, Request
from daemon.service.rehearsal.foreteller import Foreteller

SETTINGS = """\
supply = { port = "none", greatest_current = "5 A" }
[bath]
name = "bath A"
volume = "12 L"
"""

PLAN = """\
title = "Night"
area = "2 dm²"
target = "5 µm"
voltage_ceiling = "6 V"
caps = { charge = "5 Ah", duration = "8 h" }
[[stage]]
name = "build"
current = "4 A"
"""


def a_range(middle):
    return RangeMessage(least=middle - 0.1, middle=middle, greatest=middle + 0.1)


FOUND = Rehearsal(
    title="Night", bath="bath A", target_um=5.0, area_dm2=2.0, because=(),
    duration_s=a_range(700.0),
    band=(BandRow(stage=0, charge_ah=0.0, voltage_v=a_range(0.6), temperature_c=a_range(22.0)),),
)  # fmt: skip
REQUEST = Request(settings="none", plan=PLAN)


def foretold(rehearse, under_way=True):
    posted = []
    teller = Foreteller(rehearse, posted.append, lambda _: under_way, after_s=0.0)
    teller.begin(7, REQUEST).join()
    return posted


def test_a_run_is_foretold_with_its_band():
    (told,) = foretold(lambda _: FOUND)
    assert told.run_id == told.outlook.run_id == 7
    assert told.event.kind == "foretold"
    assert told.event.text == "would work: 5 µm in 12 min"
    assert Rehearsal.model_validate_json(told.event.data["rehearsal"]) == FOUND


def test_what_cannot_be_foretold_says_why():
    def fail(_):
        raise InputError("rehearsal", ("came to nothing: no memory",))

    (told,) = foretold(fail)
    assert told.outlook is None
    assert told.event.kind == "not foretold"
    assert "no memory" in told.event.text


def test_a_run_that_is_over_is_not_foretold():
    assert foretold(lambda _: FOUND, under_way=False) == []


def test_nothing_is_begun_once_it_was_stopped():
    posted = []
    teller = Foreteller(lambda _: FOUND, posted.append, lambda _: True, after_s=3600.0)
    thread = teller.begin(7, REQUEST)
    teller.stop()
    thread.join()
    assert posted == []


@pytest.fixture
def apart(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    return Apart(path, threading.Lock())


def test_the_process_rehearses(apart):
    """5 µm on 2 dm² are 0.7558 Ah (a fifth of 3.779, see test_walked.py)."""
    asked = RehearseRequest(plan=PLAN, mishaps=())
    found = apart.rehearse(apart.of(asked, 25.0))
    assert found.works
    assert found.charge_ah.middle == pytest.approx(0.7558, rel=1e-3)
    assert found.taught.start_c == 25.0
    assert found.mishaps == ()
    assert found.band
    assert len(json.dumps(found.model_dump())) < 64_000


def test_and_says_what_cannot_be_used(apart):
    with pytest.raises(InputError, match="target"):
        apart.rehearse(apart.of(RehearseRequest(plan='title = "Night"'), None))


def test_one_at_a_time(apart):
    with apart.busy, pytest.raises(InputError, match="another one is under way"):
        apart.rehearse(REQUEST)


def test_one_that_takes_too_long_is_ended(apart):
    hurried = Apart(apart.settings, threading.Lock(), limit_s=0.01)
    with pytest.raises(InputError, match=r"took more than 0\.01 s"):
        hurried.rehearse(hurried.of(RehearseRequest(plan=PLAN), None))
    assert not hurried.busy.locked()


def test_one_that_dies_says_so(apart, mocker):
    """Nothing real that is quick kills it: its interpreter is another program here."""
    mocker.patch("daemon.service.rehearsal.apart.sys.executable", "false")
    with pytest.raises(InputError, match="came to nothing: it ended with 1"):
        apart.rehearse(REQUEST)
    mocker.patch("daemon.service.rehearsal.apart.sys.executable", "/nowhere/python")
    with pytest.raises(InputError, match="cannot be begun: No such file"):
        apart.rehearse(REQUEST)
