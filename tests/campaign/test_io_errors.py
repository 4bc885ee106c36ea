"""Some calls to the disk fail; io_errors.py has each of them fail."""

import io_errors
import pytest
from disk.failing import Fault
from disk.tracing import traces
from io_errors import KINDS, PARTS

from daemon.record.writer import Writer

pytestmark = pytest.mark.skipif(not traces(), reason="no program may be traced here")


@pytest.fixture(scope="module")
def made():
    return io_errors.made_record()


@pytest.fixture(scope="module")
def counted(made):
    return {part: io_errors.count_calls(part, made) for part in PARTS}


@pytest.mark.parametrize("for_ever", [False, True], ids=["once", "for ever"])
@pytest.mark.parametrize("kind", KINDS, ids=" ".join)
def test_a_call_that_fails_loses_nothing_that_was_acknowledged(made, kind, for_ever):
    calls, error = kind
    found = io_errors.try_one("live", Fault(calls, error, 2, for_ever), made)
    assert (found.wrong, found.unreached) == ([], 0)


def test_nor_does_one_while_a_record_is_made(made):
    found = io_errors.try_one("make", Fault("pwrite64", "EIO", 100, for_ever=False), made)
    assert (found.wrong, found.unreached) == ([], 0)
    assert found.counts["an error ended a daemon"] == 1


def test_every_call_is_counted_and_each_gets_its_turn(counted):
    assert all(number for calls in counted.values() for number in calls.values())
    jobs = list(io_errors.trials(counted, each=1))
    assert len(set(jobs)) == len(jobs)
    writes = counted["live"]["pwrite64"]
    assert ("live", Fault("pwrite64", "ENOSPC", writes, for_ever=True)) in jobs


def test_a_commit_that_only_seems_to_be_one_is_told(made, counted, monkeypatch):
    """The control: an acknowledgement that is none has to be seen."""
    flush = Writer.flush
    monkeypatch.setattr(Writer, "flush", lambda writer: flush(writer) or True)
    writes = counted["live"]["pwrite64"]
    found = io_errors.try_one("live", Fault("pwrite64", "EIO", writes // 4, for_ever=True), made)
    assert any("acknowledged entries are not there" in text for text in found.wrong)
