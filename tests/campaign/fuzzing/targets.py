"""Everything that takes bytes from a wire, a file, a socket or a form, and how it may refuse them.

A target is fed with bytes; it takes them, or raises one of its refusals. Anything else that comes
out is a defect: `Defect` where it was raised by us, since what was taken is not what it should be.
"""

import io
import math
import tempfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import trimesh
from pydantic import TypeAdapter, ValidationError

from daemon.access.errors import UnreadableError
from daemon.access.operators import Operators
from daemon.api.calibration.log_columns import Told
from daemon.api.calibration.log_file import Content, open_log, read_head
from daemon.api.errors import InputError
from daemon.api.making.mixed import read_mixed
from daemon.api.making.recipe import read_recipe
from daemon.api.plans.file import read_plan
from daemon.api.socket.messages import Request
from daemon.bath.errors import PartError
from daemon.bath.parts.asked import Asked
from daemon.bath.parts.mesh import measured
from daemon.chemistry.metals import metal_named
from daemon.record.codec import decode_channels, encode
from daemon.record.entries import Sample
from daemon.record.errors import CorruptBlockError
from daemon.service.commands.recounting import Request as Counting
from daemon.service.commands.recounting import count
from daemon.service.settings.file import read_settings
from daemon.units import UnitError, parse
from drivers.channels.description import load_channel
from drivers.errors import DescriptionError, GarbledReplyError
from drivers.modbus import description as modbus
from drivers.scpi import description as scpi
from drivers.scpi.replies import (
    number_parser,
    pair_parser,
    parse_error,
    parse_status,
    parse_switch,
)

ROOT = Path(__file__).parents[3]


class DefectError(Exception):
    """What was taken is not what the target promises."""


@dataclass(frozen=True)
class Target:
    """What is fed, by which exceptions it may refuse, and bytes that it knows, to begin with."""

    name: str
    feed: Callable[[bytes], object]
    refusals: tuple[type[Exception], ...]
    seeds: tuple[bytes, ...]

    def take(self, data: bytes) -> bool:
        """Feed it; whether it took the bytes. Anything but its refusals comes out."""
        try:
            self.feed(data)
        except self.refusals as error:
            if not str(error).strip():
                raise DefectError("refused without a word") from error
            return False
        return True


def _finite(*numbers: float) -> None:
    if not all(map(math.isfinite, numbers)):
        raise DefectError(f"no numbers: {numbers}")


def _scpi(data: bytes) -> None:
    amperes, volts = number_parser("A", "maybe"), number_parser("V", "never")
    readers = (
        amperes,
        volts,
        pair_parser(amperes, volts, ",", voltage_first=True),
        parse_switch,
        parse_status,
        parse_error,
    )
    refused = []
    for read in readers:
        try:
            taken = read(data)
        except GarbledReplyError as error:
            refused.append(error)
            continue
        numbers = taken if isinstance(taken, tuple) else (taken,)
        _finite(*(each for each in numbers if isinstance(each, float)))
    if len(refused) == len(readers):
        raise refused[0]


def _in_file(read: Callable[[Path], object], data: bytes) -> None:
    with tempfile.TemporaryDirectory(dir="/dev/shm") as folder:
        path = Path(folder) / "file.toml"
        path.write_bytes(data)
        path.chmod(0o600)
        read(path)


def _text(read: Callable[[str, str], object], data: bytes) -> None:
    read(data.decode("utf-8", "replace"), "file")


def _log(data: bytes) -> None:
    content = Content(io.BufferedReader(io.BytesIO(data)))
    told = Told("1", "2", time_unit="s", current_unit="A", current_is="sample")
    head = read_head(content, "log", None)
    counted = count(open_log(head, told), content, Counting(told, metal_named("Cu(II)")))
    _finite(counted.charge.value, counted.charge.u)


def _mesh(kind: str, data: bytes) -> None:
    measured(data, Asked(kind, "mm"))


def _samples(data: bytes) -> None:
    # The check sum would keep all else from being tried.
    body = data[:-4] if len(data) > 4 else data
    decode_channels(body + zlib.crc32(body).to_bytes(4, "little"))


