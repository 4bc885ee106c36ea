"""`tankhand weigh` and `weighings`: the cathode efficiency by a mass before and after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daemon.service.commands.bath_entering import read, send
from daemon.service.commands.command import BadInputError, errors, settings_option
from daemon.service.commands.questioning import answered, show

if TYPE_CHECKING:
    from daemon.api.report import Report
    from daemon.api.runs.weighing import Weighed
    from daemon.bath.book import Book
    from daemon.bath.run_charge import PartCharge


@click.command()
@click.argument("run", type=click.IntRange(min=1))
@click.option("--before", required=True, metavar="MASS", help='Before the run: "24.31 g".')
@click.option("--after", required=True, metavar="MASS", help='After it, rinsed and dry: "31.02 g".')
@click.option("--balance", metavar="MASS", help="How far each may be off; one digit if left out.")
@click.option("--trust", metavar="SHARE", help='A trusted efficiency, for an area: "100 %".')
@click.option("--doubtful", help="One that does not fit: include or leave-out.")
@click.option("--keep", is_flag=True, help="Keep it in the bath's account.")
@click.option("--at", metavar="TIME", help="When it was weighed; now, if left out.")
@click.option("--note", default="", help="What else there is to say of it.")
@settings_option
def weigh(run: int, keep: bool, at: str | None, note: str, settings: Path, **said: Any) -> None:
    """Tell the cathode efficiency of RUN by the mass of all its parts before and after.

    What weighings teach, `tankhand weighings` says; plans that give no efficiency go by it. Of a
    run that goes on from others, weigh before the first. With --trust the mass of one part of
    several says its area instead.
    """
    with errors():
        if at is not None and not keep:
            raise BadInputError("--at: says when a kept weighing was done; give --keep with it")
        book, part = _part(settings, run)
        tree = {name: value for name, value in said.items() if value is not None}
        (done, report), _ = answered(tree, lambda tree: _work(tree, book, part))
        show(report)
        if keep:
            _keep(settings, done, at, note)


def _part(settings: Path, run: int) -> tuple[Book, PartCharge]:
    """The bath of the settings, and the charge of the run's part in it."""
    from daemon.api.runs.weighing import part_of
    from daemon.record.store import open_reader
    from daemon.service.settings.file import read_settings

    book = read(settings)
    engine = open_reader(read_settings(settings).record.path)
    try:
        with engine.connect() as connection:
            return book, part_of(connection, run, book.description.name)
    finally:
        engine.dispose()


def _work(tree: dict[str, Any], book: Book, part: PartCharge) -> tuple[Weighed, Report]:
    from daemon.api.runs.weighing import read_weighing, weighed
    from daemon.api.runs.weighing_report import report
    from daemon.bath import weighings

    done = weighed(read_weighing(tree), part, weighings.kept(book.entries))
    return done, report(done)


def _keep(settings: Path, done: Weighed, at: str | None, note: str) -> None:
    from daemon.api.bath.bath_texts import Written, moment
    from daemon.api.runs.weighing import entry_facts

    send(
        settings,
        kind="weighing",
        written=Written({}, entry_facts(done)),
        run=done.part.last.id,
        at_utc=None if at is None else moment("--at", at),
        note=note,
    )


@click.command()
@settings_option
def weighings(settings: Path) -> None:
    """List the weighings in the bath's account, newest first, and what they teach."""
    from daemon.api.runs.weighing_report import listing
    from daemon.bath.weighings import kept
    from daemon.service.commands.printed import printed

    with errors():
        click.echo(printed(listing(kept(read(settings).entries))) or "nothing was weighed yet")
