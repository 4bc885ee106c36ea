"""A run's readings as files for other programs: what they are called, what is said of them, CSV.

A column's unit is in its name. `utc` is the start by the wall clock and `elapsed_s` on top of it,
which is monotonic: a clock that was set meanwhile moves no reading. What was not read is empty, and
where nothing was read there is no row.
"""

import csv
import io
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime

from daemon.api.runs.counted_words import counted_by
from daemon.record.calibrations import Calibration
from daemon.record.entries import Sample
from daemon.record.queries import Run

COLUMNS = (
    "utc", "elapsed_s", "current_A", "voltage_V", "set_current_A", "charge_Ah", "temperature_degC",
)  # fmt: skip
"""In the order of the files."""

LONGEST = 500
"""Characters of a text that somebody wrote; spreadsheets take some thousands."""

AFTER_S = 60.0
"""s beyond a run's last reading: whatever was read is taken."""

_FORMULA = "=+-@\uff1d\uff0b\uff0d\uff20"
"""With one of these first a spreadsheet takes a text for a formula; wide ones too."""

_NO_TEXT = frozenset({"Cc", "Zl", "Zp"})
_TURNS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def about(run: Run, calibration: Calibration | None) -> tuple[tuple[str, str], ...]:
    """What is said of the readings ahead of them, pairs of a name and a text.

    Texts that somebody wrote are cut short, on one line, and no formula to a spreadsheet.
    """
    started = datetime.fromtimestamp(run.started_utc_ms / 1000, UTC)
    end = run.state if run.reason is None else f"{run.state}: {run.reason}"
    clock = {True: "set", False: "not set", None: "not known whether it was set"}
    told = (
        ("run", str(run.id)),
        ("title", run.title),
        ("bath", run.bath),
        ("state", end),
        ("started_utc", started.isoformat(timespec="milliseconds")),
        ("clock", f"{clock[run.clock_synchronised]} at the start; elapsed_s is monotonic"),
        ("counted_by", counted_by(run.counted_by, calibration)),
        ("current_A", "corrected, a sample at the time of its row"),
        ("charge_Ah", "of this run, as it was counted then"),
    )
    return tuple((name, harmless(text)) for name, text in told)


def harmless(text: str) -> str:
    """A text on one line that no spreadsheet takes for a formula: those get a ' ahead of them."""
    shown = "".join(
        " " if unicodedata.category(char) in _NO_TEXT or char in _TURNS else char
        for char in text[:LONGEST]
    ).strip()
    return f"'{shown}" if shown[:1] and shown[0] in _FORMULA else shown


def file_name(run_id: int, ending: str) -> str:
    """What a file of readings is called: by its run's number, and nothing that somebody wrote."""
    return f"tankhand-run-{run_id}.{ending}"


def csv_chunks(
    run: Run, told: Iterable[tuple[str, str]], pieces: Iterable[Sequence[Sample]]
) -> Iterator[bytes]:
    """The file by RFC 4180, in UTF-8: what is said of it in lines with "# ", names, readings."""
    head = io.StringIO(newline="")
    writer = csv.writer(head)
    writer.writerows((f"# {name}", text) for name, text in told)
    writer.writerow(COLUMNS)
    yield head.getvalue().encode()
    for piece in pieces:
        yield "".join(_rows(run.started_utc_ms, piece)).encode("ascii")


def _rows(started_utc_ms: int, piece: Sequence[Sample]) -> Iterator[str]:
    last_s, stamp = -1, ""
    for _, elapsed_s, current_a, voltage_v, set_a, charge_ah, warmth_c in piece:
        second, ms = divmod(started_utc_ms + round(elapsed_s * 1000), 1000)
        if second != last_s:
            last_s, stamp = second, f"{datetime.fromtimestamp(second, UTC):%Y-%m-%dT%H:%M:%S}"
        current = "" if current_a is None else f"{current_a:.5f}"
        voltage = "" if voltage_v is None else f"{voltage_v:.5f}"
        warmth = "" if warmth_c is None else f"{warmth_c:.2f}"
        yield (
            f"{stamp}.{ms:03d}Z,{elapsed_s:.5f},{current},{voltage},{set_a:.5f},"
            f"{charge_ah:.7f},{warmth}\r\n"
        )
