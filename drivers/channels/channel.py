"""One file of the kernel's as one value: count times scale, plus offset.

The file is kept open and read from its start again, which for a driver's file means a new look at
the chip. Whatever is no measurement is an exception, never 0: an error of the bus, an empty file, a
text that is no number, a converter at its stop, a value that the chip gives when it has none.

A read takes as long as the kernel's driver takes (some 0.1 ms on I2C, 750 ms for a thermometer on
1-Wire that converts at 12 bit; from memory, not checked), and no limit can be set to it: whoever
must not wait reads in a thread of its own.
"""

import errno
import math
import os
import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from drivers.channels.sysfs import SYSFS, Bus, find_chip
from drivers.errors import (
    GarbledReplyError,
    LinkError,
    NoReplyError,
    PortUnavailableError,
    WrongDeviceError,
)

_NUMBER = re.compile(rb"\s*([+-]?[0-9]+(?:\.[0-9]+)?)\s*")

_READ_BYTES = 64
"""More than a number takes; a text that fills it is none."""

_CELL_BYTES = 4

_SETTING_SLACK = 0.01
"""Older kernels give a shunt back as the chip's calibration register rounds it, up to 0.4 % off;
two settings that could be confused differ by far more."""

_GONE = {
    errno.ENOENT: "there is no such file; is the chip connected, and its channel set up?",
    errno.ENODEV: "the chip was taken away",
    errno.ENXIO: "the chip was taken away",
    errno.EBUSY: "something else uses the chip",
    errno.EACCES: "this user may not read it",
}
"""What means that the file cannot be had at all; any other error may be over at the next look."""


@dataclass(frozen=True, slots=True)
class Setting:
    """A setting of the kernel's that the scale depends on, as a file beside the channel's.

    `cells` tells that the file is a property of the device tree, a 32-bit big-endian number, and
    not text.
    """

    file: str
    value: float
    cells: bool = False


@dataclass(frozen=True, slots=True)
class Source:
    """Which file of which chip, which settings it relies on, and which counts are no measurement.

    A count beyond `greatest_count`, of either sign, means that the converter is at its stop.
    `scale_file` holds a factor that is read when the chip is found.
    """

    bus: Bus
    names: Sequence[str]
    address: str
    file: str
    scale_file: str | None = None
    settings: Sequence[Setting] = ()
    greatest_count: float = math.inf
    void_counts: Sequence[int] = ()


class Channel:
    """A value in `unit`: count × scale (× what `scale_file` says) + offset. For one thread.

    A value that is not between `least` and `greatest` is refused. Every method but `close` raises
    `LinkError` or a child of it, or `WrongDeviceError`. A channel that is not open, or was lost,
    is looked for at the next read: the chip may have come back under another number.
    """

    def __init__(
        self,
        source: Source,
        unit: str,
        scale: float,
        offset: float = 0.0,
        least: float = -math.inf,
        greatest: float = math.inf,
        root: Path = SYSFS,
    ) -> None:
        self._source = source
        self._unit = unit
        self._unscaled = scale
        self._scale = scale
        self._offset = offset
        self._least = least
        self._greatest = greatest
        self._root = root
        self._path = Path(source.file)
        self._fd = -1

    @property
    def step(self) -> float:
        """What one count is; with a `scale_file` known after `open`."""
        return abs(self._scale)

    @property
    def full_scale(self) -> float:
        """The greatest magnitude that is not refused; with a `scale_file` known after `open`."""
        return abs(self._scale) * self._source.greatest_count

    def open(self) -> None:
        """Find the chip, check its settings, read the scale, and open the file."""
        self.close()
        source = self._source
        folder = find_chip(self._root, source.bus, source.names, source.address)
        for setting in source.settings:
            _check_setting(folder / setting.file, setting)
        if source.scale_file is not None:
            self._scale = self._unscaled * _read_factor(folder / source.scale_file)
        self._path = folder / source.file
        try:
            self._fd = os.open(self._path, os.O_RDONLY | os.O_CLOEXEC)
        except OSError as error:
            raise _failure(self._path, error) from error

    def close(self) -> None:
        """Let go of the file. Never raises; may be called twice."""
        fd, self._fd = self._fd, -1
        if fd >= 0:
            with suppress(OSError):
                os.close(fd)

    def read(self) -> float:
        """The value now, in the channel's unit."""
        if self._fd < 0:
            self.open()
        try:
            text = os.pread(self._fd, _READ_BYTES, 0)
        except OSError as error:
            self.close()
            raise _failure(self._path, error) from error
        if not text:
            self.close()
            raise NoReplyError(f"{self._path}: is empty: the chip gave no value")
        return self._value(text)

    def _value(self, text: bytes) -> float:
        count = _number(self._path, text)
        if abs(count) > self._source.greatest_count:
            raise GarbledReplyError(
                f"{self._path}: {count:g} is beyond ±{self._source.greatest_count:g}, where the "
                "converter is at its stop: the true value may be any beyond"
            )
        if count in self._source.void_counts:
            raise GarbledReplyError(
                f"{self._path}: {count:g} is what this chip gives when it has not measured"
            )
        value = count * self._scale + self._offset
        if not self._least <= value <= self._greatest:
            raise GarbledReplyError(
                f"{self._path}: {value:g} {self._unit} is no possible value; "
                f"allowed: {self._least:g} to {self._greatest:g} {self._unit}"
            )
        return value


def _failure(path: Path, error: OSError) -> LinkError:
    if error.errno in _GONE:
        return PortUnavailableError(f"{path}: {_GONE[error.errno]}")
    return NoReplyError(f"{path}: cannot be read: {error.strerror or error}")


def _number(path: Path, text: bytes) -> float:
    match = _NUMBER.fullmatch(text)
    if match is None or len(text) >= _READ_BYTES:
        raise GarbledReplyError(f"{path}: expected a number, got {text[:_READ_BYTES]!r}")
    return float(match[1])


def _read_all(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise _failure(path, error) from error


def _read_factor(path: Path) -> float:
    factor = _number(path, _read_all(path))
    if factor <= 0:
        raise GarbledReplyError(f"{path}: expected a scale above 0, got {factor:g}")
    return factor


def _check_setting(path: Path, setting: Setting) -> None:
    """Raises `WrongDeviceError` if the kernel has another value than the scale relies on."""
    text = _read_all(path)
    if setting.cells:
        if len(text) != _CELL_BYTES:
            raise GarbledReplyError(f"{path}: expected {_CELL_BYTES} bytes, got {text!r}")
        value = float(int.from_bytes(text, "big"))
    else:
        value = _number(path, text)
    if not math.isclose(value, setting.value, rel_tol=_SETTING_SLACK):
        raise WrongDeviceError(
            f"{path}: is {value:g}, but this channel needs {setting.value:g}: every value would "
            "be wrong by that factor; set it in the overlay or a udev rule"
        )
