"""A backup that is made while a run plates, and what it is worth on a new card."""

import pytest

from tests.record.first_record import write_first_record


def test_a_backup_made_during_a_run_opens_on_a_new_card(daemon, new_daemon, tank, agrees, tmp_path):
    daemon.plate()
    code, said, errors = daemon.cli("backup", tmp_path / "stick.sqlite")
    assert (code, errors) == (0, [])
    assert said[0].startswith(f"backed up  {tmp_path / 'stick.sqlite'}: 1 run")
    # Nothing of the tank has noticed, and nothing is put back beside a daemon at work.
    assert daemon.status().state == "running"
    assert tank.truth().current_a == pytest.approx(2.0, abs=0.01)
    code, _, (error,) = daemon.cli("restore", tmp_path / "stick.sqlite", "--replace")
    assert code == 1
    assert "written by another process" in error
    assert daemon.end() == 0
    agrees(daemon.run_record(), tank.truth().charge_ah)

    other = new_daemon("new card")
    code, said, errors = other.cli("restore", tmp_path / "stick.sqlite")
    assert (code, errors) == (0, [])
    other.start().ready()
    run = other.run_record()
    assert run.state == "aborted"
    assert 0 < run.charge_ah < daemon.run_record().charge_ah
    assert other.status().unsettled == (1,)


def test_a_backup_of_the_first_program_s_record_opens_on_a_new_card(new_daemon, tmp_path):
    write_first_record(tmp_path / "stick.sqlite")
    daemon = new_daemon("new card")
    code, said, errors = daemon.cli("restore", tmp_path / "stick.sqlite")
    assert (code, errors) == (0, [])
    assert said[0].startswith(f"restored   {daemon.folder / 'record.sqlite'}: 2 runs")
    daemon.start().ready()
    # 3.6 A for 79.5 s, and a run that was under way when that program ended.
    assert (daemon.run_record(1).state, daemon.run_record(1).charge_ah) == ("complete", 0.0795)
    assert daemon.run_record(2).state == "aborted"
    assert daemon.status().unsettled == (2,)
    code, said, errors = daemon.cli("backup", tmp_path / "today.sqlite")
    assert (code, errors) == (0, [])
    assert said[0].startswith(f"backed up  {tmp_path / 'today.sqlite'}: 2 runs")


def test_what_a_command_cannot_use_is_told_in_one_line(daemon, tmp_path):
    backup = tmp_path / "stick.sqlite"
    assert daemon.cli("backup", backup)[0] == 0
    for words, told in (
        (("backup", backup), "is there already"),
        (("backup", tmp_path / "none" / "x"), "there is no folder"),
        (("restore", daemon.settings), "not a record"),
    ):
        code, said, (error,) = daemon.cli(*words)
        assert (code, said) == (1, [])
        assert error.startswith("tankhand: ")
        assert told in error
