"""From one release to the next; whatever fails on the way, the old one runs again."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from install.errors import InstallError
from install.machine import Machine
from install.record_step import main as record_step
from tests.install.conftest import Tank

RELOADED = [
    "systemctl daemon-reload",
    "udevadm control --reload",
    "udevadm trigger --subsystem-match=hwmon --subsystem-match=gpio",
]


def short(calls: list[str]) -> list[str]:
    """The calls, of those as the record's owner only what was done."""
    words = ("backup", "record_step", "restore")
    return [next((w for w in words if w in one), one) for one in calls]


def fails_with(tank: Tank, clone: Path, script: str = "") -> str:
    """Shell for a service that starts with every release but this clone's."""
    name = tank.release(clone).name
    return (
        f"[ $(readlink {tank.places.current}) != releases/{name} ] || {{ {script or ':'}; false; }}"
    )


def unit_of(tank: Tank) -> str:
    return tank.places.unit.read_text(encoding="utf-8").splitlines()[-1]


def test_an_upgrade(running: Tank, capsys: pytest.CaptureFixture[str]) -> None:
    clone = running.clone("2")
    first = running.release(running.folder / "clone-1")
    running.install(clone)
    second = running.release(clone)
    assert short(running.calls) == [
        "systemctl stop tankhand", "backup", "record_step", *RELOADED, "systemctl start tankhand",
    ]  # fmt: skip
    assert running.is_up
    assert running.in_use == second.name
    assert unit_of(running) == "# 2"
    (backup,) = running.places.backups.iterdir()
    assert backup.read_text(encoding="utf-8") == "step 1\n"
    assert str(backup) in capsys.readouterr().out
    assert first.is_whole
    third = running.clone("3")
    running.install(third)
    kept = {path.name for path in running.places.releases.iterdir()}
    assert kept == {second.name, running.release(third).name}


def test_what_did_not_run_is_not_started(running: Tank, capsys: pytest.CaptureFixture[str]) -> None:
    running.service("inactive")
    running.install(running.clone("2"))
    assert short(running.calls) == ["backup", "record_step", *RELOADED]
    assert not running.is_up
    assert "was not started" in capsys.readouterr().out


def test_a_release_that_does_not_get_ready_is_left_again(running: Tank) -> None:
    before, clone = running.in_use, running.clone("2")
    running.on("start", fails_with(running, clone))
    with pytest.raises(InstallError) as failed:
        running.install(clone)
    told = str(failed.value)
    assert "Job for tankhand.service failed" in told
    assert f"{before} is in use as before" in told
    assert "The record's tables were not changed" in told
    assert told.endswith("The service runs again")
    assert short(running.calls) == [
        "systemctl stop tankhand", "backup", "record_step", *RELOADED, "systemctl start tankhand",
        "systemctl stop tankhand", *RELOADED, "record_step", "systemctl start tankhand",
    ]  # fmt: skip
    assert (running.in_use, running.is_up, unit_of(running)) == (before, True, "# 1")


def test_a_record_that_was_migrated_is_put_back(running: Tank) -> None:
    clone = running.clone("2")
    running.on("start", fails_with(running, clone, f"echo step 2 >{running.record}"))
    with pytest.raises(InstallError) as failed:
        running.install(clone)
    told = str(failed.value)
    assert "had changed the record's tables, so the backup" in told
    assert str(running.record.with_name("record.sqlite.replaced")) in told
    assert told.endswith("The service runs again")
    assert running.record.read_text(encoding="utf-8") == "step 1\n"
    assert running.is_up


def test_a_record_that_cannot_be_read_any_more_is_put_back(running: Tank) -> None:
    clone = running.clone("2")
    running.on("start", fails_with(running, clone, f"echo spoiled >{running.record}"))
    with pytest.raises(InstallError, match="had changed the record's tables"):
        running.install(clone)
    assert running.record.read_text(encoding="utf-8") == "step 1\n"


