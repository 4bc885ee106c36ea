"""`tankhand part`: the area of parts, by their mesh files, as shapes, or by their weight.

Heavy imports wait until a command runs, since the command line is loaded by `serve` too.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daemon.service.commands.bath_entering import errors
from daemon.service.commands.command import BadInputError

if TYPE_CHECKING:
    from daemon.api.parts import Measure, Worked
    from daemon.api.report import Report

_OPTIONS = (
    "copies", "unit", "scale", "up", "liquid", "liquid_limit", "inner", "masked", "layers",
    "uncertainty", "dimension_limit", "current_density",
)  # fmt: skip


@click.command()
@click.argument("parts", nargs=-1, required=True, metavar="PART...")
@click.option("--copies", metavar="N", help="How many of all of them; 1 if left out.")
@click.option("--unit", help="Of a mesh's lengths: µm, mm, cm, m, in or ft; mm if left out.")
@click.option("--scale", help='How large a mesh was printed: "150 %" or 1.5.')
@click.option("--up", help="A mesh's axis that points upward: x, -x, y, -y, z, -z; z if left out.")
@click.option("--liquid", help='How high the liquid stands above its lowest point: "60 mm".')
@click.option("--liquid-limit", help='How far that may be off. "2 mm" if left out.')
@click.option("--inner", help="Inner walls that were found: include or leave-out.")
@click.option("--masked", metavar="SHARE", help='How much lacquer or tape covers: "10 %".')
@click.option("--layers", metavar="SHARE", help='What layers make of it. "3 %" if left out.')
@click.option("--uncertainty", metavar="SHARE", help="Your own ± with 95 %, besides all else.")
@click.option("--dimension-limit", help='How far a shape\'s dimensions may be off: "0.1 mm".')
@click.option("--current-density", help='Tell the current at this: "2 A/dm²".')
@click.option("--picture", type=click.Path(path_type=Path), help="Write a picture of it (PNG).")
def part(parts: tuple[str, ...], picture: Path | None, **options: Any) -> None:
    """Tell the area of parts, how sure it is, and the lines that a plan wants.

    Each PART is a mesh file (STL, OBJ, PLY, 3MF), or a shape with its dimensions in one text:

    \b
      "box 60 x 40 x 20 mm"      "plate 80 x 50 x 3 mm"   length x width x height
      "cylinder 20 x 50 mm"      "rod 3 x 120 mm"         diameter x length
      "tube 20 x 16 x 50 mm"     outer x inner diameter x length
      "disc 40 x 3 mm"           "sphere 30 mm"           "hemisphere 30 mm"
      "cone 30 x 50 mm"          "frustum 30 x 20 x 50 mm"
      "ring 60 x 5 mm"           outer diameter x wire
      "shell 40 g x 1.2 mm x 1.24 g/cm³"                  mass x wall x density

    "4 x rod 3 x 120 mm" is four of them. Several PARTs are plated together, and the options hold
    for all of them.
    """  # noqa: D301
    with errors():
        tree = {name.replace("_", "-"): options[name] for name in _OPTIONS if options[name]}
        worked, report = _asked(tree | {"parts": parts})
        _show(report)
        if picture is not None:
            _draw(worked, picture)


def _asked(tree: dict[str, Any]) -> tuple[Worked, Report]:
    """The parts worked out; in a terminal what has to be said first is asked for."""
    from daemon.api.part_form import read_part_form
    from daemon.api.part_report import area_report
    from daemon.api.parts import Sources, UnansweredError, worked_out

    sources = Sources(_file, measure=_once())
    while True:
        try:
            worked = worked_out(read_part_form(tree), sources)
            return worked, area_report(worked)
        except UnansweredError as error:
            if error.report is not None:
                _show(error.report)
            if not _at_a_terminal():
                raise
            question = error.question
            click.echo(f"{error.where}: {question.text}")
            choices = click.Choice(question.choices)
            tree = tree | {question.about: click.prompt(f"--{question.about}", type=choices)}


def _at_a_terminal() -> bool:
    return sys.stdin.isatty()


def _once() -> Measure:
    """What measures each mesh once, however often it is asked."""
    from daemon.bath.parts import apart
    from daemon.bath.parts.asked import Asked, Found, Question

    known: dict[tuple[bytes, Asked], Found | Question] = {}

    def measure(data: bytes, asked: Asked) -> Found | Question:
        if (data, asked) not in known:
            known[data, asked] = apart.measured(data, asked)
        return known[data, asked]

    return measure


def _file(text: str) -> Path | None:
    """The mesh file that a text names: one that is there, or that its ending says is one."""
    from daemon.bath.parts.asked import KINDS

    path = Path(text)
    named = path.suffix.lower().removeprefix(".") in KINDS
    return path if named or path.is_file() else None


def _show(report: Report) -> None:
    from daemon.service.commands.printed import printed

    click.echo(printed(report))


def _draw(worked: Worked, path: Path) -> None:
    found = [item.found for item in worked.items if item.found is not None]
    if not found:
        raise BadInputError("--picture: only a mesh has one")
    try:
        path.write_bytes(found[0].picture)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be written: {error.strerror or error}") from error
