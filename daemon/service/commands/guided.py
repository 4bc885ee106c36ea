"""A comparison point by point at a terminal, and points that somebody took already, from a file."""

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from daemon.api.calibration.comparison import NoPointError, take
from daemon.api.calibration.reference import NO_CLASS, NO_REFERENCE, read_class, read_shown
from daemon.api.errors import InputError
from daemon.api.socket.messages import Status
from daemon.chemistry.calibration import Point, ReferenceClass, stepped
from daemon.service.commands.calibration_report import preview, why_no_line

HOW = """\
Put the reference in series with the meter. With the output off, take the zero. Then start a run;
at three steady currents or more, the greatest that you plate with among them, type what the
reference shows, digit for digit, and leave everything alone while the meter is read. "drop" undoes
the last point. "done" ends, after the zero alone too if nothing else is to be set."""

ON = "the reference shows, A"
OFF = "the output is off, Enter takes the zero"

DROP, DONE = "drop", "done"


class Terminal(Protocol):
    """Where the person is."""

    def ask(self, question: str) -> str:
        """Ask, and give what was typed."""

    def say(self, text: str) -> None:
        """Say something."""


@dataclass(frozen=True, slots=True)
class Reference:
    """An ammeter to compare with: which it is, and its class.

    `daemon.api.calibration.reference` reads both.
    """

    name: str
    written: str

    @property
    def known(self) -> ReferenceClass:
        """The class in figures. Raises InputError."""
        return read_class(self.written)


NONE = Reference(NO_REFERENCE, NO_CLASS)


def ask_reference(terminal: Terminal, name: str | None, written: str | None) -> Reference:
    """Ask for what was not given beforehand, until it can be used."""
    while not name:
        name = terminal.ask("which reference is it, such as: handheld, serial 4711").strip()
    while not written:
        typed = terminal.ask("its class, as its manual has it, such as: 0.5 % + 3 mA").strip()
        try:
            read_class(typed)
        except InputError as error:
            terminal.say(str(error))
        else:
            written = typed
    return Reference(name, written)


@dataclass(frozen=True, slots=True)
class Bench:
    """What a comparison works with: the daemon's word, the meter, the person, and real pauses.

    A point is read for `seconds_s` of the daemon's time.
    """

    status: Callable[[], Status]
    meter: str
    seconds_s: float
    terminal: Terminal
    pause: Callable[[float], None]


def take_points(
    bench: Bench, reference: Callable[[], Reference]
) -> tuple[tuple[Point, ...], Reference]:
    """Take points until the person is done, with the line so far after each.

    `reference` is asked once, before the first current: a zero needs none. What cannot be used is
    told and asked again. Raises InputError for a meter that is not read, and what `status` raises.
    """
    step_a = step_of(bench.status(), bench.meter)
    bench.terminal.say(HOW)
    points: list[Point] = []
    known = NONE
    while True:
        on = bench.status().output_on
        if on and known == NONE:
            known = reference()
        typed = bench.terminal.ask(f"point {len(points) + 1}: {ON if on else OFF}").strip()
        if typed == DONE and (not points or why_no_line(points, known.known) is None):
            return tuple(points), known
        if typed == DROP:
            del points[-1:]
        elif typed != DONE:
            try:
                points.append(_read(bench, typed, on=on))
            except (InputError, NoPointError) as error:
                bench.terminal.say(str(error))
                continue
        if points:
            bench.terminal.say(preview(stepped(points, step_a), known.known))


def step_of(status: Status, meter: str) -> float:
    """In what steps this meter shows a current, A. Raises InputError when it is not read."""
    steps_a = {seen.name: seen.step_a for seen in status.meters}
    if meter not in steps_a:
        raise InputError("meter", (f"expected one of {', '.join(steps_a)}, got {meter!r}",))
    return steps_a[meter]


def _read(bench: Bench, typed: str, *, on: bool) -> Point:
    """The point for what was typed while the output was on or not, read now."""
    if typed and not on:
        raise NoPointError("the output is off: a current can be compared once a run is under way")
    shown = read_shown(typed) if on else (0.0, 0.0)
    if bench.status().output_on == on:
        bench.terminal.say(f"reading {bench.meter} for {bench.seconds_s:g} s ...")
        taken = take(bench.status, bench.meter, bench.seconds_s, bench.pause)
        if taken.output_on == on:
            return taken.point(shown)
    raise NoPointError("the output was switched: take this point again")


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
