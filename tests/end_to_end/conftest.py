"""Real processes: a simulated tank on a pty, and the daemon that drives it.

Nothing here waits for a time; `until` waits for an outcome, with a bound that only a failure meets.
"""

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import expect

from daemon.api.socket.client import Client, DaemonUnreachableError
from daemon.api.socket.messages import ActRequest, StartRequest
from daemon.record import queries
from daemon.record.series import samples
from daemon.record.store import open_reader
from drivers.simulator.process import SimulatorProcess

PATIENCE_S = 60.0
"""Real s until something that has to happen counts as not happening: for machines that are busy."""

JUMPS_AH = 3 / 3600
"""A·h that the count may be off for the run's jumps of current: each is known to the length of an
exchange, which a fast clock stretches to a second."""

SETTINGS = """\
[supply]
port = "{port}"
[bath]
name = "Acid copper"
[loop]
period = "{period:g} s"
gap = "{gap:g} s"
lost = "{lost:g} s"
[guard]
beat_limit = "{beat_limit:g} s"
[page]
{page}
[simulation]
rate = {rate}
origin_s = {origin}
"""

PLAN = """\
title = "Bracket"
area = "1.8 dm²"
target = "{target_um:g} µm"
voltage_ceiling = "6 V"
caps = {{ charge = "2 Ah", duration = "5 h" }}
[[stage]]
name = "strike"
current = "0.5 A"
ramp = "5 s"
until = {{ duration = "20 s" }}
[[stage]]
name = "build"
current = "2 A"
"""

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

AMPERES_PER_COUNT = 2.5e-6 / 0.002
"""One count of the shipped ina226's converter over its shunt of 60 mV at 30 A."""


def wait_until(holds, what, limit_s=None):
    """Ask again and again until `holds()` is true, and give what it gave."""
    give_up_s = time.monotonic() + (limit_s or PATIENCE_S)
    while True:
        found = holds()
        if found:
            return found
        assert time.monotonic() < give_up_s, f"waited in vain until {what}"
        time.sleep(0.02)


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as server:
        return server.getsockname()[1]


def children(pid):
    """The pids of a process's children, each with its command line."""
    found = {}
    try:
        pids = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        for child in pids:
            found[int(child)] = Path(f"/proc/{child}/cmdline").read_bytes().decode()
    except OSError:
        return {}
    return found


