"""Kernel channels as `drivers.contracts.Meter` and `drivers.contracts.Thermometer`."""

import math
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import cast

from drivers.channels.channel import Channel
from drivers.channels.description import CurrentTable, Description, ShuntTable
from drivers.channels.sysfs import SYSFS
from drivers.contracts import Reading, Temperature
from drivers.errors import DescriptionError, DriverError, LinkError

_PER_MILLI = 1e-3
_PER_MICRO = 1e-6

_LONGEST_BURST_S = 10.0
"""Enough for ripple many times over, and a bound for the memory that a burst takes."""


@dataclass(frozen=True, slots=True)
class Burst:
    """Currents, A, read as fast as the file gives them, each with the moment of its reading, s."""

    times_s: list[float]
    currents_a: list[float]


class ChannelMeter:
    """A meter on one chip: current, voltage or both. For one thread.

    `now` gives the seconds that readings are labelled with. A reading belongs to the middle of its
    exchange, less the chip's `window_ms`: what is read was averaged over one window, which itself
    ended between none and one window ago.
    """

    def __init__(
        self,
        description: Description,
        now: Callable[[], float] = time.monotonic,
        root: Path = SYSFS,
    ) -> None:
        if description.temperature is not None:
            raise DescriptionError(
                f"{description.title}: describes a thermometer; expected a meter, "
                "with the tables current, voltage or both"
            )
        self._description = description
        self._now = now
        self._current = _current_channel(description, root)
        self._voltage = _voltage_channel(description, root)
        self._restore = _restore_channel(description, root)
        self._restore_at_s = -math.inf
        window_ms = description.current.window_ms if description.current is not None else 0.0
        self._window_s = window_ms * _PER_MILLI

    @property
    def continuous_a(self) -> float | None:
        """What the shunt carries without a break, A; None if its rated current is not known."""
        shunt = self._description.shunt
        return shunt.continuous_a if shunt is not None else None

    @property
    def reads_current(self) -> bool:
        """Whether it reads a current; else a voltage alone."""
        return self._current is not None

    @property
    def step_a(self) -> float | None:
        """The smallest step of the current, A; None if no current is read.

        Known once the meter was opened, where the scale comes from a file.
        """
        return self._current.step if self._current is not None else None

    @property
    def readable_a(self) -> float | None:
        """Where the converter ends, A: more is refused; None if no current is read.

        Known once the meter was opened, where the scale comes from a file.
        """
        return self._current.full_scale if self._current is not None else None

    def open(self) -> None:
        """Find the chip, check its settings, and open its files. Nothing is measured yet.

        Raises `DescriptionError` if the converter's range, as it is set, is too small for the
        shunt; `WrongDeviceError` and `LinkError`. Everything is closed again then.
        """
        self.close()
        self._restore_at_s = -math.inf
        try:
            for channel in (self._current, self._voltage):
                if channel is not None:
                    channel.open()
            self._check_range()
        except DriverError:
            self.close()
            raise

    def close(self) -> None:
        """Let go of the files. Never raises; may be called twice."""
        for channel in (self._current, self._voltage, self._restore):
            if channel is not None:
                channel.close()

    def read(self) -> Reading:
        """Measure current, then voltage; what is not measured is None.

        Where both are read, a voltage that cannot be had is None too, and the current is not lost
        for it. Raises `LinkError` or a child of it, and `WrongDeviceError` if the chip came back
        with other settings.
        """
        self._restore_if_due()
        asked_s = self._now()
        if self._current is None:
            voltage_v = self._voltage.read() if self._voltage is not None else None
            return Reading((asked_s + self._now()) / 2, None, voltage_v)
        current_a = self._current.read()
        taken_s = (asked_s + self._now()) / 2 - self._window_s
        return Reading(taken_s, current_a, self._voltage_or_none())

    def burst(self, duration_s: float) -> Burst:
        """Read nothing but the current for `duration_s`, above 0 to 10 s, without a pause.

        For `drivers.channels.ripple`. Raises ValueError if no current is read or for another
        duration, `LinkError` and `WrongDeviceError`; what was read until then is thrown away.
        """
        if self._current is None:
            raise ValueError(f"{self._description.title}: reads no current")
        if not 0 < duration_s <= _LONGEST_BURST_S:
            raise ValueError(
                f"a burst lasts above 0 to {_LONGEST_BURST_S:g} s, got {duration_s:g} s"
            )
        times_s: list[float] = []
        currents_a: list[float] = []
        read = self._current.read
        now = self._now
        taken_s = now()
        end_s = taken_s + duration_s
        while taken_s < end_s:
            currents_a.append(read())
            times_s.append(taken_s)
            taken_s = now()
        return Burst(times_s, currents_a)

    def _voltage_or_none(self) -> float | None:
        if self._voltage is None:
            return None
        try:
            return self._voltage.read()
        except LinkError:
            return None

    def _check_range(self) -> None:
        shunt = self._description.shunt
        if self._current is None or shunt is None:
            return
        range_mv = self._current.full_scale * shunt.resistance_ohm / _PER_MILLI
        try:
            self._description.check_range(range_mv)
        except ValueError as error:
            raise DescriptionError(f"{self._description.title}: shunt: allowed: {error}") from error

    def _restore_if_due(self) -> None:
        """Give the kernel the occasion to set up a chip again that has lost its supply.

        No current is lost for it: a chip that is gone shows when the current is read.
        """
        if self._restore is None:
            return
        now_s = self._now()
        if now_s >= self._restore_at_s:
            self._restore_at_s = now_s + self._description.chip.restore_every_s
            with suppress(LinkError):
                self._restore.read()


