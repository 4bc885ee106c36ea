"""What is seen around the cell once a second: bath, record, disk, clock, meters."""

import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Protocol

from daemon.control.panel import Panel
from daemon.control.protection.alarms import Sign
from daemon.control.protection.causes import BATH_COLD, THERMOMETER_LOST
from daemon.control.protection.surroundings import Around, Surroundings
from daemon.service.devices.ripples import RippleSeen
from drivers.channels.ripple import NotMeasured
from drivers.contracts import Temperature

MB = 1e6

IN_RUNS = frozenset({BATH_COLD, THERMOMETER_LOST})
"""Causes that mean something to a run alone. A bath that is too hot does at any time."""


def in_the_bath(names: Sequence[str]) -> list[str]:
    """Of several thermometers those whose name says so; all of them where none does."""
    return [name for name in names if "bath" in name] or list(names)


class Waiting(Protocol):
    """What is asked of the record's writer."""

    @property
    def lag_s(self) -> float:
        """For how long, in real seconds, what waits has been waiting at most."""

    @property
    def fault(self) -> str | None:
        """Why the disk refuses, None while it does not."""


class Lookout:
    """Gathers it and has it judged. For the loop's thread.

    `folder` is where the record lies; `others` find a cause of their own, or None.
    """

    def __init__(
        self,
        surroundings: Surroundings,
        panel: Panel,
        writer: Waiting,
        folder: Path,
        others: Sequence[Callable[[], Sign | None]] = (),
    ) -> None:
        self._others = tuple(others)
        self._surroundings = surroundings
        self._panel = panel
        self._writer = writer
        self._folder = folder

    def look(
        self,
        now_s: float,
        stepped_s: float | None,
        in_run: bool,
        temperatures: Mapping[str, Temperature],
        ripples: Mapping[str, RippleSeen],
    ) -> tuple[Sign, ...]:
        """The causes that are there; `stepped_s` is by how much the clock was set, if it was.

        At rest a bath may be cold, its thermometer unplugged, and the clock set: `in_run` is False.
        """
        around = Around(
            temperatures={
                name: (seen.temperature_c, seen.monotonic_s) for name, seen in temperatures.items()
            },
            ripples={
                name: (seen.found.rms_percent, seen.monotonic_s)
                for name, seen in ripples.items()
                if not isinstance(seen.found, NotMeasured)
            },
            lag_s=self._writer.lag_s,
            fault=self._writer.fault,
            free_mb=free_mb(self._folder),
            stepped_s=stepped_s if in_run else None,
            apart=self._panel.disagreeing(),
        )
        signs = self._surroundings.look(around, now_s)
        if not in_run:
            signs = tuple(sign for sign in signs if sign.cause not in IN_RUNS)
        found = [sign for other in self._others if (sign := other()) is not None]
        return (*signs, *found) if found else signs


def free_mb(folder: Path) -> float | None:
    """Room for us on the disk of `folder`, MB; None where that is not told.

    The kernel knows it without asking the disk, so that a slow one holds up nobody.
    """
    try:
        told = os.statvfs(folder)
    except OSError:
        return None
    return told.f_bavail * told.f_frsize / MB
