"""The daemon on a Modbus supply: chosen by its description, driven, and switched off."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from daemon.api.socket.client import Client, DaemonUnreachableError
from daemon.api.socket.messages import StartRequest
from daemon.control.situation import OFF, Demand
from daemon.service.devices.assembly import make_supply
from daemon.service.devices.supply_worker import Missed, SupplyWorker, Trouble
from daemon.service.settings.file import read_settings
from daemon.service.supervision.guard import SecondWay
from drivers.contracts import Reading
from drivers.files import description_path
from drivers.modbus.supply import ModbusSupply

PERIOD_S = 0.1
PATIENCE_S = 60.0
"""Real s until something that has to happen counts as not happening: for machines that are busy."""

PLAN = """\
title = "Bracket"
area = "1.8 dm²"
target = "10 µm"
voltage_ceiling = "6 V"
caps = { charge = "2 Ah", duration = "5 h" }
[[stage]]
name = "build"
current = "2 A"
"""


def wait_until(holds, what):
    """Ask again and again until `holds()` is true, and give what it gave."""
    give_up_s = time.monotonic() + PATIENCE_S
    while True:
        found = holds()
        if found:
            return found
        assert time.monotonic() < give_up_s, f"waited in vain until {what}"
        time.sleep(0.02)


class VirtualClock:
    """Stands still until it is moved."""

    rate = 1.0
    now_s = 1000.0

    def monotonic_s(self):
        return self.now_s

    def real_seconds_until(self, _):
        return 0.0


@pytest.fixture
def settings(tmp_path, link):
    """A settings file for the shipped supply, which may take its time to reply."""
    text = description_path("modbus-example").read_text()
    text = text.replace("reply_timeout_ms = 200", "reply_timeout_ms = 500")
    (tmp_path / "mine.toml").write_text(text)
    path = tmp_path / "settings.toml"
    path.write_text(
        f'[supply]\nport = "{link.port}"\ndescription = "mine.toml"\n'
        '[bath]\nname = "Acid copper"\n[page]\non = false\n[guard]\nbeat_limit = "3 s"\n'
    )
    return path


class Hands:
    """A worker on the supply of the settings, turn by turn."""

    def __init__(self, settings):
        self.clock = VirtualClock()
        supply, rating = make_supply(read_settings(settings), self.clock)
        assert isinstance(supply, ModbusSupply)
        self.news = []
        self.worker = SupplyWorker(supply, rating, self.clock, PERIOD_S, self.news.append)
        self.worker.open()

    def turns(self, count):
        """This many turns, each a period later."""
        for _ in range(count):
            self.worker.turn()
            self.clock.now_s += PERIOD_S

    def plate(self):
        self.worker.demand(Demand(output_on=True, current_a=2.0, voltage_v=4.0))
        self.turns(1)

    def told(self, kind):
        return [news for news in self.news if isinstance(news, kind)]


@pytest.fixture
def hands(serve, settings):
    serve()
    hands = Hands(settings)
    yield hands
    hands.worker.stop()


def test_the_worker_reads_it_and_sets_what_is_demanded(hands, device):
    device.inputs |= {0x10: 2000, 0x11: 310}
    hands.plate()
    assert (device.holding[0x20], device.holding[0x21]) == (2000, 400)
    assert device.inputs[0x12] == 1
    hands.turns(5)
    last = hands.told(Reading)[-1]
    assert (last.current_a, last.voltage_v) == (2.0, 3.1)
    assert last.monotonic_s == pytest.approx(1000.5)
    hands.worker.demand(OFF)
    hands.turns(1)
    assert device.inputs[0x12] == 0
    assert hands.told(Missed) == hands.told(Trouble) == []


def test_a_lost_reply_is_one_missed_reading(hands, device):
    hands.plate()
    device.faults.append(lambda _: b"")
    before = len(hands.told(Reading))
    hands.turns(3)
    (missed,) = hands.told(Missed)
    assert "nothing came within 0.5 s" in missed.text
    assert len(hands.told(Reading)) == before + 2
    assert hands.told(Trouble) == []
    assert device.inputs[0x12] == 1


def test_a_clipped_set_point_is_a_trouble_and_puts_the_output_off(hands, device):
    device.clips[0x20] = 1500
    hands.plate()
    (trouble,) = hands.told(Trouble)
    assert "set to 2 A, but the supply holds 1.5 A" in trouble.text
    hands.turns(1)
    assert device.inputs[0x12] == 0


def test_a_plug_that_is_pulled_out_is_a_trouble(hands, link):
    hands.plate()
    link.pull_out()
    hands.turns(1)
    (trouble,) = hands.told(Trouble)
    assert "the port was lost" in trouble.text


def test_the_second_way_off_is_its_own(serve, settings, device):
    serve()
    second_way = SecondWay(settings)
    wait_until(lambda: len(device.writes) == 3, "all that is said at the start is heard")
    device.inputs[0x12] = 1
    second_way.off()
    assert device.inputs[0x12] == 0


# The whole daemon, in its own processes.


@pytest.fixture
def daemon(serve, settings):
    """The process of `tankhand serve`, and a client that it answers."""
    serve()
    command = [
        sys.executable,
        "-m",
        "daemon.service.commands.cli",
        "serve",
        "--settings",
        str(settings),
    ]
    process = subprocess.Popen(command, start_new_session=True)
    client = Client(settings.parent / "control.sock", timeout_s=30.0)

    def answers():
        assert process.poll() is None
        try:
            return client.status().current_a is not None
        except DaemonUnreachableError:
            return False

    try:
        wait_until(answers, "the daemon answers")
        yield process, client
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


def test_a_run_on_it_and_a_loop_that_is_killed(daemon, device):
    process, client = daemon
    follow = device.on_write

    def conduct(address, value):
        """2 A flow while the output is on, and none while it is off."""
        follow(address, value)
        device.inputs |= {0x10: 2000, 0x11: 310} if device.inputs[0x12] & 1 else {0x10: 0, 0x11: 0}

    device.on_write = conduct
    assert client.status().supply == "Example Modbus supply, unit 1"
    answer = client.ask(StartRequest(plan=PLAN, who="Ann"))
    assert answer.ok, answer.error
    wait_until(lambda: (client.status().current_a or 0) > 1.9, "2 A flow")
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text()
    (loop,) = map(int, children.split())
    device.writes.clear()
    os.kill(loop, signal.SIGKILL)
    wait_until(lambda: (6, 0x22, [0]) in device.writes, "the guard says off")
    wait_until(lambda: device.inputs[0x10] == 0, "no current flows")
