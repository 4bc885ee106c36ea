"""A shunt on a simulated kernel file beside the supply on its pty: what counts, and what hangs."""

import os
import signal
import threading
import time
from contextlib import contextmanager

import pytest

SHUNT_TOO_HIGH = 1.05
"""What the shunt shows for each ampere, so that whose readings were counted can be told."""

AMPERES_PER_COUNT = 2.5e-6 / 0.002
"""One count of the shipped ina226's converter over its shunt of 60 mV at 30 A."""

METERS = """\
sysfs = "{sysfs}"
[[meter]]
name = "shunt"
description = "ina226"
[[thermometer]]
name = "bath"
description = "ds18b20"
address = "28-0316a2795e1f"
period = "10 s"
"""


class Kernel:
    """A folder that stands for /sys. A thread writes into it what the simulator's truth says."""

    def __init__(self, root, tank):
        self.root = root
        self._tank = tank
        self._lock = threading.Lock()
        self._stop = threading.Event()
        device = root / "devices/1-0040"
        chip = device / "hwmon/hwmon3"
        chip.mkdir(parents=True)
        for file, value in {"name": "ina226", "shunt_resistor": 2500, "in1_input": 2500}.items():
            (chip / file).write_text(f"{value}\n")
        (chip / "device").symlink_to(device)
        (root / "class/hwmon").mkdir(parents=True)
        (root / "class/hwmon/hwmon3").symlink_to(chip)
        self.current = chip / "curr1_input"
        self.current.write_text(f"{0:8d}\n")
        thermometer = root / "bus/w1/devices/28-0316a2795e1f"
        thermometer.mkdir(parents=True)
        (thermometer / "temperature").write_text("24125\n")
        self._thread = threading.Thread(target=self._write)

    @contextmanager
    def following(self):
        """Follow the tank until the end."""
        self._thread.start()
        try:
            yield self
        finally:
            self._stop.set()
            self._thread.join()

    def truth(self):
        """What really happened in the tank."""
        with self._lock:
            return self._tank.truth()

    def _write(self):
        fd = os.open(self.current, os.O_WRONLY)
        while not self._stop.is_set():
            counts = round(SHUNT_TOO_HIGH * self.truth().current_a / AMPERES_PER_COUNT)
            # In place and of one width, as the daemon keeps the file open.
            os.pwrite(fd, f"{counts:8d}\n".encode(), 0)
            time.sleep(0.002)
        os.close(fd)


@pytest.fixture
def kernel(tmp_path, tank):
    with Kernel(tmp_path / "sys", tank).following() as kernel:
        yield kernel


@pytest.fixture
def daemon(new_daemon, kernel):
    return new_daemon(more=METERS.format(sysfs=kernel.root)).start().ready()


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
    (text,) = daemon.events("meters disagree")
    assert text.startswith("shunt reads 2.1")
    assert "supply 2.000 A" in text


def test_meters_and_thermometers_are_in_the_status(daemon, wait_until):
    status = wait_until(
        lambda: (s := daemon.status()) and len(s.meters) == 2 and s.thermometers and s,
        "both meters and the thermometer were read",
    )
    assert {meter.name: meter.counts for meter in status.meters} == {"supply": False, "shunt": True}
    (bath,) = status.thermometers
    assert (bath.name, bath.temperature_c) == ("bath", pytest.approx(24.125))
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
            ("the supply is silent: its newest reading is", "output did not stop")
        )
        (trouble,) = daemon.events("trouble")
        assert trouble.startswith("the supply is silent: its newest reading is 8")
    finally:
        os.kill(tank.pid, signal.SIGCONT)
    # What was said to it meanwhile arrives: the output goes off, and the shunt sees it.
    wait_until(lambda: kernel.truth().current_a < 1e-3, "the output is off")
    daemon.until_state("aborted")
    assert daemon.end() == 0
    run = daemon.run_record()
    assert run.reason == trouble
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