def test_a_daemon_that_is_up_and_gives_no_answer_is_not_ready(running: Tank) -> None:
    clone = running.clone("2")
    running.on("start", f"rm -f {running.socket}")
    with pytest.raises(InstallError) as failed:
        running.install(clone)
    assert f"is not in use: no answer at {running.socket}" in str(failed.value)
    assert f"The service does NOT run: no answer at {running.socket}" in str(failed.value)
    assert running.in_use == running.release(running.folder / "clone-1").name


def test_where_the_old_one_does_not_start_either_it_says_so(running: Tank) -> None:
    running.on("start", "false")
    with pytest.raises(InstallError, match=r"The service does NOT run: .*journalctl -u tankhand"):
        running.install(running.clone("2"))
    assert running.in_use == running.release(running.folder / "clone-1").name


def test_where_going_back_fails_it_says_what_there_is(running: Tank) -> None:
    clone = running.clone("2")
    spoil = f"echo step 2 >{running.record}; rm {running.places.backups}/*"
    running.on("start", fails_with(running, clone, spoil))
    with pytest.raises(InstallError) as failed:
        running.install(clone)
    told = str(failed.value)
    assert "GOING BACK FAILED TOO: " in told
    assert "The service was not started" in told
    assert "the record's backup is " in told
    assert not running.is_up


def test_a_backup_that_fails_changes_nothing(running: Tank) -> None:
    before, clone = running.in_use, running.clone("2")
    running.record.write_text("no record", encoding="utf-8")
    with pytest.raises(InstallError, match=r"not a record.* is in use as before\. The service run"):
        running.install(clone)
    assert (running.in_use, running.is_up, unit_of(running)) == (before, True, "# 1")


def test_rules_that_udev_does_not_take_now_change_nothing_else(
    running: Tank, capsys: pytest.CaptureFixture[str]
) -> None:
    running.program("udevadm", "echo 'no udev' >&2; exit 1")
    running.install(running.clone("2"))
    assert running.is_up
    assert "no udev. The rules act after a reboot" in capsys.readouterr().out


def test_a_service_that_does_not_stop_is_not_replaced(running: Tank) -> None:
    before, clone = running.in_use, running.clone("2")
    running.on("stop", "echo 'Job was cancelled' >&2; false")
    with pytest.raises(InstallError, match="Job was cancelled"):
        running.install(clone)
    assert running.calls == ["systemctl stop tankhand", *RELOADED, "systemctl start tankhand"]
    assert running.in_use == before


@pytest.mark.parametrize("signal", ["INT", "TERM", "HUP"])
def test_whoever_breaks_it_off_has_the_old_one(running: Tank, signal: str) -> None:
    before, clone = running.in_use, running.clone("2")
    # Twice: going back is not broken off.
    running.on("start", f"kill -{signal} {os.getpid()}; sleep 0.1")
    with pytest.raises(InstallError, match=f"by SIG{signal}.*The service runs again"):
        running.install(clone)
    assert (running.in_use, running.is_up) == (before, True)


def test_settings_that_the_new_one_refuses_stop_nothing(running: Tank) -> None:
    clone = running.clone("2")
    running.settings("[page]\nlissen = 1\n")
    with pytest.raises(InstallError, match=r"does not take the settings: .*lissen"):
        running.install(clone)
    assert running.calls == []
    assert running.is_up


def test_a_first_installation_that_fails_leaves_no_link(tank: Tank) -> None:
    tank.settings()
    tank.make_record()
    tank.record.write_text("no record", encoding="utf-8")
    with pytest.raises(InstallError, match="what was there is in use as before"):
        tank.install(tank.clone("1"))
    for path in (tank.places.current, tank.places.command, tank.places.unit, tank.places.rules):
        assert not path.is_symlink()
        assert not path.exists()


def test_the_step_of_what_is_no_record(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert record_step(tmp_path / "missing") == 1
    with closing(sqlite3.connect(tmp_path / "empty", isolation_level=None)) as connection:
        connection.execute("CREATE TABLE alembic_version (version_num)")
    assert record_step(tmp_path / "empty") == 1
    assert "missing: " in capsys.readouterr().err


def test_a_program_that_is_not_there_is_named() -> None:
    with pytest.raises(InstallError, match="no-such-program: No such file"):
        Machine().run("no-such-program")
