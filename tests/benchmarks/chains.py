"""Measuring chains for accuracy.py: ammeters that err, on one simulated tank and a virtual clock.

From the port or the kernel's file on, everything is tankhand's own: settings, drivers, workers,
panel, loop. What stands behind it is simulated here: a supply that answers SCPI (the simulator's
server) or Modbus RTU (pymodbus's), or a chip on a shunt. Each errs by a gain and an offset, adds
noise, and then rounds, as converters do. The virtual clock stands still during an exchange.

Chips convert without a pause; the file holds the last finished conversion, the mean over its
window. Sizes of their errors are typical of data sheets (from memory, not checked).
"""

import importlib.util
import math
import os
import random
import threading
import tty
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

from daemon.control.panel import MeterFacts
from daemon.service.devices.assembly import Meters, make_meters, make_supply
from daemon.service.keeping.calibration import known_meters
from daemon.service.settings.file import Settings, read_settings
from drivers.contracts import Meter, Mode, Rating, Supply
from drivers.files import description_path
from drivers.simulator.bench import Bench
from drivers.simulator.power import BenchSupply, Measurement
from drivers.simulator.scenario import Scenario
from drivers.simulator.server import Server
from drivers.simulator.tank import Tank
from drivers.simulator.wire import Wire

TESTS = Path(__file__).parents[1]


