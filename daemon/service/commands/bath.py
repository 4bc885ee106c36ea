"""`tankhand bath`: what was done to the bath, what is in it, what is due.

Reading needs no daemon; what is entered, the daemon keeps.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from daemon.service.commands.bath_entering import read, send
from daemon.service.commands.bath_expected import expected
from daemon.service.commands.command import errors, settings_option

if TYPE_CHECKING:
    from daemon.api.bath.bath_texts import Written
    from daemon.service.settings.file import Settings

on_option = click.option(
    "--on", metavar="DAY", help="As it stood at the end of this day, such as 2026-11-20."
)
at_option = click.option(
    "--at", metavar="TIME", help="When it happened, such as '2026-11-20 18:00'; now, if left out."
)
note_option = click.option("--note", default="", help="What else there is to say of it.")


@click.group(invoke_without_command=True)
@on_option
@settings_option
@click.pass_context
def bath(context: click.Context, on: str | None, settings: Path) -> None:
    """Show the bath: its volume, what was put into it, its charge; or enter what was done to it."""
    if context.invoked_subcommand is None:
        _show(on, settings)


@bath.command()
@on_option
@settings_option
def show(on: str | None, settings: Path) -> None:
    """Show the bath today, or as it stood on a past day."""
    _show(on, settings)


def _show(on: str | None, settings: Path) -> None:
    from daemon.service.commands import bath_report

    with errors():
        click.echo(bath_report.shown(read(settings, on)))


@bath.command()
@on_option
@click.option("--limit", type=click.IntRange(1, 10_000), default=50, show_default=True)
@settings_option
def ledger(on: str | None, limit: int, settings: Path) -> None:
    """List what was done to the bath and seen of it, newest first, corrections beneath."""
    from daemon.service.commands import bath_report

    with errors():
        click.echo(bath_report.listed(read(settings, on), limit))


@bath.command()
@on_option
@settings_option
def rate(on: str | None, settings: Path) -> None:
    """Say how much of each additive charge has used, by the doses that were given."""
    from daemon.service.commands import bath_report

    with errors():
        click.echo(bath_report.rates(read(settings, on)))


@bath.command()
@click.argument("additive")
@click.argument("amount", required=False)
@at_option
@note_option
@settings_option
def dose(additive: str, amount: str | None, settings: Path, **said: Any) -> None:
    """A dose of ADDITIVE was added: AMOUNT, such as '5 mL', or the dose in the settings.

    Wear eye protection and gloves; the additive's safety data sheet comes first.
    """
    from daemon.api.bath import bath_texts

    _enter(
        settings, "dose", lambda told: bath_texts.dose(told.bath.description(), additive, amount),
        **said,
    )  # fmt: skip


@bath.command()
@click.argument("substance")
@click.argument("amount")
@click.option("--strength", help="How strong an acid is, such as '96 %' or 'SG 1.28'.")
@at_option
@note_option
@settings_option
def add(substance: str, amount: str, strength: str | None, settings: Path, **said: Any) -> None:
    """AMOUNT of SUBSTANCE was added, such as 'copper sulfate' '50 g'.

    Copper sulfate is the pentahydrate, and other hydrates have their formula, such as CuSO4·3H2O.
    Sulfuric and hydrochloric acid may be given by volume, with their strength; hydrochloric acid
    and sodium chloride are kept as chloride. Acid goes into water, slowly and stirring, never the
    other way; wear eye protection and gloves.
    """
    from daemon.api.bath import bath_texts

    _enter(
        settings,
        "addition",
        lambda told: bath_texts.addition(told.bath.description(), substance, amount, strength),
        **said,
    )


@bath.command()
@click.argument("amount")
@click.option("--level", help="The bath's volume afterwards, such as '15 L', if you know it.")
@at_option
@note_option
@settings_option
def water(amount: str, level: str | None, settings: Path, **said: Any) -> None:
    """AMOUNT of water was added, such as '0.5 L'."""
    from daemon.api.bath import bath_texts

    _enter(settings, "water", lambda _: bath_texts.water(amount, level), **said)


@bath.command()
@click.argument("amount")
@at_option
@note_option
@settings_option
def sample(amount: str, settings: Path, **said: Any) -> None:
    """AMOUNT of bath, such as '10 mL', was taken out."""
    from daemon.api.bath import bath_texts

    _enter(settings, "sample", lambda _: bath_texts.taken(amount), **said)


@bath.command("drag-out")
@click.argument("amount")
@at_option
@note_option
@settings_option
def drag_out(amount: str, settings: Path, **said: Any) -> None:
    """Parts carried AMOUNT of bath away, such as '20 mL'."""
    from daemon.api.bath import bath_texts

    _enter(settings, "drag-out", lambda _: bath_texts.taken(amount), **said)


@bath.command()
@at_option
@note_option
@settings_option
def filtered(settings: Path, **said: Any) -> None:
    """The bath was filtered, or the filter changed."""
    _enter(settings, "filtration", None, **said)


@bath.command()
@at_option
@note_option
@settings_option
def carbon(settings: Path, **said: Any) -> None:
    """The bath was treated with carbon, which takes additives out as well."""
    _enter(settings, "carbon treatment", None, **said)


@bath.command()
@click.argument("words", nargs=-1, required=True, metavar="WORD...")
@click.option("--run", type=click.IntRange(min=1), help="The run whose deposit it is.")
@at_option
@note_option
@settings_option
def look(words: tuple[str, ...], run: int | None, settings: Path, **said: Any) -> None:
    """The deposit looks dull, hazy, pitted, burned, bright or even: one WORD or several."""
    from daemon.api.bath.bath_texts import Written

    written = Written({}, {"looks": list(words)})
    _enter(settings, "appearance", lambda _: written, run=run, **said)


@bath.command()
@click.option("--area", help="Area that faces the parts, such as '4 dm²'.")
@click.option("--mass", help="Mass of all anodes, such as '1.8 kg'.")
@at_option
@note_option
@settings_option
def anodes(area: str | None, mass: str | None, settings: Path, **said: Any) -> None:
    """The anodes as they hang now: their area, their mass, or both."""
    from daemon.api.bath import bath_texts

    _enter(settings, "anodes", lambda _: bath_texts.anodes(area, mass), **said)


@bath.command()
@click.argument("entry", type=click.IntRange(min=1))
@click.argument("values", nargs=-1, required=True, metavar="AMOUNT or WORD...")
@note_option
@settings_option
def correct(entry: int, values: tuple[str, ...], note: str, settings: Path) -> None:
    """Correct ENTRY: the amount that is right, or the words for how the deposit looks.

    The entry stays, and a new one points at it. What was entered at a wrong time, or has more to it
    than an amount, is withdrawn and entered anew.
    """
    from daemon.api.bath import bath_correcting

    with errors():
        wanted = bath_correcting.corrected(read(settings), entry, values)
        send(settings, kind="correction", corrects=entry, note=note, written=wanted)


@bath.command()
@click.argument("entry", type=click.IntRange(min=1))
@note_option
@settings_option
def withdraw(entry: int, note: str, settings: Path) -> None:
    """Withdraw ENTRY: it stays, and a new one says that it does not hold."""
    with errors():
        send(settings, kind="correction", corrects=entry, facts=None, note=note)


def _enter(
    settings: Path,
    kind: str,
    write: Callable[[Settings], Written] | None,
    *,
    at: str | None = None,
    note: str = "",
    run: int | None = None,
) -> None:
    """Have the daemon keep an entry of what `write` makes of the settings."""
    from daemon.api.bath import bath_texts
    from daemon.service.settings.file import read_settings

    with errors():
        told = read_settings(settings)
        written = bath_texts.Written() if write is None else write(told)
        at_utc = None if at is None else bath_texts.moment("--at", at)
        send(settings, kind=kind, written=written, at_utc=at_utc, note=note, run=run)


bath.add_command(expected)