class ChannelThermometer:
    """A thermometer on one chip. For one thread, as a read may take as long as a conversion.

    `now` gives the seconds that temperatures are labelled with: the middle of the exchange.
    """

    def __init__(
        self,
        description: Description,
        now: Callable[[], float] = time.monotonic,
        root: Path = SYSFS,
    ) -> None:
        table = description.temperature
        if table is None:
            raise DescriptionError(
                f"{description.title}: describes a meter; expected a thermometer, "
                "with the table temperature"
            )
        self._now = now
        self._channel = Channel(
            description.chip.source(table.file, void_counts=table.void_counts),
            unit="°C",
            scale=table.degrees_c_per_count,
            offset=table.offset_c,
            least=table.least_c,
            greatest=table.greatest_c,
            root=root,
        )

    def open(self) -> None:
        """Find the chip and open its file. Raises `LinkError` or `WrongDeviceError`."""
        self._channel.open()

    def close(self) -> None:
        """Let go of the file. Never raises; may be called twice."""
        self._channel.close()

    def read(self) -> Temperature:
        """Measure. Raises `LinkError` or a child of it."""
        asked_s = self._now()
        temperature_c = self._channel.read()
        return Temperature((asked_s + self._now()) / 2, temperature_c)


def _current_channel(description: Description, root: Path) -> Channel | None:
    """The channel for the current, A; None if there is none."""
    table = description.current
    if table is None:
        return None
    scale = _amperes_per_count(table, description.shunt)
    source = description.chip.source(
        table.file, table.millivolts_per_count_file, table.greatest_count
    )
    return Channel(source, unit="A", scale=-scale if table.reversed else scale, root=root)


def _amperes_per_count(table: CurrentTable, shunt: ShuntTable | None) -> float:
    """What a count means; where a file gives the mV per count, the channel multiplies them in."""
    if shunt is None:
        return cast("float", table.milliamperes_per_count) * _PER_MILLI
    if table.microvolts_per_count is not None:
        return table.microvolts_per_count * _PER_MICRO / shunt.resistance_ohm
    return _PER_MILLI / shunt.resistance_ohm


def _voltage_channel(description: Description, root: Path) -> Channel | None:
    """The channel for the voltage, V; None if there is none."""
    table = description.voltage
    if table is None:
        return None
    millivolts = table.millivolts_per_count if table.millivolts_per_count is not None else 1.0
    source = description.chip.source(
        table.file, table.millivolts_per_count_file, table.greatest_count
    )
    return Channel(source, unit="V", scale=millivolts * _PER_MILLI * table.ratio, root=root)


def _restore_channel(description: Description, root: Path) -> Channel | None:
    file = description.chip.restore_file
    return Channel(description.chip.source(file), "", 1.0, root=root) if file else None
