"""`tankhand bath expected`: what is in the bath, as far as its account tells."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import errors, settings_option

if TYPE_CHECKING:
    from daemon.api.report import Row
    from daemon.bath.foresight import Foresight


@click.command()
@click.option("--on", metavar="DAY", help="As it stood at the end of this day, such as 2026-11-20.")
@settings_option
def expected(on: str | None, settings: Path) -> None:
    """Show what is expected in the bath, each ± with 95 %, and when to analyse it again.

    From the make-up and the last analyses, charge, additions, drag-out, evaporation. An estimate:
    it takes the place of no analysis.
    """
    from daemon.api.bath.bath_texts import day_end
    from daemon.clock import to_ms
    from daemon.service.commands import bath_reading
    from daemon.service.settings.file import read_settings

    with errors():
        on_utc_ms = None if on is None else to_ms(day_end("--on", on))
        found = bath_reading.read_expected(read_settings(settings), on_utc_ms)
    click.echo("\n".join(_lines(found)))


def _lines(found: Foresight) -> Iterator[str]:
    from daemon.api.bath import expected_words

    if found.expected is None:
        head, *rest = _rows(found)
        yield _line(head)
        yield expected_words.NOTHING_TELLS
        yield from map(_line, rest)
    else:
        yield from map(_line, _rows(found))


def _rows(found: Foresight) -> Iterator[Row]:
    from daemon.api.bath import expected_words
    from daemon.api.bath.bath_words import stamp
    from daemon.api.report import Row

    now_ms = found.book.utc_ms
    yield Row("bath", f"{found.book.description.name}, {stamp(now_ms)}")
    if found.expected is not None:
        yield from expected_words.contents(found.expected, now_ms)
        yield from expected_words.suggestions(found.expected)
    yield from expected_words.anodes(found.anodes)


def _line(row: Row) -> str:
    return f"{row.name:<10} {row.text}"
