"""A run that is cut short, what a person says of it, and the run that goes on with its part."""

import os
import signal

import pytest

from daemon.record import alarms, interruptions, queries

UM_PER_AH = 1.18549 / 8.96 / 1.8 * 100  # copper: g/Ah, g/cm³; 1.8 dm²


def cut_short(daemon, no_current):
    """Kill the loop in the middle of run 1, and wait for the next."""
    daemon.plate(target_um=0.8)
    old = daemon.loop_pid
    os.kill(old, signal.SIGKILL)
    no_current()
    daemon.until_state("idle")


def test_a_part_is_finished_after_its_daemon_was_killed(daemon, tank, no_current, wait_until):
    cut_short(daemon, no_current)
    passed_ah = tank.truth().charge_ah
    # The record comes after the status.
    (raised,) = wait_until(lambda: daemon.record(alarms.since, 0), "the alarm is in the record")
    assert raised.raised.cause == "run interrupted"
    cut = daemon.record(interruptions.of_run, 1)
    known_ah = daemon.run_record(1).charge_ah
    # The truth lies within the bounds.
    assert known_ah + cut.least_ah <= passed_ah <= known_ah + cut.greatest_ah
    assert daemon.status().unsettled == (1,)
    code, _, err = daemon.cli("settle", 1, f"{passed_ah - known_ah:.6f} Ah", "--note", "seen")
    assert (code, err) == (0, [])
    assert daemon.status().unsettled == ()
    assert daemon.ledger()[-1].kind == "settled"
    assert daemon.status().bath_charge_ah == pytest.approx(passed_ah, abs=1e-5)
    code, out, err = daemon.cli("run", "--continue", 1)
    assert (code, err) == (0, [])
    (note,) = [line for line in out if "it goes on in" in line]
    assert "it goes on in stage 2 of 2, build, at 2 A, with 0." in note
    status = daemon.until_state("complete")
    no_current()
    assert status.run.thickness_um == pytest.approx(0.8, rel=5e-3)
    truth_um = tank.truth().charge_ah * UM_PER_AH
    assert truth_um == pytest.approx(0.8, rel=1e-2)
    # Both runs' charge, and what was settled, is in the bath's account once.
    second = daemon.run_record(2)
    assert second.goes_on_from == 1
    (bath,) = daemon.record(queries.baths)
    assert bath.charge_ah == pytest.approx(passed_ah + second.charge_ah, abs=1e-4)
    # It went on in the stage in which it was: the strike was not done again.
    assert [stage.name for stage in daemon.record(queries.stages, 2)] == ["build"]
    code, _, err = daemon.cli("run", "--continue", 2)
    assert (code, err) == (
        1, ["tankhand: run 2: has reached its target: nothing is left to do"],
    )  # fmt: skip


def test_by_itself_only_where_the_settings_say_so(new_daemon, tank, no_current, wait_until):
    daemon = new_daemon(more='[after_interruption]\ngo_on = true\nwithin = "1 h"\n')
    daemon.start().ready()
    daemon.plate(target_um=0.6)
    os.kill(daemon.loop_pid, signal.SIGKILL)
    wait_until(
        lambda: (status := daemon.status()) and status.state in ("running", "complete"),
        "the run goes on by itself",
    )
    daemon.until_state("complete")
    no_current()
    second = daemon.run_record(2)
    assert (second.goes_on_from, second.who) == (1, "tankhand, by its settings")
    truth_um = tank.truth().charge_ah * UM_PER_AH
    cut = daemon.record(interruptions.of_run, 1)
    # The count takes the middle of what nobody saw.
    assert truth_um == pytest.approx(0.6, abs=0.02 + cut.greatest_ah / 2 * UM_PER_AH)


def test_too_long_an_interruption_waits_for_a_person(new_daemon, no_current):
    daemon = new_daemon(more='[after_interruption]\ngo_on = true\nwithin = "1 ms"\n')
    daemon.start().ready()
    cut_short(daemon, no_current)
    assert daemon.cli("run", "--continue", 1)[0] == 0
    assert daemon.record(queries.one_run, 2).who != "tankhand, by its settings"


def test_what_cannot_have_passed_is_refused(daemon, no_current):
    cut_short(daemon, no_current)
    code, _, err = daemon.cli("settle", 1, "100 Ah")
    assert code == 1
    assert "cannot have passed in its interruption" in err[0]
    code, _, err = daemon.cli("settle", 7, "0 Ah")
    assert (code, err) == (1, ["tankhand: run 7: no interruption of it is known"])
    code, _, err = daemon.cli("settle", 1, "5 A")
    assert code == 2
    assert err[0].startswith("tankhand: CHARGE: expected a charge such as ")


def test_a_run_that_is_not_there_or_under_way(daemon):
    code, _, err = daemon.cli("run", "--continue", 9)
    assert code == 1
    assert "run 9" in err[0]
    code, _, err = daemon.cli("run")
    assert (code, err) == (2, ["tankhand: PLAN is missing: a plan's file, or --continue RUN"])
