"""The demo as a person starts it, and the whole chain against the tank's truth in real time."""

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from daemon.api.socket.messages import StartRequest
from daemon.record import queries
from daemon.record.store import open_reader
from daemon.service.settings.file import read_settings

PLAN = """\
title = "Two minutes"
area = "0.5 dm²"
target = "0.72 µm"
voltage_ceiling = "6 V"
caps = { charge = "1 Ah", duration = "10 min" }
[[stage]]
name = "strike"
current = "0.3 A"
ramp = "20 s"
until = { duration = "40 s" }
[[stage]]
name = "build"
current = "1.2 A"
ramp = "10 s"
"""


@pytest.fixture
def demo(tmp_path, free_port):
    """Start `tankhand demo` with these options; its folder is `tmp_path`."""
    processes = []

    def start(*options):
        command = [sys.executable, "-m", "daemon.service.commands.cli", "demo", *options]
        process = subprocess.Popen(
            [*command, "--listen", f"127.0.0.1:{free_port}", "--keep", str(tmp_path)],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True,
        )  # fmt: skip
        processes.append(process)
        return process

    yield start
    for process in processes:
        if process.poll() is None:
            process.terminate()
        process.communicate(timeout=60)


def leftovers(folder):
    """Processes that have something to do with this demo."""
    found = []
    for line in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words = line.read_bytes()
        except OSError:
            continue
        if str(folder).encode() in words:
            found.append(words.replace(b"\0", b" "))
    return found


def test_the_demo_reaches_its_target_and_counts_the_copper(demo, tmp_path):
    process = demo("--rate", "1000", "--no-stay")
    said, _ = process.communicate(timeout=200)
    assert process.returncode == 0, said
    assert "Complete: target reached" in said
    counted = re.search(
        r"Counted [\d.]+ Ah, ([\d.]+) g of copper; the simulated tank itself deposited ([\d.]+) g",
        said,
    )
    counted_g, deposited_g = float(counted[1]), float(counted[2])
    assert counted_g == pytest.approx(deposited_g, rel=2e-3)
    # 25 µm on 1.8 dm² of copper of 8.96 g/cm³.
    assert deposited_g == pytest.approx(25e-4 * 180 * 8.96, rel=5e-3)
    assert leftovers(tmp_path) == []
    engine = open_reader(tmp_path / "record.sqlite")
    with engine.connect() as connection:
        run = queries.one_run(connection, 1)
        stages = queries.stages(connection, 1)
    engine.dispose()
    assert run.state == "complete"
    assert run.mass_g == pytest.approx(counted_g, abs=1e-4)
    assert [stage.ended_by for stage in stages][1:] == ["thickness", "target"]
    # Real s for which other programs may hold it up; a tank's own daemon has 0.5 and 3 s.
    settings = read_settings(tmp_path / "settings.toml")
    assert settings.guard.beat_limit == 5.0
    assert settings.loop.lost == 5.0 * 1000


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["ctrl-c", "sigterm"])
def test_a_demo_that_is_ended_leaves_nothing_behind(demo, tmp_path, number):
    process = demo("--rate", "100", "--no-stay")
    said = ""
    while "The page:" not in said:
        line = process.stdout.readline()
        assert line, said
        said += line
    os.kill(process.pid, number)
    rest, _ = process.communicate(timeout=60)
    assert process.returncode == 128 + number
    assert "Traceback" not in said + rest
    assert leftovers(tmp_path) == []


def test_a_demo_that_is_ended_while_its_daemon_is_being_started(demo, tmp_path, wait_until):
    process = demo("--rate", "100", "--no-stay")
    # Its last act before that.
    wait_until((tmp_path / "settings.toml").exists, "the settings are written")
    os.kill(process.pid, signal.SIGINT)
    said, _ = process.communicate(timeout=60)
    assert process.returncode == 128 + signal.SIGINT
    assert "Traceback" not in said
    assert leftovers(tmp_path) == []


class TestInRealTime:
    """At rate 1, ten readings a second over the pty."""

    @pytest.fixture
    def rate(self):
        return 1.0

    def test_two_minutes_count_the_charge_within_a_thousandth(
        self, daemon, tank, no_current, wait_until
    ):
        answer = daemon.client.ask(StartRequest(plan=PLAN, who="Ann"))
        assert answer.ok, answer.error
        wait_until(
            lambda: daemon.status().state not in ("running", "aborting"), "the run is over", 300
        )
        status = daemon.until_state("complete")
        no_current()
        truth = tank.truth()
        error = status.run.charge_ah / truth.charge_ah - 1
        assert abs(error) < 1e-3
        assert status.run.mass_g == pytest.approx(truth.deposited_g, rel=1e-3)
        # Ramp, change of stage and target were all passed.
        assert daemon.run_record().state == "complete"
        stages = daemon.record(queries.stages, 1)
        assert [stage.ended_by for stage in stages] == ["duration", "target"]
        assert status.run.running_s > 100
