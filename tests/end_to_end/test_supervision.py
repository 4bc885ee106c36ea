"""What the guard proves before a start, and what a service manager is told by real processes."""

import os
import resource
import select
import signal
import socket

import pytest

from daemon.api.socket.messages import StartRequest
from daemon.service.supervision.guard import RESTORE_LIMIT_S, STOP_LIMIT_S
from drivers.simulator.process import SimulatorProcess
from tests.plates import BRACKET as PLAN

WATCHDOG_US = 400_000
READY, FED = "READY=1", "WATCHDOG=1"
RESTORING = f"WATCHDOG_USEC={RESTORE_LIMIT_S * 1e6:.0f}"


class Manager:
    """A service manager's socket, and all that has come in, line by line."""

    def __init__(self, path):
        self.environment = {"NOTIFY_SOCKET": str(path), "WATCHDOG_USEC": str(WATCHDOG_US)}
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))
        self.lines = []

    def hear(self):
        """Take what has come; the lines since this was made."""
        while select.select([self._socket], [], [], 0)[0]:
            self.lines += self._socket.recv(4096).decode().split("\n")
        return self.lines

    def since(self, line):
        """What came after the last such line."""
        found = self.hear()
        return found[len(found) - found[::-1].index(line) :]

    def close(self):
        self._socket.close()


@pytest.fixture
def manager(tmp_path):
    manager = Manager(tmp_path / "notify")
    yield manager
    manager.close()


def test_ready_is_told_when_the_supply_was_read_and_then_beats_feed_the_watchdog(
    new_daemon, manager, wait_until
):
    daemon = new_daemon(environment=manager.environment).start().ready()
    wait_until(lambda: manager.hear().count(FED) > 5, "the watchdog is fed")
    status = next(line for line in manager.lines if line.startswith("STATUS="))
    assert manager.lines[:3] == [READY, status, f"WATCHDOG_USEC={WATCHDOG_US}"]
    assert status.startswith("STATUS=supply: ")
    assert set(manager.lines[3:]) == {FED}
    assert daemon.end() == 0
    stopping = ["STOPPING=1", f"WATCHDOG_USEC={STOP_LIMIT_S * 1e6:.0f}"]
    assert [line for line in manager.hear()[3:] if line != FED] == stopping


def test_a_loop_that_hangs_does_not_feed_and_is_replaced_in_the_time_that_was_asked_for(
    new_daemon, manager, wait_until
):
    daemon = new_daemon(environment=manager.environment).start().ready()
    wait_until(lambda: FED in manager.hear(), "the watchdog is fed")
    os.kill(daemon.loop_pid, signal.SIGSTOP)
    manager.hear()
    before = len(manager.lines)
    wait_until(lambda: RESTORING in manager.hear(), "the guard has seen it")
    silent = manager.lines[before : manager.lines.index(RESTORING)]
    # The beat limit is seven times the watchdog's: a timer would have fed some thirty times. What
    # was under way when the loop stopped may still come.
    assert silent.count(FED) <= 2
    wait_until(lambda: manager.hear().count(READY) == 2, "there is a new loop")
    between = manager.lines[manager.lines.index(RESTORING) :]
    between = between[: between.index(READY)]
    assert between == [RESTORING]
    wait_until(lambda: FED in manager.since(READY), "the watchdog is fed again")
    assert f"WATCHDOG_USEC={WATCHDOG_US}" in manager.since(READY)
    assert daemon.end() == 0


def test_loops_that_die_one_after_the_other_get_no_more_time(new_daemon, manager, wait_until):
    daemon = new_daemon(environment=manager.environment).start().ready()
    settings = daemon.settings.read_text()
    daemon.settings.write_text(settings.replace("[bath]", "[bat]"))
    os.kill(daemon.loop_pid, signal.SIGKILL)
    wait_until(lambda: daemon.said().count("the loop ended with code") > 1, "two have died")
    assert manager.hear().count(RESTORING) == 1
    assert FED not in manager.since(RESTORING)
    daemon.settings.write_text(settings)
    wait_until(lambda: manager.hear().count(READY) == 2, "the third is well")
    assert daemon.end() == 0


def test_a_daemon_that_cannot_start_never_says_that_it_is_ready(new_daemon, manager):
    daemon = new_daemon(port="/dev/ttyUSB-none", environment=manager.environment).start()
    assert daemon.process.wait(60) == 1
    assert READY not in manager.hear()
    assert FED not in manager.lines


# The proof before each start.


def start(daemon):
    return daemon.client.ask(StartRequest(plan=PLAN, who="Ann"))


def test_a_guard_that_hangs_keeps_a_run_from_starting(daemon, tank, wait_until):
    os.kill(daemon.process.pid, signal.SIGSTOP)
    answer = start(daemon)
    assert answer.error == (
        "the guard cannot switch the output off by its own way: the guard did not answer within 4 s"
    )
    assert daemon.status().state == "idle"
    assert tank.truth().charge_ah == 0.0
    loop = daemon.loop_pid
    os.kill(daemon.process.pid, signal.SIGCONT)
    assert start(daemon).ok
    wait_until(lambda: (daemon.status().current_a or 0) > 1.9, "2 A flow")
    # Nor does a guard that was held up itself take a loop for dead.
    assert daemon.loop_pid == loop


def test_a_guard_that_has_lost_its_way_keeps_a_run_from_starting(
    new_daemon, tank, rate, origin_s, tmp_path, wait_until
):
    """The adapter is exchanged under the daemon, and the guard may open no file any more."""
    port = tmp_path / "port"
    port.symlink_to(tank.port)
    with SimulatorProcess(rate=rate, origin_s=origin_s) as other:
        daemon = new_daemon(port=str(port)).start().ready()
        guard = daemon.process.pid
        few, most = resource.prlimit(guard, resource.RLIMIT_NOFILE)
        resource.prlimit(guard, resource.RLIMIT_NOFILE, (3, most))
        port.unlink()
        port.symlink_to(other.port)
        tank.stop()
        wait_until(
            lambda: (answer := start(daemon)).error and "own way" in answer.error and answer,
            f"the loop has found the other, and the guard has not; it said: {daemon.said()}",
        )
        answer = start(daemon)
        assert f"the guard cannot switch the output off by its own way: {port}: " in answer.error
        assert other.truth().charge_ah == 0.0
        assert daemon.status().state == "idle"
        assert "own way to output off does not work" in daemon.said()
        resource.prlimit(guard, resource.RLIMIT_NOFILE, (few, most))
        assert start(daemon).ok
        wait_until(lambda: other.truth().current_a > 1.9, "2 A flow")