def runs_still(pid):
    """Whether a process is there and not only waiting to be reaped."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


class Daemon:
    """One daemon: its settings in a folder of its own, its processes, its record."""

    def __init__(
        self, folder, port, rate, origin_s, *, page=None, beat_limit_s=3.0, tick_s=0.1, more="",
        environment=None,
    ):  # fmt: skip
        self.folder = folder
        self._environment = {**os.environ, **(environment or {})}
        folder.mkdir(exist_ok=True)
        self.settings = folder / "settings.toml"
        self.settings.write_text(
            SETTINGS.format(
                port=port, rate=rate, origin=origin_s, period=tick_s * rate,
                gap=10 * tick_s * rate, lost=40 * tick_s * rate, beat_limit=beat_limit_s,
                page="on = false" if page is None else f'listen = "127.0.0.1:{page}"',
            )
            + more
        )  # fmt: skip
        self.client = Client(folder / "control.sock", timeout_s=30.0)
        self._log = folder / "stderr.txt"
        self.process = None

    def start(self):
        """Start the guard, and with it all the rest."""
        command = [sys.executable, "-m", "daemon.service.commands.cli", "serve"]
        with self._log.open("ab") as log:
            self.process = subprocess.Popen(
                [*command, "--settings", str(self.settings)],
                stdout=log, stderr=log, start_new_session=True, env=self._environment,
            )  # fmt: skip
        return self

    def ready(self):
        """Wait until it answers and has read the supply."""
        wait_until(self._answers, f"the daemon answers; it said: {self.said()}")
        return self

    def _answers(self):
        assert self.process.poll() is None, f"the daemon has ended: {self.said()}"
        status = self.status()
        return status is not None and status.current_a is not None

    def said(self):
        """All that its processes have said."""
        return self._log.read_text() if self._log.exists() else ""

    def status(self):
        """Its word, None while nobody answers."""
        try:
            return self.client.status()
        except DaemonUnreachableError:
            return None

    def until_state(self, *states):
        return wait_until(
            lambda: (status := self.status()) and status.state in states and status,
            f"the state is {' or '.join(states)}; it said: {self.said()}",
        )

    def plate(self, target_um=12.0):
        """Start a run and wait until it is in its second stage, at full current."""
        plan = PLAN.format(target_um=target_um)
        answer = self.client.ask(StartRequest(plan=plan, who="Ann"))
        assert answer.ok, answer.error
        return wait_until(
            lambda: (
                (status := self.status())
                and status.run is not None
                and status.run.stage == 1
                and (status.current_a or 0) > 1.9
                and status
            ),
            f"2 A flow; it said: {self.said()}",
        )

    def act(self, name):
        return self.client.ask(ActRequest(ask=name, who="Ann"))

    @property
    def loop_pid(self):
        """The loop's process."""
        return wait_until(lambda: self._child("daemon.service.main"), "the guard has a loop")

    @property
    def page_pid(self):
        """The page's process."""
        return wait_until(lambda: self._child("web"), "the guard has a page")

    def _child(self, module):
        found = children(self.process.pid).items()
        return next((pid for pid, line in found if f"-m\0{module}\0" in line), None)

    def end(self, number=signal.SIGTERM):
        """Send the guard a signal and wait for its end; its exit code."""
        self.process.send_signal(number)
        return self.process.wait(PATIENCE_S)

    def kill_all(self):
        """Leave nothing behind, whatever a test has done."""
        if self.process is None:
            return
        pids = [*children(self.process.pid), self.process.pid]
        for pid in pids:
            if runs_still(pid):
                os.kill(pid, signal.SIGCONT)
        self.process.terminate()
        try:
            self.process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        wait_until(lambda: not any(runs_still(pid) for pid in pids), "its processes are gone")

    def cli(self, *words):
        """The real command line: exit code, lines of stdout, lines of stderr."""
        done = subprocess.run(
            [sys.executable, "-m", "daemon.service.commands.cli", *map(str, words),
             "--settings", str(self.settings)],
            capture_output=True, text=True, timeout=PATIENCE_S, check=False,
        )  # fmt: skip
        return done.returncode, done.stdout.splitlines(), done.stderr.splitlines()

    def record(self, ask, *arguments, **more):
        """Ask the record one of `daemon.record.queries`."""
        engine = open_reader(self.folder / "record.sqlite")
        try:
            with engine.connect() as connection:
                return ask(connection, *arguments, **more)
        finally:
            engine.dispose()

    def run_record(self, run_id=1):
        """The run as the record has it when it is over: the record comes after the status."""
        return wait_until(
            lambda: (run := self.record(queries.one_run, run_id)).state != "running" and run,
            f"the end of run {run_id} is in the record",
        )

    def samples(self, run_id=1):
        return self.record(lambda connection: list(samples(connection, run_id, 0.0, 1e9)))

    def events(self, kind):
        """The texts of the events of a kind, oldest first."""
        found = self.record(queries.events, limit=1000)
        return [event.text for event in reversed(found) if event.kind == kind]

    def ledger(self):
        """The bath's entries, oldest first."""
        (bath,) = self.record(queries.baths)
        return list(reversed(self.record(queries.ledger_entries, bath.id, limit=1000)))


