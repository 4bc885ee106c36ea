"""`tankhand rehearse`: a plan on a simulated tank that was fitted to this bath."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import BadInputError, errors, settings_option
from daemon.service.rehearsal.uncollected import uncollected

if TYPE_CHECKING:
    from daemon.api.socket.rehearsal import MishapTold, Rehearsal
    from daemon.service.settings.file import Settings

FRESH_S = 120.0
"""s after which a thermometer's value says nothing of the bath now."""

MOST_C = 80.0
"""°C where the simulated bath ends."""

ASK_S = 2.0
"""Real s that a daemon may take to say how warm the bath is; without it that is supposed."""


@click.command()
@click.argument("plan", type=click.Path(path_type=Path), required=False)
@click.option(
    "--continue", "goes_on_from", type=click.IntRange(min=1), metavar="RUN",
    help="Rehearse going on with the part of this run, by its plan unless PLAN is given.",
)  # fmt: skip
@click.option(
    "--after", type=click.IntRange(min=1), metavar="RUN",
    help="Compare this run with what was foretold of it, and rehearse nothing.",
)  # fmt: skip
@click.option(
    "--mishap", "mishaps", multiple=True, metavar="WHAT",
    help='What goes wrong, such as "short at 4:12" or "power cut at 3 h for 20 min"; may be given '
    "again.",
)  # fmt: skip
@click.option("--no-mishaps", is_flag=True, help="Let nothing go wrong.")
@click.option("--parts", type=click.IntRange(1, 1000), help="How many parts hang, of equal size.")
@click.option(
    "--bath-temperature", metavar="TEMPERATURE",
    help='The bath\'s at the start, such as "24 °C"; else as a thermometer has it.',
)  # fmt: skip
@settings_option
def rehearse(
    plan: Path | None,
    goes_on_from: int | None,
    after: int | None,
    mishaps: tuple[str, ...],
    no_mishaps: bool,
    parts: int | None,
    bath_temperature: str | None,
    settings: Path,
) -> None:
    """Say how the plan in the file PLAN would go on this bath, and what mishaps would come to.

    A simulated tank, fitted to what earlier runs' voltage and current taught, goes through it.
    Needs no daemon, moves nothing. Ends with 1 if the plan would not work.
    """
    if after is not None:
        if plan is not None or goes_on_from is not None:
            raise BadInputError("--after RUN goes without a plan: it has its own")
        _compare(settings, after)
        return
    if plan is None and goes_on_from is None:
        raise BadInputError("PLAN is missing: a plan's file, --continue RUN or --after RUN")
    if no_mishaps and mishaps:
        raise BadInputError("--mishap and --no-mishaps: one of them, not both")
    wanted = mishaps if mishaps or no_mishaps else None
    with uncollected():
        works = _rehearse(settings, plan, goes_on_from, bath_temperature, parts, wanted)
    if not works:
        raise SystemExit(1)


def _rehearse(
    settings: Path,
    plan: Path | None,
    goes_on_from: int | None,
    bath_temperature: str | None,
    parts: int | None,
    mishaps: tuple[str, ...] | None,
) -> bool:
    """Rehearse and show; whether the plan would work."""
    from daemon.api.rehearsal.mishaps import KINDS, read_mishaps
    from daemon.service.commands.file_text import read_plan_text
    from daemon.service.rehearsal.assembly import Asked
    from daemon.service.rehearsal.rehearse import rehearse as rehearsed
    from daemon.service.settings.file import read_settings

    with _errors():
        found = read_settings(settings)
        asked = Asked(
            "" if plan is None else read_plan_text(plan),
            "plan" if plan is None else str(plan),
            goes_on_from,
            _temperature_c(found, bath_temperature),
            parts,
        )
        report = rehearsed(found, asked, None if mishaps is None else read_mishaps(mishaps))
    _show(report)
    if mishaps is None and not report.because:
        click.echo(f"\nOther mishaps by --mishap: {', '.join(KINDS)}.")
    return not report.because


def _compare(settings: Path, run: int) -> None:
    from daemon.api.rehearsal.after import compared, read_after
    from daemon.record.store import open_reader
    from daemon.service.commands.printed import printed
    from daemon.service.settings.file import read_settings

    with _errors():
        engine = open_reader(read_settings(settings).record.path)
        try:
            with engine.connect() as connection:
                found = read_after(connection, run)
        finally:
            engine.dispose()
    click.echo(printed(compared(found)))


def _show(found: Rehearsal) -> None:
    from daemon.api.rehearsal.rehearsal_words import report
    from daemon.service.commands.printed import printed
    from daemon.service.commands.rehearse_chart import charts

    click.echo(printed(report(found)))
    click.echo("\n".join(charts(found)))
    for each in found.mishaps:
        _show_mishap(each)


def _show_mishap(told: MishapTold) -> None:
    from daemon.api.rehearsal.rehearsal_words import mishap
    from daemon.api.report import Report
    from daemon.service.commands.printed import printed

    click.echo(f"\nIf: {told.title}")
    click.echo(printed(Report(mishap(told))))


def _temperature_c(settings: Settings, written: str | None) -> float | None:
    """The bath's temperature at the start, °C: as it was written, else as the daemon reads it."""
    from daemon.api.socket.client import Client, DaemonUnreachableError
    from daemon.service.cycle.lookout import in_the_bath

    if written is not None:
        return _written_c(written)
    if not settings.thermometer:
        return None
    try:
        seen = Client(settings.daemon.socket, timeout_s=ASK_S).status().thermometers
    except DaemonUnreachableError:
        return None
    fresh = {each.name: each.temperature_c for each in seen if each.age_s < FRESH_S}
    names = in_the_bath(list(fresh))
    return fresh[names[0]] if names else None


def _written_c(written: str) -> float:
    from daemon.units import UnitError, parse

    try:
        found_c = parse(written, "°C")
    except UnitError as error:
        raise BadInputError(f"--bath-temperature: {error}") from error
    if not 0.0 <= found_c <= MOST_C:
        raise BadInputError(f"--bath-temperature: must be 0 to {MOST_C:g} °C, got {found_c:.4g} °C")
    return found_c


@contextmanager
def _errors() -> Iterator[None]:
    """One clear error: code 2 for what was written, 1 for what the record refuses."""
    from drivers.errors import DescriptionError

    try:
        with errors():
            yield
    except DescriptionError as error:
        raise BadInputError(str(error)) from error
