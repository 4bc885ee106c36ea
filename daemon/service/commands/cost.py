"""`tankhand cost`: what a run has used, and what that cost, in all and for each part."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import BadInputError, RefusedError, settings_option

if TYPE_CHECKING:
    from daemon.bath.cost import Cost, Energy
    from daemon.record.queries import Run
    from daemon.service.settings.file import Settings

AFTER_S = 60.0
"""s beyond the run's last reading: whatever was read is taken."""


@click.command()
@click.argument("run", type=click.IntRange(min=1))
@click.option("--parts", type=click.IntRange(1, 10_000), default=1, help="How many parts hung.")
@click.option(
    "--supply-efficiency", default="80 %", show_default=True,
    help="What the supply gives of what it takes from the mains.",
)  # fmt: skip
@settings_option
def cost(run: int, parts: int, supply_efficiency: str, settings: Path) -> None:
    """Show what run RUN has used: copper, additives by their rate, electricity.

    Prices are those of the settings, [bath.prices]. Energy is worked out from every reading.
    """
    from sqlalchemy.exc import DatabaseError

    from daemon.api.errors import InputError
    from daemon.record.errors import RecordError
    from daemon.record.store import refusal
    from daemon.service.settings.file import read_settings
    from daemon.units import UnitError, parse

    try:
        efficiency = parse(supply_efficiency, "")
    except UnitError as error:
        raise BadInputError(f"--supply-efficiency: {error}") from error
    try:
        found, cell, used = _worked_out(read_settings(settings), run, efficiency)
    except (InputError, ValueError) as error:
        raise BadInputError(str(error)) from error
    except RecordError as error:
        raise RefusedError(str(error)) from error
    except DatabaseError as error:
        raise RefusedError(f"the record cannot be read: {refusal(error)}") from error
    click.echo("\n".join(_lines(found, cell, used, parts)))


def _worked_out(settings: Settings, run_id: int, efficiency: float) -> tuple[Run, Energy, Cost]:
    from daemon.bath import cost as costs
    from daemon.record import queries
    from daemon.record.series import samples
    from daemon.record.store import open_reader

    engine = open_reader(settings.record.path)
    try:
        with engine.connect() as connection:
            run = queries.one_run(connection, run_id)
            cell = costs.energy(samples(connection, run_id, 0.0, run.elapsed_s + AFTER_S))
    finally:
        engine.dispose()
    used = costs.cost(
        costs.deposited_g(run), run.charge_ah, cell, settings.bath.description(), efficiency
    )
    return run, cell, used


def _lines(run: Run, cell: Energy, used: Cost, parts: int) -> Iterator[str]:
    from daemon.api.runs import cost_words

    for row in cost_words.rows(run, cell, used, parts):
        yield f"{row.name:<10} {row.text}"
