"""A run's readings as a Parquet file, by pyarrow, which is an extra: it is large for a small Pi.

The columns are those of the CSV, as numbers; what was not read is null. What is said of the
readings is the file's metadata, each column's unit that of its field.
"""

import importlib.util
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from daemon.api.runs.readings import COLUMNS
from daemon.record.entries import Sample
from daemon.record.queries import Run

EXTRA = "tankhand[parquet]"
"""What to install for it."""

GROUP_ROWS = 36_000
"""Rows of a group, an hour at ten a second: some 20 MB in memory while it is made."""

_UNITS = ("ms since 1970 UTC", "s", "A", "V", "A", "Ah", "°C")


class NoParquetError(Exception):
    """The extra is not installed; says what to do."""

    def __init__(self) -> None:
        super().__init__(f"Parquet needs a library that is not installed: pip install '{EXTRA}'")


def is_there() -> bool:
    """Whether the extra is installed."""
    return importlib.util.find_spec("pyarrow") is not None


def parquet_chunks(
    run: Run, told: Iterable[tuple[str, str]], pieces: Iterable[Sequence[Sample]]
) -> Iterator[bytes]:
    """The file, a group of rows at a time. Raises NoParquetError before anything is given."""
    if not is_there():
        raise NoParquetError
    return _chunks(run, told, pieces)


def _chunks(
    run: Run, told: Iterable[tuple[str, str]], pieces: Iterable[Sequence[Sample]]
) -> Iterator[bytes]:
    import pyarrow as pa
    from pyarrow import parquet

    kinds = (pa.timestamp("ms", tz="UTC"), *[pa.float64()] * (len(COLUMNS) - 1))
    fields = [
        pa.field(name, kind, metadata={"unit": unit})
        for name, kind, unit in zip(COLUMNS, kinds, _UNITS, strict=True)
    ]
    schema = pa.schema(fields, metadata=dict(told))
    sink = _Sink()
    with parquet.ParquetWriter(sink, schema, compression="zstd") as writer:
        for rows in _groups(pieces):
            _, *columns = zip(*rows, strict=True)
            utc_ms = [run.started_utc_ms + round(at_s * 1000) for at_s in columns[0]]
            arrays = [
                pa.array(values, kind)
                for values, kind in zip((utc_ms, *columns), kinds, strict=True)
            ]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))
            yield sink.taken()
    yield sink.taken()


def _groups(pieces: Iterable[Sequence[Sample]]) -> Iterator[list[Sample]]:
    rows: list[Sample] = []
    for piece in pieces:
        rows += piece
        if len(rows) >= GROUP_ROWS:
            yield rows
            rows = []
    if rows:
        yield rows


class _Sink(io.RawIOBase):
    """Takes what the library writes, to be taken on; knows how much it was in all."""

    def __init__(self) -> None:
        self._written = 0
        self._kept: list[bytes] = []

    def writable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._written

    def write(self, data: Any) -> int:
        self._kept.append(bytes(data))
        self._written += len(self._kept[-1])
        return len(self._kept[-1])

    def taken(self) -> bytes:
        """What was written since the last call."""
        found = b"".join(self._kept)
        self._kept.clear()
        return found
