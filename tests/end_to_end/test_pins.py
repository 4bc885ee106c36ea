"""Contactor and interlocks of a daemon's real processes, on mock pins that a test can drive."""

import os
import signal

import pytest

MORE = """\
[contactor]
heartbeat_pin = 17
pull_in = "0.2 s"
drop_out = "0.5 s"
[[interlock]]
name = "emergency stop"
pin = 22
stop = "abort"
[[interlock]]
name = "lid"
pin = 23
stop = "hold"
"""
HEARTBEAT, STOP_BUTTON, LID = 17, 22, 23


@pytest.fixture
def daemon(new_daemon, mock_pins):
    mock_pins.levels({STOP_BUTTON: 1, LID: 1})
    return new_daemon(more=MORE, environment=mock_pins.environment).start().ready()


def test_the_line_moves_while_plating_and_never_else(daemon, mock_pins, no_current):
    assert mock_pins.edges(HEARTBEAT) == []
    daemon.plate()
    assert len(mock_pins.edges(HEARTBEAT)) > 10
    daemon.act("stop")
    daemon.until_state("stopped")
    no_current()
    # It went low for good before the current was seen gone.
    rested = mock_pins.edges(HEARTBEAT)
    assert rested[-1][1] == 0
    daemon.status()
    assert mock_pins.edges(HEARTBEAT) == rested


def test_an_emergency_stop_aborts_and_a_lid_holds(daemon, mock_pins, no_current, wait_until):
    daemon.plate()
    mock_pins.drive(LID, 0)
    daemon.until_state("held")
    no_current()
    assert "interlock open: lid" in daemon.act("resume").error
    mock_pins.drive(LID, 1)
    wait_until(lambda: daemon.status().notice is None, "the lid is seen closed")
    assert daemon.act("resume").ok
    daemon.until_state("running")
    mock_pins.drive(STOP_BUTTON, 0)
    status = daemon.until_state("aborted")
    no_current()
    first = next(alarm for alarm in status.alarms if alarm.first_out)
    assert first.cause == "interlock: emergency stop"


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSTOP])
def test_a_loop_that_dies_or_hangs_moves_the_line_no_more(daemon, mock_pins, no_current, number):
    daemon.plate()
    old = daemon.loop_pid
    os.kill(old, number)
    no_current()
    daemon.until_state("idle")
    assert daemon.loop_pid != old
    still = mock_pins.edges(HEARTBEAT)
    daemon.status()
    assert mock_pins.edges(HEARTBEAT) == still
