"""Jobs in several processes: the same as one after the other, whatever becomes of them."""

import errno
import os
import signal
from functools import partial

import pytest

from daemon.api.errors import InputError
from daemon.service.rehearsal.rehearse import rehearsed
from daemon.service.rehearsal.side_by_side import in_turn, side_by_side

HERE = os.getpid()
FORTY = list(range(1, 41))


@pytest.fixture(autouse=True)
def four_cores(mocker):
    mocker.patch("os.sched_getaffinity", return_value={0, 1, 2, 3})


def killed(number):
    if number == 5 and os.getpid() != HERE:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def refused(number):
    if number == 5:
        raise InputError("short at 9:00", ("the run is over by then",))
    return number


def test_a_rehearsal_is_the_same_as_one_after_the_other(staged):
    settings, stage = staged()
    report = rehearsed(settings, stage, None, side_by_side)
    assert report == rehearsed(settings, stage, None, in_turn)
    assert report.draws == 39
    assert len(report.mishaps) == 3


def test_it_is_done_by_other_processes_in_order():
    assert HERE not in side_by_side([os.getpid] * 40)
    assert side_by_side([partial(abs, number) for number in range(-40, 0)]) == FORTY[::-1]


def test_one_core_has_no_other_process(mocker):
    mocker.patch("os.sched_getaffinity", return_value={2})
    assert side_by_side([os.getpid] * 3) == [HERE] * 3


def test_a_process_that_is_ended_costs_nothing_but_time():
    assert side_by_side([partial(killed, number) for number in FORTY]) == FORTY


def test_where_the_system_makes_no_more_processes_this_one_does_it_all(mocker):
    refused = OSError(errno.EAGAIN, "Resource temporarily unavailable")
    mocker.patch("os.fork", side_effect=refused)
    assert side_by_side([os.getpid] * 3) == [HERE] * 3


def test_a_refusal_arrives_whole():
    with pytest.raises(InputError) as caught:
        side_by_side([partial(refused, number) for number in FORTY])
    assert str(caught.value) == "short at 9:00: the run is over by then"
    assert caught.value.problems == ("the run is over by then",)