class MockPins:
    """The pins of a daemon's processes: see mock_pins/sitecustomize.py."""

    def __init__(self, folder):
        self._folder = folder
        folder.mkdir()
        code = str(Path(__file__).parent / "mock_pins")
        path = os.pathsep.join(filter(None, [code, os.environ.get("PYTHONPATH")]))
        self.environment = {"TANKHAND_MOCK_PINS": str(folder), "PYTHONPATH": path}
        self.changes = folder / "edges"
        """A line for each change of an output: monotonic s, pin, level."""

    def levels(self, levels):
        """The inputs' levels when a loop starts."""
        lines = [f"{pin} {level}" for pin, level in levels.items()]
        (self._folder / "levels").write_text("\n".join(lines))

    def drive(self, pin, level):
        """Have an input show this level from now on."""
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as outbox:
            outbox.sendto(f"{pin} {level}".encode(), str(self._folder / "drive"))

    def set_wall(self, seconds):
        """Set the daemon's wall clock by so much."""
        (self._folder / "wall").write_text(f"{seconds}")

    def edges(self, pin):
        """The changes of an output so far: monotonic s, and the level since then."""
        lines = self.changes.read_text().splitlines() if self.changes.exists() else []
        found = [line.split() for line in lines]
        return [(float(at_s), int(level)) for at_s, number, level in found if int(number) == pin]


class Contactor:
    """A contactor in the tank's circuit that follows the heartbeat on mock pins, in a thread.

    It lets go `lets_go_s` after the last edge. `forced` is one that is kept closed.
    """

    HEARTBEAT = 17

    def __init__(self, tank, pins, lets_go_s):
        self._tank = tank
        self._changes = pins.changes
        self.lets_go_s = lets_go_s
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._follow)
        self.last_edge_s = -float("inf")
        self.forced = False
        self.closed = True
        self._changes.touch()

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._stop.set()
        self._thread.join()

    def truth(self):
        """What really happened in the tank."""
        with self._lock:
            return self._tank.truth()

    def _follow(self):
        with self._changes.open() as lines:
            while not self._stop.wait(0.005):
                for line in lines:
                    at_s, pin, _level = line.split()
                    if int(pin) == self.HEARTBEAT:
                        self.last_edge_s = float(at_s)
                moves = time.monotonic() - self.last_edge_s < self.lets_go_s
                if self.closed != (moves or self.forced):
                    self._move()

    def _move(self):
        with self._lock:
            self._tank.inject("open_load" if self.closed else "mend")
        self.closed = not self.closed


SWING = """
import os, sys
fd = os.open(sys.argv[1], os.O_WRONLY)
lines = [line.encode() for line in sys.argv[2:]]
while True:
    for line in lines:
        os.pwrite(fd, line, 0)
"""


class Kernel:
    """A folder that stands for /sys. A thread writes into it what the shunt shows.

    `shows` makes that, A, of the true current, A. `ripple_share` is the height of the ripple that
    swings about that, a share of it.
    """

    ripple_share = 0.0

    def __init__(self, root, tank, shows):
        self.settings = METERS.format(sysfs=root)
        self._tank = tank
        self._shows = shows
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
        self._temperature = thermometer / "temperature"
        self.warm(24.125)
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

    def warm(self, temperature_c):
        """What the thermometer shows, °C; None: nothing, as one whose wire is broken."""
        shown = "" if temperature_c is None else f"{round(1000 * temperature_c)}\n"
        self._temperature.write_text(shown)

    def truth(self):
        """What really happened in the tank."""
        with self._lock:
            return self._tank.truth()

    def _write(self):
        fd = os.open(self.current, os.O_WRONLY)
        while not self._stop.is_set():
            counts = self._shows(self.truth().current_a) / AMPERES_PER_COUNT
            if self.ripple_share == 0.0:
                # In place and of one width, as the daemon keeps the file open.
                os.pwrite(fd, f"{round(counts):8d}\n".encode(), 0)
                time.sleep(0.002)
            else:
                self._swing(counts)
        os.close(fd)

    def _swing(self, counts):
        """Have a rectangle written as fast as it goes, by a process that does nothing else.

        Its top and its bottom are uneven by a twentieth, since a converter never repeats itself.
        """
        tops = [self.ripple_share * (1 + 0.01 * uneven) for uneven in (-5, 2, -1, 5, -2, 1)]
        shares = [1 + top for top in tops] + [1 - top for top in tops]
        lines = [f"{round(counts * share):8d}\n" for share in shares]
        with subprocess.Popen([sys.executable, "-c", SWING, str(self.current), *lines]) as swing:
            while self.ripple_share and not self._stop.is_set():
                time.sleep(0.002)
            swing.kill()


