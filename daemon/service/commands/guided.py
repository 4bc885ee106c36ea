"""A comparison point by point at a terminal, and points that somebody took already, from a file."""

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from daemon.api.comparison import NoPointError, take
from daemon.api.errors import InputError
from daemon.api.messages import Status
from daemon.api.reference import read_shown
from daemon.chemistry.calibration import Point, ReferenceClass
from daemon.service.commands.calibration_report import preview

HOW = """\
Put the reference in series with the meter. For each point hold the current steady, type what the
reference shows, digit for digit, and leave everything alone while the meter is read. With the
output off the point is the zero, and no reference is needed. Take the zero and three currents at
least, the greatest that you plate with among them. "drop" undoes the last point, "done" ends."""

DROP, DONE = "drop", "done"


class Terminal(Protocol):
    """Where the person is."""

    def ask(self, question: str) -> str:
        """Ask, and give what was typed."""

    def say(self, text: str) -> None:
        """Say something."""


def take_points(
    status: Callable[[], Status],
    meter: str,
    seconds: float,
    reference: ReferenceClass,
    terminal: Terminal,
    pause: Callable[[float], None],
) -> tuple[Point, ...]:
    """Take points until the person is done, with the line so far after each.

    What cannot be used is told and asked again. Raises what `status` raises.
    """
    points: list[Point] = []
    terminal.say(HOW)
    while True:
        on = status().output_on
        typed = terminal.ask(
            f"point {len(points) + 1}: the reference shows, A"
            if on
            else f"point {len(points) + 1}: the output is off, Enter takes the zero"
        ).strip()
        if typed == DONE:
            return tuple(points)
        if typed == DROP:
            del points[-1:]
        else:
            try:
                shown = read_shown(typed) if on else (0.0, 0.0)
                taken = take(status, meter, seconds, pause)
            except (InputError, NoPointError) as error:
                terminal.say(str(error))
                continue
            if taken.output_on != on:
                terminal.say("the output was switched: take this point again")
                continue
            points.append(taken.point(shown))
        if points:
            terminal.say(preview(points, reference))


def read_points(path: Path) -> tuple[Point, ...]:
    """Read points from a CSV file.

    Its first line names the columns: `reading_a` and `u_reading_a`, mean and standard uncertainty
    of the meter's uncorrected readings, A, and `reference_a`, what the reference showed, as it was
    shown. Raises InputError with the line and what is wrong with it.
    """
    where = str(path)
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            reader = csv.DictReader(file, skipinitialspace=True)
            wanted = {"reading_a", "u_reading_a", "reference_a"}
            if set(reader.fieldnames or ()) != wanted:
                columns = ", ".join(sorted(wanted))
                raise InputError(where, (f"line 1 has to name the columns {columns}",))
            return tuple(_point(row, f"{where}, line {reader.line_num}") for row in reader)
    except OSError as error:
        raise InputError(where, (f"cannot be read: {error.strerror or error}",)) from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(where, (f"is no CSV text: {error}",)) from error


def _point(row: dict[str, str], where: str) -> Point:
    try:
        reference = read_shown(row["reference_a"] or "")
        # The zero is known without the reference.
        reference_a, u_reference_a = reference if reference[0] else (0.0, 0.0)
        return Point(float(row["reading_a"]), float(row["u_reading_a"]), reference_a, u_reference_a)
    except InputError as error:
        raise InputError(where, error.problems) from error
    except (ValueError, TypeError) as error:
        raise InputError(where, (f"expected numbers in A: {error}",)) from error
