"""An independent Modbus server, pymodbus's, at the other end of two linked pseudo terminals.

It plays the supply of the shipped description, or whatever a test makes of it.
"""

import asyncio
import os
import select
import threading
import tty
from collections import deque
from contextlib import suppress

import pytest
from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from drivers.modbus.description import Description, load_description
from drivers.modbus.supply import ModbusSupply

PATIENCE_MS = 5000
"""A time limit that a busy machine does not exceed; only what has to fail waits for it."""


class Link:
    """Two pseudo terminals, joined: what is written into one comes out of the other."""

    def __init__(self):
        self._masters, self._slaves = zip(os.openpty(), os.openpty(), strict=True)
        for fd in (*self._masters, *self._slaves):
            tty.setraw(fd)
        self.device, self.port = (os.ttyname(fd) for fd in self._slaves)
        self._stop_read, self._stop_write = os.pipe()
        self._pulled = False
        self._pump = threading.Thread(target=self._copy)
        self._pump.start()

    def say(self, data):
        """Have the port receive these bytes."""
        os.write(self._masters[1], data)

    def pull_out(self):
        """Pull the plug: the port hangs up."""
        self._halt()
        os.close(self._masters[1])
        self._pulled = True

    def close(self):
        self._halt()
        for fd in self._slaves + (self._masters[:1] if self._pulled else self._masters):
            os.close(fd)

    def _halt(self):
        if self._pump.is_alive():
            os.write(self._stop_write, b"x")
            self._pump.join()
            os.close(self._stop_read)
            os.close(self._stop_write)

    def _copy(self):
        other = dict(zip(self._masters, reversed(self._masters), strict=True))
        while True:
            ready = select.select([*self._masters, self._stop_read], [], [])[0]
            if self._stop_read in ready:
                return
            for fd in ready:
                with suppress(OSError):
                    os.write(other[fd], os.read(fd, 4096))


class Device:
    """What a Modbus server holds, and what it does wrong.

    `holding` and `inputs` are registers by address. `writes` is what was written, as (function,
    address, values). `refusals` maps (function, address) to an exception's code, `clips` an address
    to the greatest value it takes. `faults` are applied to the next replies, one each: functions
    from the right bytes to those that are sent.
    """

    def __init__(self, unit=1):
        self.unit = unit
        self.holding = {0: 3005, 0x20: 0, 0x21: 0, 0x22: 0, 0x23: 0}
        self.inputs = {0x10: 0, 0x11: 0, 0x12: 0}
        self.coils = [False] * 16
        self.writes = []
        self.reads = []
        self.frames = []
        self.refusals = {}
        self.clips = {}
        self.faults = deque()
        self.on_write = self.obey

    def obey(self, address, value):
        """Like the shipped description's supply: the status follows the output."""
        if address == 0x22:
            self.inputs[0x12] = self.inputs[0x12] & ~1 | value

    def ignore(self, address, value):
        """Hold what is written, and do nothing about it."""

    async def action(self, function, start, address, count, registers, values):
        if code := self.refusals.get((function, address)):
            return ExcCodes(code)
        if values is not None:
            self.writes.append((function, address, list(values)))
            for offset, value in enumerate(values):
                if function in (6, 16):
                    values[offset] = min(value, self.clips.get(address + offset, 0xFFFF))
                    self.holding[address + offset] = values[offset]
                self.on_write(address + offset, values[offset])
            return None
        self.reads.append((function, address, count))
        table = {3: self.holding, 4: self.inputs}.get(function, {})
        for offset in range(count):
            if address + offset in table:
                registers[address + offset - start] = table[address + offset]
        return None

    def trace(self, sending, data):
        """The server's frames: heard ones are noted, replies spoiled as ordered."""
        if not sending:
            self.frames.append(data)
        elif self.faults:
            return self.faults.popleft()(data)
        return data

    def sim_device(self):
        def registers(table):
            return [SimData(a, values=[v], datatype=DataType.REGISTERS) for a, v in table.items()]

        bits = [SimData(0, values=self.coils, datatype=DataType.BITS)]
        blocks = (bits, list(bits), registers(self.holding), registers(self.inputs))
        return SimDevice(id=self.unit, simdata=blocks, action=self.action)


class Server:
    """pymodbus's serial server in a thread of its own."""

    def __init__(self, port, device):
        self._ready = threading.Event()
        self._device = device
        self._port = port
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve()))
        self._thread.start()
        self._ready.wait()

    async def _serve(self):
        self._loop = asyncio.get_running_loop()
        self._server = ModbusSerialServer(
            self._device.sim_device(),
            port=self._port,
            baudrate=9600,
            trace_packet=self._device.trace,
        )
        await self._server.serve_forever(background=True)
        self._stopped = asyncio.Event()
        self._ready.set()
        await self._stopped.wait()
        await self._server.shutdown()

    def close(self):
        self._loop.call_soon_threadsafe(self._stopped.set)
        self._thread.join()


@pytest.fixture
def link():
    """Two linked pseudo terminals."""
    pair = Link()
    yield pair
    pair.close()


@pytest.fixture
def device():
    """What the server will hold; change it before `serve`, or while it runs."""
    return Device()


@pytest.fixture
def serve(link, device):
    """Start the server with the device as it is now; gives the port to talk to it."""
    servers = []

    def start():
        servers.append(Server(link.device, device))
        return link.port

    yield start
    for server in servers:
        server.close()


@pytest.fixture
def described():
    """The shipped description with tables changed: keywords are tables, their values changes.

    None takes a table out; a dict changes keys of one that is there, or makes a new one.
    """

    def change(**tables) -> Description:
        whole = load_description("modbus-example").model_dump()
        limits = {"reply_timeout_ms": PATIENCE_MS, "write_timeout_ms": PATIENCE_MS}
        for name, keys in {"line": {}, **tables}.items():
            if name == "line":
                keys = limits | keys
            whole[name] = (whole.get(name) or {}) | keys if isinstance(keys, dict) else keys
        return Description.model_validate(whole)

    return change


@pytest.fixture
def opened(serve, described):
    """Serve and open a supply with a changed description; `now` stands still at 0."""
    supplies = []

    def start(description=None, now=lambda: 0.0):
        supply = ModbusSupply(serve(), description or described(), now)
        supplies.append(supply)
        supply.open()
        return supply

    yield start
    for supply in supplies:
        supply.close()
