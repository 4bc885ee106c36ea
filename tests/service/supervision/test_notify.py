"""What a service manager is told, over the sockets that it may give."""

import os
import socket
from contextlib import suppress

import pytest

from daemon.service.supervision import notify
from daemon.service.supervision.notify import ServiceManager


class Manager:
    """A service manager's end of its socket."""

    def __init__(self, address):
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
        self._socket.bind(address)

    def heard(self):
        """The messages so far, each as its lines."""
        found = []
        while True:
            try:
                found.append(self._socket.recv(4096).decode().split("\n"))
            except BlockingIOError:
                return found

    def close(self):
        self._socket.close()


@pytest.fixture(params=["path", "abstract"])
def manager(request, tmp_path):
    """A manager, and the environment that it gives its service."""
    path = str(tmp_path / "notify")
    name = path if request.param == "path" else f"@tankhand-test-{os.getpid()}"
    manager = Manager(name.replace("@", "\0"))
    manager.environment = {"NOTIFY_SOCKET": name, "WATCHDOG_USEC": "10000000"}
    yield manager
    manager.close()


@pytest.fixture
def now(monkeypatch):
    """Moves the clock by which feeding is limited."""
    moment = [100.0]
    monkeypatch.setattr(notify.time, "monotonic", lambda: moment[0])
    return moment


def test_ready_is_told_with_a_status_and_the_usual_limit(manager):
    service = ServiceManager(manager.environment)
    assert not service.knows_ready
    service.ready("plates\nwell")
    assert service.knows_ready
    assert manager.heard() == [["READY=1", "STATUS=plates well", "WATCHDOG_USEC=10000000"]]


def test_the_watchdog_is_fed_four_times_within_its_limit_however_often_there_is_proof(manager, now):
    service = ServiceManager(manager.environment)
    for _ in range(1000):
        service.well()
        now[0] += 0.01
    assert manager.heard() == [["WATCHDOG=1"]] * 4


def test_stopping_is_told_with_the_time_that_it_takes(manager):
    ServiceManager(manager.environment).stopping(50.0)
    assert manager.heard() == [["STOPPING=1", "WATCHDOG_USEC=50000000"]]


def test_the_limit_is_extended_once_until_ready_is_told_again(manager):
    service = ServiceManager(manager.environment)
    service.ready("up")
    service.restoring("the loop died", 190.0)
    service.restoring("it died again", 190.0)
    service.ready("up again")
    service.restoring("the loop died once more", 190.0)
    assert manager.heard() == [
        ["READY=1", "STATUS=up", "WATCHDOG_USEC=10000000"],
        ["STATUS=the loop died", "WATCHDOG_USEC=190000000"],
        ["STATUS=it died again"],
        ["READY=1", "STATUS=up again", "WATCHDOG_USEC=10000000"],
        ["STATUS=the loop died once more", "WATCHDOG_USEC=190000000"],
    ]


@pytest.mark.parametrize(
    "watchdog",
    [{}, {"WATCHDOG_USEC": "0"}, {"WATCHDOG_USEC": "10 s"}, {"WATCHDOG_PID": "1"}],
    ids=["none", "zero", "garbage", "another's"],
)
def test_without_a_watchdog_of_ours_it_is_neither_fed_nor_set(manager, watchdog):
    address = {"NOTIFY_SOCKET": manager.environment["NOTIFY_SOCKET"]}
    service = ServiceManager({**address, "WATCHDOG_USEC": "10000000", **watchdog}
                             if watchdog else address)  # fmt: skip
    service.ready("up")
    service.well()
    service.restoring("dead", 10.0)
    service.stopping(10.0)
    assert manager.heard() == [
        ["READY=1", "STATUS=up"],
        ["STATUS=dead"],
        ["STOPPING=1"],
    ]


def test_a_watchdog_of_this_process_is_fed(manager):
    environment = {**manager.environment, "WATCHDOG_PID": str(os.getpid())}
    ServiceManager(environment).well()
    assert manager.heard() == [["WATCHDOG=1"]]


def test_a_manager_that_takes_nothing_holds_nobody_up_and_is_told_again(manager, now):
    service = ServiceManager(manager.environment)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as other:
        other.connect(manager.environment["NOTIFY_SOCKET"].replace("@", "\0"))
        with suppress(BlockingIOError):
            while True:
                other.send(b"noise")
    service.ready("up")
    service.well()
    assert not service.knows_ready
    manager.heard()
    service.ready("up")
    service.well()
    assert service.knows_ready
    assert [lines[0] for lines in manager.heard()] == ["READY=1", "WATCHDOG=1"]


def test_a_manager_that_is_gone_is_no_trouble(tmp_path):
    service = ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "none"), "WATCHDOG_USEC": "1000000"})
    service.ready("up")
    service.well()
    service.stopping(1.0)
    assert not service.knows_ready


def test_without_a_manager_there_is_nobody_to_tell():
    service = ServiceManager({"WATCHDOG_USEC": "1000000"})
    assert service.knows_ready
    service.ready("up")
    service.well()
    service.restoring("dead", 1.0)
    service.stopping(1.0)