def _box(kind: str) -> bytes:
    made = trimesh.creation.box([20, 30, 40]).export(file_type=kind)
    return made.encode() if isinstance(made, str) else made


def _shipped(*patterns: str) -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for each in patterns for path in sorted(ROOT.glob(each)))


PLAN = b"""
title = "Lamp foot"
metal = "Cu(II)"
area = "1.8 dm2"
target = "25 um"
voltage_ceiling = "4 V"
[[stage]]
name = "strike"
current_density = "0.5 A/dm2"
ramp = "5 min"
until = { duration = "30 min", cell_voltage_below = "2 V" }
[[stage]]
name = "build"
current = "3.5 A"
[caps]
charge = "30 Ah"
duration = "12 h"
"""
SETTINGS = b"""
[supply]
port = "/dev/ttyUSB0"
greatest_current = "3 A"
[bath]
name = "Acid copper 1"
volume = "15 L"
[[bath.additive]]
name = "brightener"
rate = "150 mL/kAh"
dose = "5 mL"
[contactor]
heartbeat_pin = 17
[[interlock]]
name = "lid"
pin = 22
stop = "abort"
"""
RECIPE = b"""
volume = "10 L"
[target]
copper_sulfate = "200 g/L"
sulfuric_acid = "60 g/L"
chloride = "60 mg/L"
[acid]
strength = "37 %"
"""
MIXED = b"""
[poured]
copper_sulfate = "3.3 lb"
acid = "42.4 fl oz"
water = "3.68 gal"
[acid]
strength = "33 %"
"""
ASKS = (
    b'{"ask": "status"}',
    b'{"ask": "start", "plan": "title = 1", "who": "anna", "where": "page"}',
    b'{"ask": "hold", "who": "anna"}',
    b'{"ask": "settle", "run": 12, "charge_ah": 0.1, "who": "anna", "note": ""}',
)
LOG = b"time,current\n0,1.0\n1,1.1\n2,1.2\n4,1.1\n"
BLOB = encode([Sample(1, i / 10, 3.5 + i / 100, 2.2, 3.5, i / 1000) for i in range(50)])

FILES = (InputError,)
TARGETS = {
    target.name: target
    for target in (
        Target(
            "scpi reply",
            _scpi,
            (GarbledReplyError,),
            (b"1.234E+00", b"12 mA", b"ON", b'0,"No error"', b"1.2,3.4"),
        ),
        Target("plan", partial(_text, read_plan), FILES, (PLAN,)),
        Target("settings", partial(_in_file, read_settings), FILES, (SETTINGS,)),
        Target("recipe", partial(_text, read_recipe), FILES, (RECIPE,)),
        Target("mixed", partial(_text, read_mixed), FILES, (MIXED,)),
        Target(
            "scpi description",
            partial(_in_file, scpi.load_description),
            (DescriptionError,),
            _shipped("drivers/scpi/*.toml"),
        ),
        Target(
            "modbus description",
            partial(_in_file, modbus.load_description),
            (DescriptionError,),
            _shipped("drivers/modbus/*.toml"),
        ),
        Target(
            "channel description",
            partial(_in_file, load_channel),
            (DescriptionError,),
            _shipped("drivers/channels/*.toml"),
        ),
        Target(
            "quantity",
            lambda data: _finite(parse(data.decode("utf-8", "replace"), "A/dm²")),
            (UnitError,),
            (b"2.5 A/dm2", b"23 A/ft2"),
        ),
        Target("log", _log, FILES, (LOG,)),
        Target("stl", partial(_mesh, "stl"), (PartError,), (_box("stl"), _box("stl_ascii"))),
        Target("obj", partial(_mesh, "obj"), (PartError,), (_box("obj"),)),
        Target("ply", partial(_mesh, "ply"), (PartError,), (_box("ply"),)),
        Target("3mf", partial(_mesh, "3mf"), (PartError,), (_box("3mf"),)),
        Target("request", TypeAdapter(Request).validate_json, (ValidationError,), ASKS),
        Target(
            "operators",
            partial(_in_file, lambda path: Operators(path).all()),
            (UnreadableError,),
            (b'{"operators": []}',),
        ),
        Target("samples", _samples, (CorruptBlockError,), (BLOB,)),
    )
}
