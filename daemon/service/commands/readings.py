"""`tankhand readings`: the readings of a run as files for other programs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.command import BadInputError, RefusedError, errors, settings_option

if TYPE_CHECKING:
    from sqlalchemy import Engine

    from daemon.record.queries import Run

FILE = click.Path(path_type=Path, dir_okay=False)


@click.command()
@click.argument("run", type=click.IntRange(1, 2**63 - 1))
@click.option("--csv", "csv_file", type=FILE, metavar="FILE", help="Into this CSV file.")
@click.option(
    "--parquet", "parquet_file", type=FILE, metavar="FILE", help="Into this Parquet file."
)
@settings_option
def readings(run: int, csv_file: Path | None, parquet_file: Path | None, settings: Path) -> None:
    """Write every reading of run RUN into a file, whole or not at all; during the run too.

    Columns have their units in their names; what was not read is empty. Ahead of them, in a Parquet
    file as its metadata, stands by which meter and correction the current was counted. Nothing is
    written over. Parquet needs the extra tankhand[parquet].
    """
    from daemon.api.runs.readings_parquet import NoParquetError
    from daemon.record.store import open_reader
    from daemon.service.settings.file import read_settings

    if csv_file is None and parquet_file is None:
        raise BadInputError("no file is named: --csv FILE, --parquet FILE or both")
    with errors():
        engine = open_reader(read_settings(settings).record.path)
        try:
            found, told = _known(engine, run)
            for path, kind in ((csv_file, "csv"), (parquet_file, "parquet")):
                if path is not None:
                    with _place(path) as part:
                        rows = _write(part, engine, found, told, kind)
                    click.echo(f"written    {path}: {rows} readings of run {run}")
        except NoParquetError as error:
            raise RefusedError(str(error)) from error
        finally:
            engine.dispose()


def _known(engine: Engine, run_id: int) -> tuple[Run, tuple[tuple[str, str], ...]]:
    from daemon.api.runs.readings import about
    from daemon.record import calibrations, queries

    with engine.connect() as connection:
        run = queries.one_run(connection, run_id)
        number = run.counted_by.calibration_id
        kept = None if number is None else calibrations.one(connection, number)
    return run, about(run, kept)


def _write(
    part: Path, engine: Engine, run: Run, told: tuple[tuple[str, str], ...], kind: str
) -> int:
    from daemon.api.runs.readings import AFTER_S, csv_chunks
    from daemon.api.runs.readings_parquet import parquet_chunks
    from daemon.record.entries import Sample
    from daemon.record.readings import pieces

    rows = 0

    def counted() -> Iterator[list[Sample]]:
        nonlocal rows
        for piece in pieces(engine.connect, run.id, run.elapsed_s + AFTER_S):
            rows += len(piece)
            yield piece

    chunks: Iterable[bytes] = (csv_chunks if kind == "csv" else parquet_chunks)(
        run, told, counted()
    )
    with part.open("xb") as file:
        file.writelines(chunks)
    return rows


@contextmanager
def _place(path: Path) -> Iterator[Path]:
    """A file beside `path`, which takes its name once it is whole, and is gone otherwise."""
    from daemon.on_disk import take_place

    if path.exists():
        raise RefusedError(f"{path}: is there already, and nothing is written over")
    part = path.with_name(path.name + ".part")
    try:
        part.unlink(missing_ok=True)
        yield part
        take_place(part, path)
    except OSError as error:
        raise RefusedError(f"{path}: {error.strerror or error}") from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
