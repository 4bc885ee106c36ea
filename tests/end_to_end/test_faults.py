"""What dies or hangs while a tank is plating: the current has to go, and the record has to know."""

import os
import signal
import urllib.request
from pathlib import Path

import pytest

from daemon.record import queries


def current_is_gone_and_the_run_is_closed(daemon, tank, no_current, old_loop):
    """After the guard has done its work: a new loop, idle, and an honest record."""
    no_current()
    status = daemon.until_state("idle")
    assert daemon.loop_pid != old_loop
    assert status.run is None
    assert tank.truth().current_a < 1e-3
    run = daemon.run_record()
    assert (run.state, run.reason) == ("aborted", "the daemon stopped during this run")
    (text,) = daemon.events("run interrupted")
    assert "run 1, Bracket" in text
    # What was committed, at most some seconds before the end, is what is counted and posted.
    assert 0 < run.charge_ah <= tank.truth().charge_ah * 1.001
    (bath,) = daemon.record(queries.baths)
    assert bath.charge_ah == pytest.approx(run.charge_ah, abs=1e-9)
    assert sum(entry.charge_ah for entry in daemon.ledger()) == pytest.approx(run.charge_ah)
    assert daemon.samples()[-1].charge_ah == pytest.approx(run.charge_ah, abs=1e-6)
    assert status.bath_charge_ah == pytest.approx(run.charge_ah)


def test_a_loop_that_is_killed(daemon, tank, no_current):
    daemon.plate()
    old = daemon.loop_pid
    os.kill(old, signal.SIGKILL)
    current_is_gone_and_the_run_is_closed(daemon, tank, no_current, old)
    # The next run plates as ever.
    daemon.plate()
    assert daemon.end() == 0
    assert daemon.run_record(2).state == "stopped"


def test_a_loop_that_hangs(daemon, tank, no_current):
    daemon.plate()
    old = daemon.loop_pid
    os.kill(old, signal.SIGSTOP)
    current_is_gone_and_the_run_is_closed(daemon, tank, no_current, old)
    assert "gave no beat" in daemon.said()


def test_a_loop_that_hangs_while_the_daemon_is_told_to_end(daemon, tank, no_current):
    daemon.plate()
    os.kill(daemon.loop_pid, signal.SIGSTOP)
    daemon.process.send_signal(signal.SIGTERM)
    no_current()
    assert daemon.process.wait(60) != 0


def test_a_guard_that_is_killed(daemon, tank, no_current, wait_until, runs_still):
    daemon.plate()
    loop = daemon.loop_pid
    daemon.process.kill()
    daemon.process.wait(60)
    no_current()
    wait_until(lambda: not runs_still(loop), "the loop has ended by itself")
    run = daemon.run_record()
    assert (run.state, run.reason) == ("stopped", "stopped by the guard's death")


def test_a_killed_guard_s_page_ends_too_and_the_daemon_starts_again(
    new_daemon, free_port, wait_until, runs_still
):
    daemon = new_daemon(page=free_port).start().ready()
    loop, page = daemon.loop_pid, daemon.page_pid
    daemon.process.kill()
    daemon.process.wait(60)
    wait_until(lambda: not runs_still(loop) and not runs_still(page), "both have ended")
    daemon.start().ready()
    assert daemon.end() == 0


def test_a_port_that_is_pulled_while_plating(daemon, tank):
    daemon.plate()
    port = tank.port
    os.kill(tank.pid, signal.SIGKILL)
    status = daemon.until_state("aborting", "aborted")
    assert port in status.run.reason
    assert daemon.end() == 1
    assert daemon.events("trouble")
    assert port in daemon.events("trouble")[0]
    assert "the current was not seen gone" in daemon.said()


def test_a_page_that_dies_is_started_again_and_plating_goes_on(
    new_daemon, free_port, tank, wait_until
):
    daemon = new_daemon(page=free_port).start().ready()
    daemon.plate()
    wait_until(lambda: page_says(free_port), "the page answers")
    old = daemon.page_pid
    os.kill(old, signal.SIGKILL)
    wait_until(lambda: daemon._child("web") not in (None, old), "there is another page")
    wait_until(lambda: page_says(free_port), "the page answers again")
    assert daemon.status().state == "running"
    assert tank.truth().current_a == pytest.approx(2.0, abs=0.01)


def test_a_page_that_cannot_listen_does_not_keep_anybody_from_plating(
    new_daemon, taken_port, tank, wait_until
):
    daemon = new_daemon(page=taken_port).start().ready()
    daemon.plate()
    wait_until(lambda: "the page ended" in daemon.said(), "the page has failed")
    assert daemon.status().state == "running"
    assert tank.truth().current_a == pytest.approx(2.0, abs=0.01)
    assert daemon.end() == 0
    assert daemon.said().count("listen: ") <= 4


def page_says(port):
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=10) as answer:
            return answer.status == 200
    except OSError:
        return False


def test_a_daemon_ended_at_rest_leaves_its_output_off_for_the_next(daemon, tank):
    assert daemon.end() == 0
    assert not Path(f"/proc/{daemon.process.pid}").exists()
    assert tank.truth().current_a == 0.0