def fixtures(room: str) -> ModuleType:
    """What the tests of a room share, its conftest.py."""
    name = f"fixtures_of_{room.replace('/', '_')}"
    spec = importlib.util.spec_from_file_location(name, TESTS / room / "conftest.py")
    if spec is None or spec.loader is None:
        raise ImportError(f"{TESTS / room}: holds no conftest.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


MODBUS, SERVICE, CHANNELS = map(fixtures, ("drivers/modbus", "service", "drivers/channels"))

GAIN = 1.01
"""What each meter shows for an ampere: 1 % too much."""

REPLY_TIMEOUT_MS = 5000
"""A busy machine does not exceed it, and only real time counts towards it."""

SETTINGS = """\
[supply]
port = "{port}"
description = "supply.toml"
accuracy = {{ gain = "1.5 %", offset = "10 mA" }}
[bath]
name = "Acid copper"
[loop]
period = "1 s"
gap = "2.5 s"
lost = "5 s"
[simulation]
sysfs = "sys"
"""

METER = """\
[[meter]]
name = "shunt"
description = "{description}"
shunt = {{ rated_current = "30 A", rated_voltage = "{rated_mv:g} mV" }}
accuracy = {{ gain = "1.5 %", offset = "10 mA" }}
"""


@dataclass(frozen=True, slots=True)
class Readback:
    """The ammeter of a supply: its offset, noise (one standard deviation) and last digit, A."""

    offset_a: float
    noise_a: float
    step_a: float


@dataclass(frozen=True, slots=True)
class Chip:
    """A converter on a shunt for 30 A, by the description that ships for it.

    rated_mv is the shunt's voltage at 30 A. Offset, noise and step are of the voltage at it.
    `kernel` makes of a count what the kernel's file shows.
    """

    description: str
    rated_mv: float
    offset_uv: float
    noise_uv: float
    step_uv: float
    window_ms: float
    kernel: Callable[[int], int] = int


@dataclass(frozen=True, slots=True)
class Kind:
    """A chain to be measured: which protocol the supply speaks, and the ammeter that counts."""

    name: str
    protocol: str
    ammeter: Readback | Chip


def ina228_ma(count: int) -> int:
    """Told of 100 µΩ the kernel takes a count for 3125 µA, and shows whole mA."""
    return math.floor(count * 3.125 + 0.5)


KINDS = (
    Kind("SCPI supply's readback", "scpi", Readback(0.005, 0.001, 0.001)),
    Kind("Modbus RTU supply's readback", "modbus", Readback(0.008, 0.001, 0.001)),
    Kind("INA226, 60 mV shunt", "scpi", Chip("ina226", 60.0, 8.0, 2.0, 2.5, 35.2)),
    Kind("INA219, 60 mV shunt", "scpi", Chip("ina219", 60.0, 12.0, 5.0, 10.0, 1.1)),
    Kind("INA228, 60 mV shunt", "scpi", Chip("ina228", 60.0, 1.0, 0.5, 0.3125, 50.5, ina228_ma)),
    Kind("ADS1115, 75 mV shunt", "scpi", Chip("ads1115-shunt", 75.0, 15.0, 4.0, 7.8125, 125.0)),
)


class ErringSupply(BenchSupply):
    """The simulator's supply with an ammeter that errs."""

    def __init__(self, readback: Readback, scenario: Scenario, tank: Tank, seed: int) -> None:
        super().__init__(scenario.supply, tank, random.Random(f"voltage {seed}"))
        self._readback = readback
        self._chance = random.Random(f"readback {seed}")

    def measure(self) -> Measurement:
        """What it shows; the voltage is right."""
        errs = self._readback
        shown_a = GAIN * self.current_a + errs.offset_a + self._chance.gauss(0.0, errs.noise_a)
        return super().measure()._replace(current_a=round(shown_a / errs.step_a) * errs.step_a)


class World:
    """The tank and its supply, the virtual clock, and the chip on the shunt if there is one."""

    def __init__(self, ammeter: Readback | Chip, seed: int) -> None:
        self.clock = SERVICE.VirtualClock()
        scenario = Scenario()
        self.bench = Bench(scenario, self.clock.now_s, seed)
        if isinstance(ammeter, Readback):
            self.bench.supply = ErringSupply(ammeter, scenario, self.bench.tank, seed)
        self._charges_ah: deque[tuple[float, float]] = deque([(self.clock.now_s, 0.0)], maxlen=8)
        self.converted: Callable[[], None] = lambda: None

    def advance(self, seconds: float) -> None:
        """Let time pass."""
        self.clock.now_s += seconds
        self.follow()

    def follow(self) -> None:
        """Have tank and chip catch up with the clock."""
        if self._charges_ah[-1][0] < self.clock.now_s:
            self.converted()
            self.charge_ah(self.clock.now_s)

    @property
    def true_a(self) -> float:
        """The current that flows now, A."""
        return self.bench.supply.current_a

    def charge_ah(self, at_s: float) -> float:
        """The true charge up to a moment that is not longer ago than a window, A·h."""
        if at_s > self._charges_ah[-1][0]:
            self.bench.advance_to(at_s)
            truth = self.bench.truth()
            self._charges_ah.append((at_s, truth.charge_ah + truth.shunted_ah))
        after_s, after_ah = self._charges_ah[-1]
        for before_s, before_ah in reversed(self._charges_ah):
            if before_s <= at_s:
                share = (at_s - before_s) / (after_s - before_s) if after_s > before_s else 0.0
                return before_ah + share * (after_ah - before_ah)
            after_s, after_ah = before_s, before_ah
        return after_ah


class Conversion:
    """A chip at work: its newest count, as the file in a folder that stands for /sys shows it."""

    def __init__(self, chip: Chip, world: World, root: Path, seed: int) -> None:
        self._chance = random.Random(f"chip {seed}")
        self._chip = chip
        self._world = world
        self._ohm = GAIN * chip.rated_mv * 1e-3 / 30.0
        self._window_s = chip.window_ms * 1e-3
        folder, current = _folder(chip, CHANNELS.Sysfs(root))
        self._current = os.open(folder / current, os.O_WRONLY)
        # What reads the voltage too is a chip on hwmon.
        voltage = folder / "in1_input"
        self._voltage = os.open(voltage, os.O_WRONLY) if voltage.exists() else None
        self.convert()

    def close(self) -> None:
        """Let go of the files."""
        for fd in (self._current, self._voltage):
            if fd is not None:
                os.close(fd)

    def convert(self) -> None:
        """Show the last conversion that is finished."""
        chip, world = self._chip, self._world
        ended_s = world.clock.now_s // self._window_s * self._window_s
        from_ah = world.charge_ah(ended_s - self._window_s)
        mean_a = (world.charge_ah(ended_s) - from_ah) * 3600.0 / self._window_s
        true_uv = mean_a * self._ohm * 1e6
        seen_uv = true_uv + chip.offset_uv + self._chance.gauss(0.0, chip.noise_uv)
        _show(self._current, chip.kernel(round(seen_uv / chip.step_uv)))
        if self._voltage is not None:
            _show(self._voltage, round(world.bench.supply.measure().voltage_v * 1e3))


def _folder(chip: Chip, sysfs: Any) -> tuple[Path, str]:
    """The chip's folder as the kernel lays it out, and the name of the current's file."""
    if chip.description == "ads1115-shunt":
        file = "in_voltage0-voltage1_raw"
        files = {file: 0, "in_voltage0-voltage1_scale": "0.007812500"}
        return sysfs.iio(0, "ads1115", "1-0048", files), file
    folder: Path = sysfs.hwmon(
        0, chip.description, "1-0040", curr1_input=0, in1_input=0, power1_input=0
    )
    if chip.description == "ina228":
        (folder / "device/of_node").mkdir()
        (folder / "device/of_node/shunt-resistor").write_bytes((100).to_bytes(4, "big"))
    else:
        told_uohm = {"ina226": 2500, "ina219": 10000}[chip.description]
        (folder / "shunt_resistor").write_text(f"{told_uohm}\n")
    return folder, "curr1_input"


def _show(fd: int, value: int) -> None:
    # In place and of one width, as the driver keeps the file open.
    os.pwrite(fd, f"{value:8d}\n".encode(), 0)


@contextmanager
def scpi_port(world: World) -> Iterator[str]:
    """The simulator's server on a pseudo terminal, in a thread; its port."""
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    stop_read, stop_write = os.pipe()
    control_read, control_write = os.pipe()
    server = Server(
        world.bench,
        Wire(),
        world.clock.monotonic_s,
        master_fd=master,
        control_in_fd=control_read,
        control_out_fd=control_write,
        stop_fd=stop_read,
    )
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield os.ttyname(slave)
    finally:
        os.write(stop_write, b"x")
        thread.join()
        for fd in (master, slave, stop_read, stop_write, control_read, control_write):
            os.close(fd)


class Registers(MODBUS.Device):  # type: ignore[misc, name-defined]
    """The supply of the shipped register map, with the simulated one behind it."""

    def __init__(self, world: World) -> None:
        super().__init__()
        self._world = world
        self.on_write = self._obey

    async def action(self, *request: Any) -> Any:
        """Answer a request, with what is measured at that moment."""
        supply = self._world.bench.supply
        self._world.bench.advance_to(self._world.clock.now_s)
        shown = supply.measure()
        mode = {None: 0, Mode.CONSTANT_CURRENT: 2, Mode.CONSTANT_VOLTAGE: 4}[shown.mode]
        self.inputs |= {
            0x10: max(0, round(shown.current_a * 1000)),
            0x11: max(0, round(shown.voltage_v * 100)),
            0x12: supply.output_on | mode,
        }
        return await super().action(*request)

    def _obey(self, address: int, value: int) -> None:
        supply = self._world.bench.supply
        if address == 0x20:
            supply.program_current(value / 1000)
        elif address == 0x21:
            supply.program_voltage(value / 100)
        elif address == 0x22:
            supply.switch(value == 1)


@contextmanager
def modbus_port(world: World) -> Iterator[str]:
    """pymodbus's server behind two linked pseudo terminals; the port."""
    link = MODBUS.Link()
    try:
        server = MODBUS.Server(link.device, Registers(world))
        try:
            yield link.port
        finally:
            server.close()
    finally:
        link.close()


class Chain:
    """A tank with its meters, open; `run` in accuracy.py puts the daemon's inside on it."""

    def __init__(self, world: World, settings: Settings) -> None:
        self.world = world
        self.settings = settings
        supply, rating = make_supply(settings, world.clock)
        self.supply: Supply = supply
        self.meters: Meters = make_meters(settings, world.clock, rating)
        self.supply.open()
        for meter in self.meters.meters.values():
            meter.open()
        self.rating: Rating = self.meters.narrowed(rating)
        self.facts: dict[str, MeterFacts] = known_meters(self.meters.doubts(), {})

    @property
    def counting(self) -> Meter | Supply:
        """What reads the current that counts."""
        return self.meters.meters.get(self.meters.counting, self.supply)

    def close(self) -> None:
        """Let go of everything."""
        self.supply.close()
        for meter in self.meters.meters.values():
            meter.close()


@contextmanager
def chain(kind: Kind, folder: Path, seed: int) -> Iterator[Chain]:
    """Set up a chain in an empty folder."""
    ammeter = kind.ammeter
    world = World(ammeter, seed)
    port_of = {"scpi": scpi_port, "modbus": modbus_port}[kind.protocol]
    with ExitStack() as stack:
        text = SETTINGS.format(port=stack.enter_context(port_of(world)))
        if isinstance(ammeter, Chip):
            conversion = Conversion(ammeter, world, folder / "sys", seed)
            stack.callback(conversion.close)
            world.converted = conversion.convert
            text += METER.format(description=ammeter.description, rated_mv=ammeter.rated_mv)
        name = {"scpi": "scpi99", "modbus": "modbus-example"}[kind.protocol]
        (folder / "supply.toml").write_text(_patient(description_path(name).read_text()))
        (folder / "settings.toml").write_text(text)
        made = Chain(world, read_settings(folder / "settings.toml"))
        stack.callback(made.close)
        yield made


def _patient(description: str) -> str:
    """A shipped description on a fast line, with time for a busy machine."""
    lines = []
    for line in description.splitlines():
        key = line.partition(" = ")[0]
        changed = {"reply_timeout_ms": REPLY_TIMEOUT_MS, "baud": 115200}.get(key)
        lines.append(line if changed is None else f"{key} = {changed}")
    return "\n".join(lines) + "\n"
