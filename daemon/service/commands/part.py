"""`tankhand part`: the area of parts, by their mesh files, as shapes, or by their weight.

Heavy imports wait until a command runs, since the command line is loaded by `serve` too.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from daemon.service.commands.asking import WHERE
from daemon.service.commands.bath_entering import keep_by
from daemon.service.commands.command import (
    BadInputError,
    RefusedError,
    errors,
    settings_option,
    who,
)
from daemon.service.commands.questioning import answered, show

if TYPE_CHECKING:
    from daemon.api.parts.worked_out import Measure, MeshFile, Sources, Worked
    from daemon.api.report import Report
    from daemon.record.parts import Part

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
@click.option("--keep", metavar="NAME", help="Keep it by this name, for plans and racks.")
@settings_option
@click.pass_context
def part(
    context: click.Context,
    /,
    parts: tuple[str, ...],
    picture: Path | None,
    keep: str | None,
    settings: Path,
    **options: Any,
) -> None:
    """Tell the area of parts, how sure it is, and the lines that a plan wants.

    Each PART is a mesh file (STL, OBJ, PLY, 3MF), the name of a kept part, or a shape with its
    dimensions in one text:

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
        chosen = context.get_parameter_source("settings") is not ParameterSource.DEFAULT
        kept = settings if chosen or settings.exists() else None
        sources = _sources(kept)
        (worked, report), tree = answered(
            tree | {"parts": parts}, lambda tree: _work(tree, sources)
        )
        show(report)
        if picture is not None:
            _draw(worked, picture)
        if keep is not None:
            _keep(settings, worked, tree, keep)


def _work(tree: dict[str, Any], sources: Sources) -> tuple[Worked, Report]:
    from daemon.api.parts.form import read_part_form
    from daemon.api.parts.report import area_report
    from daemon.api.parts.worked_out import worked_out

    worked = worked_out(read_part_form(tree), sources)
    return worked, area_report(worked)


def _sources(settings: Path | None) -> Sources:
    from daemon.api.parts.kept_parts import area_of
    from daemon.api.parts.worked_out import Sources

    if settings is None:
        return Sources(_file, measure=_once())
    kept = {each.made.name: area_of(each) for each in _kept(settings)}
    return Sources(_file, kept.get, lambda: tuple(kept), _once())


def _kept(settings: Path) -> list[Part]:
    """The parts in the record of the settings; none where there is no record yet."""
    from daemon.record import parts
    from daemon.record.errors import RecordMissingError
    from daemon.record.store import open_reader
    from daemon.service.settings.file import read_settings

    try:
        engine = open_reader(read_settings(settings).record.path)
    except RecordMissingError:
        return []
    try:
        with engine.connect() as connection:
            return parts.holding(connection)
    finally:
        engine.dispose()


def _keep(settings: Path, worked: Worked, tree: dict[str, Any], name: str) -> None:
    from daemon.api.parts import kept_parts

    keep_by(settings, kept_parts.request(worked, tree, name, who(), WHERE), "part")


@click.command()
@click.argument("name", required=False)
@click.option("--picture", type=click.Path(path_type=Path), help="Write its picture here (PNG).")
@settings_option
def parts(name: str | None, picture: Path | None, settings: Path) -> None:
    """List the parts that are kept, or the one of this NAME."""
    from daemon.api.parts.kept_parts import listing
    from daemon.service.commands.printed import printed

    with errors():
        found = [each for each in _kept(settings) if name in (None, each.made.name)]
        if name is not None and not found:
            raise RefusedError(f"no part {name!r} is kept; `tankhand parts` lists those that are")
        if picture is not None:
            if name is None:
                raise BadInputError("--picture: say the NAME of the part")
            _write(_picture_of(settings, found[0].id), picture)
        click.echo(printed(listing(found)) or "no part is kept yet")


def _picture_of(settings: Path, number: int) -> bytes:
    from daemon.record import parts
    from daemon.record.store import open_reader
    from daemon.service.settings.file import read_settings

    engine = open_reader(read_settings(settings).record.path)
    try:
        with engine.connect() as connection:
            data = parts.picture(connection, number)
    finally:
        engine.dispose()
    if data is None:
        raise RefusedError(f"part {number} has no picture: it was made from no mesh")
    return data


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


def _file(text: str) -> MeshFile | None:
    """The mesh file that a text names: one that is there, or that its ending says is one."""
    from daemon.api.parts.worked_out import file_at
    from daemon.bath.parts.asked import KINDS

    path = Path(text)
    named = path.suffix.lower().removeprefix(".") in KINDS
    return file_at(path) if named or path.is_file() else None


def _draw(worked: Worked, path: Path) -> None:
    found = [item.found for item in worked.items if item.found is not None]
    if not found:
        raise BadInputError("--picture: only a mesh has one")
    _write(found[0].picture, path)


def _write(data: bytes, path: Path) -> None:
    try:
        path.write_bytes(data)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be written: {error.strerror or error}") from error
