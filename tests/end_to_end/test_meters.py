"""A shunt on a simulated kernel file beside the supply on its pty: what counts, and what hangs."""

import os
import re
import signal

import pytest

from daemon.api.socket.messages import SettingsRequest
from daemon.record import alarms

SHUNT_TOO_HIGH = 1.05
"""What the shunt shows for each ampere, so that whose readings were counted can be told."""


@pytest.fixture
def shunt_shows():
    return lambda current_a: SHUNT_TOO_HIGH * current_a


@pytest.fixture
def daemon(new_daemon, kernel):
    return new_daemon(more=kernel.settings).start().ready()


def test_a_run_is_counted_by_the_shunt_and_its_disagreement_told(daemon, kernel, wait_until):
    daemon.plate(target_um=2.0)
    status = daemon.until_state("complete")
    assert daemon.end() == 0
    run = daemon.run_record()
    assert run.state == "complete"
    # Not by the supply, which reads the truth: by the shunt, which shows 5 % more.
    assert run.charge_ah == pytest.approx(SHUNT_TOO_HIGH * kernel.truth().charge_ah, rel=0.01)
    assert status.run.thickness_um == pytest.approx(2.0, rel=0.02)
    plated = [sample for sample in daemon.samples() if sample.set_current_a > 1.99]
    assert plated[len(plated) // 2].current_a == pytest.approx(2.1, abs=0.002)
    (alarm,) = daemon.record(alarms.of_run, 1)
    assert alarm.raised.cause == "meters disagree"
    assert re.match(r"shunt reads 2\.1\d\d A, supply (2\.00|1\.99)\d A: ", alarm.raised.seen)


def test_meters_and_thermometers_are_in_the_status(daemon, wait_until):
    status = wait_until(
        lambda: (s := daemon.status()) and len(s.meters) == 2 and s.thermometers and s,
        "both meters and the thermometer were read",
    )
    assert {meter.name: meter.counts for meter in status.meters} == {"supply": False, "shunt": True}
    (bath,) = status.thermometers
    assert (bath.name, bath.temperature_c) == ("bath", pytest.approx(24.125))
    assert daemon.end() == 0


def test_the_settings_in_force_are_told_also_when_the_file_is_spoilt(daemon):
    before = daemon.client.ask(SettingsRequest()).settings
    assert (before.path, before.changed) == (str(daemon.settings), False)
    assert [table.name for table in before.tables if table.head == "[[meter]]"] == ["shunt"]
    daemon.settings.write_text(daemon.settings.read_text().replace("ina226", ""))
    after = daemon.client.ask(SettingsRequest()).settings
    assert after.wrong[0].startswith("meter[1].description: ")
    assert after.tables == before.tables
    assert daemon.end() == 0


def test_a_supply_that_hangs_delays_nothing_else_and_goes_off_when_it_comes_back(
    daemon, tank, kernel, wait_until
):
    daemon.plate()
    os.kill(tank.pid, signal.SIGSTOP)
    try:
        stopped = daemon.status()
        daemon.until_state("aborting")
        status = daemon.status()
        assert status.run.reason.startswith(
            ("device failed: the supply is silent: its newest reading is", "output did not stop")
        )
    finally:
        os.kill(tank.pid, signal.SIGCONT)
    # What was said to it meanwhile arrives: the output goes off, and the shunt sees it.
    wait_until(lambda: kernel.truth().current_a < 1e-3, "the output is off")
    daemon.until_state("aborted")
    assert daemon.end() == 0
    run = daemon.run_record()
    assert run.reason.startswith("device failed: the supply is silent: its newest reading is 8")
    # The shunt was read, and the loop ran, all the while: 80 s of silence, a reading every 2 s.
    started_s = min(stopped.monotonic_s, status.monotonic_s) - stopped.run.running_s
    silent = [
        sample for sample in daemon.samples()
        if 0 < sample.elapsed_s - (stopped.monotonic_s - started_s) < 80.0
    ]  # fmt: skip
    assert len(silent) >= 20
    # The tank stands still with its process, and so does what its shunt shows.
    (shown_a,) = {round(sample.current_a, 2) for sample in silent}
    assert shown_a > 1.0
    assert daemon.events("gap") == []