@pytest.fixture
def mock_pins(tmp_path):
    """Mock pins for a daemon that is started with their environment."""
    return MockPins(tmp_path / "pins")


@pytest.fixture
def new_contactor(tank, mock_pins):
    """Make a contactor that follows the heartbeat; how long it takes to let go, s."""
    with ExitStack() as stack:
        yield lambda lets_go_s: stack.enter_context(Contactor(tank, mock_pins, lets_go_s))


@pytest.fixture
def rate():
    """How fast the clocks run; a test module may say otherwise."""
    return 20.0


@pytest.fixture
def origin_s():
    return time.monotonic()


@pytest.fixture
def tank(rate, origin_s):
    """The simulated tank's process."""
    with SimulatorProcess(rate=rate, origin_s=origin_s) as process:
        yield process


@pytest.fixture
def new_daemon(tmp_path, tank, rate, origin_s):
    """Make a daemon on the tank, by name of its folder; not yet started."""
    with ExitStack() as stack:

        def make(name="one", port=tank.port, **more):
            daemon = Daemon(tmp_path / name, port, rate, origin_s, **more)
            stack.callback(daemon.kill_all)
            return daemon

        yield make


@pytest.fixture
def daemon(new_daemon):
    """A daemon that is ready."""
    return new_daemon().start().ready()


@pytest.fixture
def shunt_shows():
    """What the shunt shows, A, for a true current, A; a test module may say otherwise."""
    return lambda current_a: current_a


@pytest.fixture
def kernel(tmp_path, tank, shunt_shows):
    """A shunt and a thermometer on the tank, for a daemon with `more=kernel.settings`."""
    with Kernel(tmp_path / "sys", tank, shunt_shows).following() as kernel:
        yield kernel


@pytest.fixture
def no_current(tank):
    """Wait until the tank's own truth says that no current flows."""

    def wait():
        wait_until(lambda: tank.truth().current_a < 1e-3, "no current flows in the tank")

    return wait


@pytest.fixture(scope="session")
def agrees():
    """Assert that a counted charge is the true one: to 0.2 % and JUMPS_AH, or between its bounds.

    A machine that is busy elsewhere may leave the loop without readings for a while.
    """

    def agrees(run, true_ah):
        assert (run.charge_ah + run.gap_least_ah) * 0.998 - JUMPS_AH < true_ah
        assert true_ah < (run.charge_ah + run.gap_greatest_ah) * 1.002 + JUMPS_AH

    return agrees


@pytest.fixture(name="wait_until")
def _wait_until():
    return wait_until


@pytest.fixture(name="runs_still")
def _runs_still():
    return runs_still


@pytest.fixture(name="free_port")
def _free_port():
    return free_port()


@pytest.fixture
def open_page(free_port, browser):
    """Open the page's address, once it is served, in a browser that waits long; options of a page.

    Nothing is loaded yet. Gives the page and the address.
    """

    def listens():
        with socket.socket() as knock:
            return knock.connect_ex(("127.0.0.1", free_port)) == 0

    with ExitStack() as stack:

        def open_page(**options):
            wait_until(listens, "the page is served")
            page = browser.new_page(**options)
            stack.callback(page.close)
            page.set_default_timeout(1e3 * PATIENCE_S)
            expect.set_options(timeout=1e3 * PATIENCE_S)
            stack.callback(expect.set_options, timeout=None)
            return page, f"http://127.0.0.1:{free_port}"

        yield open_page


@pytest.fixture
def taken_port():
    """A port that somebody else listens on."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]
