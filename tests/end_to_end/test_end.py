"""How a daemon ends, and how it does not start: signals, wrong settings, a second one."""

import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from daemon.record import queries
from daemon.record.writer import Writer


def test_sigterm_while_plating_takes_the_current_down_and_closes_the_record(daemon, tank, agrees):
    daemon.plate()
    assert daemon.end() == 0
    assert tank.truth().current_a < 1e-3
    run = daemon.run_record()
    assert (run.state, run.reason) == ("stopped", "stopped by SIGTERM")
    agrees(run, tank.truth().charge_ah)
    assert "Traceback" not in daemon.said()


def test_ctrl_c_is_an_orderly_end_too(daemon, tank):
    daemon.plate()
    assert daemon.end(signal.SIGINT) == 0
    assert tank.truth().current_a < 1e-3
    assert daemon.run_record().state == "stopped"


def test_sigterm_to_all_processes_at_once_is_an_orderly_end(daemon, tank):
    """A service manager tells every process of the unit."""
    daemon.plate()
    os.kill(daemon.loop_pid, signal.SIGTERM)
    assert daemon.end() == 0
    assert tank.truth().current_a < 1e-3
    assert daemon.run_record().state == "stopped"


def test_sigterm_while_held(daemon):
    daemon.plate()
    daemon.act("hold")
    daemon.until_state("held")
    assert daemon.end() == 0
    assert daemon.run_record().state == "stopped"


def test_sigterm_while_the_loop_starts(new_daemon, wait_until):
    daemon = new_daemon().start()
    wait_until(lambda: daemon._child("daemon.service.main"), "the guard has a loop")
    assert daemon.end() == 0
    assert "Traceback" not in daemon.said()


def test_sigterm_at_rest_leaves_no_process_and_no_socket(new_daemon, free_port, wait_until):
    daemon = new_daemon(page=free_port).start().ready()
    loop, page = daemon.loop_pid, daemon.page_pid
    assert daemon.end() == 0
    assert not any(Path(f"/proc/{pid}").exists() for pid in (loop, page))
    assert not (daemon.folder / "control.sock").exists()


# A second daemon by mistake.


def plates_on(daemon, tank):
    """Whether the first daemon still plates as if nothing had been."""
    status = daemon.status()
    return status.state == "running" and tank.truth().current_a == pytest.approx(2.0, abs=0.01)


def ends_with_one_error(daemon):
    """Run a daemon that cannot start; its one line."""
    code = daemon.start().process.wait(60)
    said = daemon.said().splitlines()
    assert code != 0
    assert len(said) == 1, said
    return said[0]


def test_a_second_daemon_with_the_same_settings(daemon, tank):
    daemon.plate()
    second = subprocess.run(
        [
            sys.executable, "-m", "daemon.service.commands.cli", "serve",
            "--settings", daemon.settings,
        ],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert second.returncode == 1
    assert second.stderr.splitlines() == [
        f"tankhand: {daemon.settings}: another daemon runs with these settings"
    ]
    assert plates_on(daemon, tank)


def test_a_second_daemon_on_the_same_port(daemon, tank, new_daemon):
    daemon.plate()
    said = ends_with_one_error(new_daemon("two"))
    assert tank.port in said
    assert "another program holds it" in said
    assert plates_on(daemon, tank)
    assert not daemon.record(queries.events, 1) or daemon.events("reply missing") == []


def test_a_second_daemon_on_the_same_record(daemon, tank, new_daemon):
    daemon.plate()
    with second_tank(tank) as other:
        second = new_daemon("two", port=other.port)
        change(second, "[loop]", f'[record]\npath = "{daemon.folder}/record.sqlite"\n[loop]')
        said = ends_with_one_error(second)
    assert "record.sqlite: the record is being written by another process" in said
    assert plates_on(daemon, tank)


def test_a_second_daemon_with_the_same_socket(daemon, tank, new_daemon):
    daemon.plate()
    with second_tank(tank) as other:
        second = new_daemon("two", port=other.port)
        change(second, "[loop]", f'[daemon]\nsocket = "{daemon.folder}/control.sock"\n[loop]')
        said = ends_with_one_error(second)
    assert "control.sock: another daemon" in said
    assert plates_on(daemon, tank)


def second_tank(tank):
    return type(tank)(rate=20.0)


def change(daemon, old, new):
    text = daemon.settings.read_text()
    assert old in text
    daemon.settings.write_text(text.replace(old, new))


# Settings and ports that cannot be used.


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[supply]", "[suply]", ["suply"]),
        ('beat_limit = "3 s"', 'beat_limit = "3 V"', ["guard.beat_limit", "3 V"]),
    ],
    ids=["table", "unit"],
)
def test_settings_that_cannot_be_used(new_daemon, old, new, words):
    daemon = new_daemon()
    change(daemon, old, new)
    code = daemon.start().process.wait(60)
    said = daemon.said()
    assert code == 2
    assert "Traceback" not in said
    assert all(line.startswith(("tankhand: ", str(daemon.settings))) for line in said.splitlines())
    for word in words:
        assert word in said
    assert not (daemon.folder / "record.sqlite").exists()


def test_settings_that_are_missing(new_daemon):
    daemon = new_daemon()
    daemon.settings.unlink()
    assert "settings.toml: cannot be read: No such file" in ends_with_one_error(daemon)


def test_a_port_that_is_missing(new_daemon):
    said = ends_with_one_error(new_daemon(port="/dev/ttyNone"))
    assert "/dev/ttyNone: cannot be opened" in said


def test_a_port_with_no_supply_behind_it(new_daemon):
    deaf, port = os.openpty()
    try:
        said = ends_with_one_error(new_daemon(port=os.ttyname(port)))
    finally:
        os.close(deaf)
        os.close(port)
    assert "*IDN?" in said


def test_a_record_that_is_none(new_daemon):
    daemon = new_daemon()
    (daemon.folder / "record.sqlite").write_text("not a database at all, but a long text of ours")
    assert "record.sqlite: not a record" in ends_with_one_error(daemon)


def test_a_record_that_takes_nothing_once_it_is_open(new_daemon):
    daemon = new_daemon()
    record = daemon.folder / "record.sqlite"
    Writer(record, threaded=False).close()
    with closing(sqlite3.connect(record)) as other:
        other.execute(
            "CREATE TRIGGER ill BEFORE INSERT ON bath BEGIN SELECT RAISE(ABORT, 'ill'); END"
        )
    assert ends_with_one_error(daemon) == f"tankhand: {record}: ill"
