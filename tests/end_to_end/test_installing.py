"""From the first program's record to this release; only it, systemd and root are stood in for."""

import json
import shlex
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from install.__main__ import uninstall
from install.asking import is_ready, look_at
from install.change_over import Change
from install.errors import InstallError
from install.machine import Machine
from tests.install.conftest import AT_REST, ROOT, Tank
from tests.record.first_record import write_first_record

# The guard's lock on its settings tells whether it lives.
SYSTEMCTL = """
lives() {{ ! flock --nonblock --shared {settings} true; }}
case $1 in
is-active) if lives; then echo active; else echo inactive; exit 3; fi ;;
start)
    rm -f "$here/ended"
    {{ {python} -m daemon.service.commands.cli serve --settings {settings} &
       echo $! >"$here/pid"; wait; touch "$here/ended"; }} >>"$here/said" 2>&1 </dev/null &
    until grep -q "^tankhand: ready" "$here/said"; do
        if [ -e "$here/ended" ]; then echo "Job failed" >&2; exit 1; fi
        sleep 0.05
    done
    : >"$here/said" ;;
stop|disable)
    if lives; then kill -TERM "$(cat "$here/pid")"; fi
    while lives; do sleep 0.05; done ;;
esac
"""


# The first program, as far as it is seen from outside: its lock, its word, its answer.
FIRST = f"""
import fcntl, os, signal, socket, sys
signal.signal(signal.SIGTERM, signal.SIG_DFL)
folder = os.path.dirname(sys.argv[1])
held = open(sys.argv[1])
fcntl.flock(held, fcntl.LOCK_EX)
os.path.exists(f"{{folder}}/control.sock") and os.unlink(f"{{folder}}/control.sock")
listening = socket.socket(socket.AF_UNIX)
listening.bind(f"{{folder}}/control.sock")
listening.listen()
print("tankhand: ready", flush=True)
while True:
    connection, _ = listening.accept()
    connection.makefile().readline()
    connection.sendall({json.dumps({"ok": True, "status": AT_REST}).encode()} + b"\\n")
"""

# Brings the tables up to date as every program does, and does not get ready.
SPOILED = """
import sys
from pathlib import Path
from daemon.record.writer import Writer
Writer(Path(sys.argv[1])).close()
sys.exit(3)
"""
NEWEST = max(path.name[:4] for path in (ROOT / "daemon/record/migrations/versions").glob("0*.py"))


def step(record):
    with closing(sqlite3.connect(record)) as connection:
        return connection.execute("SELECT version_num FROM alembic_version").fetchone()[0]


def contents(record):
    with closing(sqlite3.connect(record)) as connection:
        return list(connection.iterdump())


def clone(tank, version, *serves):
    """A clone whose release is this program; as the service it is `serves`: a script, its words."""
    made = tank.clone(version)
    run = f'exec {sys.executable} "$@"'
    if serves:
        instead = shlex.join([sys.executable, "-c", *map(str, serves)])
        run = f'case "$*" in *" serve "*) exec {instead} ;; esac\n{run}'
    tank.python(tank.release(made), run)
    return made


@pytest.fixture
def at_work(new_daemon, monkeypatch, tmp_path_factory):
    """Release 1, the first program, at work with a record of its own; and the daemon's place."""
    daemon = new_daemon("one")
    write_first_record(daemon.folder / "record.sqlite")
    tank = Tank(tmp_path_factory.mktemp("machine"), monkeypatch)
    # Record and socket lie beside the settings.
    tank.places.etc.parent.mkdir(parents=True)
    tank.places.etc.symlink_to(daemon.folder)
    tank.places.backups.mkdir(parents=True)
    python = tank.places.current / "venv" / "bin" / "python"
    tank.program("systemctl", SYSTEMCTL.format(settings=daemon.settings, python=python))
    first = tank.release(clone(tank, "1", FIRST, daemon.settings))
    Change(tank.places, Machine(), first, look_at(daemon.settings)).run()
    try:
        Machine().run("systemctl", "start", "tankhand")
        yield tank, daemon
    finally:
        subprocess.run(["systemctl", "stop", "tankhand"], check=True)


def test_the_first_record_comes_along_and_goes_back_if_the_release_does_not_get_ready(at_work):
    tank, daemon = at_work
    record = daemon.folder / "record.sqlite"
    before = contents(record)
    with pytest.raises(InstallError, match=r"Job failed\. 1-.*The service runs again") as failed:
        tank.install(clone(tank, "2", SPOILED, record))
    aside = record.with_name("record.sqlite.replaced")
    assert f"put aside  the record that was there: {tank.places.etc / aside.name}" in (
        str(failed.value)
    )
    assert (step(record), step(aside)) == ("0001", NEWEST)
    assert contents(record) == before
    assert tank.in_use.startswith("1-")
    assert is_ready(look_at(daemon.settings)) is None

    third = clone(tank, "3")
    tank.install(third)
    assert tank.in_use.startswith("3-")
    assert step(record) == NEWEST
    # 3.6 A for 79.5 s, and a run that was under way when the first program ended.
    run, left = daemon.run_record(1), daemon.run_record(2)
    assert (run.state, run.charge_ah) == ("complete", 0.0795)
    assert {sample.current_a for sample in daemon.samples(1)} == {3.6}
    assert left.state == "aborted"
    status = daemon.status()
    assert (status.state, status.unsettled) == ("idle", (2,))

    daemon.plate()
    with pytest.raises(InstallError, match=r"^a run is under way \(state 'running'\)"):
        tank.install(clone(tank, "4"))
    with pytest.raises(InstallError, match=r"^a run is under way \(state 'running'\)"):
        uninstall(tank.site(third), None)
    daemon.act("stop")
    daemon.until_state("stopped")
    uninstall(tank.site(third), None)
    assert "No such file" in is_ready(look_at(daemon.settings))
    assert daemon.run_record(3).state == "stopped"
    assert not tank.places.opt.exists()
