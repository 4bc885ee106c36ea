"""Files of readings: what stands in them, read back by programs that are not ours."""

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime

import pyarrow as pa
import pytest
from pyarrow import parquet

from daemon.api.runs import readings_parquet
from daemon.api.runs.readings import COLUMNS, about, csv_chunks, file_name, harmless
from daemon.api.runs.readings_parquet import NoParquetError, parquet_chunks
from daemon.chemistry.calibration import MeterLine
from daemon.record.calibrations import Calibration
from daemon.record.entries import CalibrationMade, CountedBy, Sample
from daemon.record.queries import Run

RUN = Run(
    id=12, bath="Copper 1", title="Lamp foot", plan="", metal="Cu", area_dm2=0.5, target_um=25.0,
    who="anna", started_utc_ms=1_772_395_200_250, started_monotonic_s=0.0, boot_id="b",
    clock_synchronised=True, state="complete", reason="target reached", ended_utc_ms=None,
    elapsed_s=2.0, running_s=2.0, charge_ah=0.001, gap_least_ah=0.0, gap_greatest_ah=0.0,
    mass_g=None, thickness_um=None, counted_by=CountedBy("shunt", 1.01, 0.004, 3),
    goes_on_from=None,
)  # fmt: skip
KEPT = Calibration(
    3,
    CalibrationMade("shunt", 1_772_280_000_000, "anna", "handheld", "0.5 %", "", (),
                    MeterLine(1.01, 0.004)),
)  # fmt: skip
READ = [
    [Sample(12, 0.0, 1.5, 2.25, 1.5, 0.0, 21.5), Sample(12, 0.5, None, None, 1.5, 0.0002, None)],
    [Sample(12, 59.75001, 0.0, 2.25, 0.0, 0.0123457, 21.55)],
]


def _csv(run: Run = RUN) -> list[list[str]]:
    text = b"".join(csv_chunks(run, about(run, KEPT), READ)).decode("utf-8")
    assert text.count("\r\n") == text.count("\n")
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


def test_rows_are_utc_and_seconds_and_what_was_not_read_is_empty() -> None:
    rows = _csv()
    start = rows.index(list(COLUMNS))
    # 1 March 2026, 20:00:00.250 UTC, and what came after it.
    assert rows[start + 1 :] == [
        ["2026-03-01T20:00:00.250Z", "0.00000", "1.50000", "2.25000", "1.50000", "0.0000000",
         "21.50"],
        ["2026-03-01T20:00:00.750Z", "0.50000", "", "", "1.50000", "0.0002000", ""],
        ["2026-03-01T20:01:00.000Z", "59.75001", "0.00000", "2.25000", "0.00000", "0.0123457",
         "21.55"],
    ]  # fmt: skip


def test_it_says_by_which_correction_the_current_was_counted() -> None:
    told = {row[0]: row[1] for row in _csv() if len(row) == 2}
    assert told["# counted_by"] == (
        "shunt; current = (reading - 0.004 A) / 1.01, by calibration 3 of 2026-02-28"
    )
    assert told["# started_utc"] == "2026-03-01T20:00:00.250+00:00"
    assert told["# state"] == "complete: target reached"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ('=HYPERLINK("http://x","y")', '\'=HYPERLINK("http://x","y")'),
        ("+1+1", "'+1+1"),
        ("-2", "'-2"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'=1"),
        ("\r\n =1", "'=1"),
        ("\u202e=1", "'=1"),
        ("\uff1d1", "'\uff1d1"),
        ("Lamp\nfoot\x00", "Lamp foot"),
        ("\u05de\u05e0\u05d5\u05e8\u05d4 \U0001f4a1", "\u05de\u05e0\u05d5\u05e8\u05d4 \U0001f4a1"),
        ("", ""),
    ],
)
def test_no_text_is_a_formula_or_a_line_of_its_own(text: str, shown: str) -> None:
    assert harmless(text) == shown


def test_nasty_names_stay_in_their_cell() -> None:
    title = "a,=cmd|' /C calc'!A0\r\n=1,\"x" + "y" * 5000
    rows = _csv(replace(RUN, title=title, bath="=1+1", reason="@x"))
    assert [len(row) for row in rows[:9]] == [2] * 9
    assert not any(cell[:1] in "=+-@" for row in rows[:9] for cell in row if cell)
    assert max(len(cell) for row in rows for cell in row) <= 501
    assert file_name(12, "csv") == "tankhand-run-12.csv"


def _parquet(run: Run = RUN) -> bytes:
    return b"".join(parquet_chunks(run, about(run, KEPT), READ))


def test_parquet_has_the_same_with_its_units() -> None:
    table = parquet.read_table(pa.BufferReader(_parquet()))
    assert tuple(table.column_names) == COLUMNS
    assert table.column("utc").to_pylist()[1] == datetime(2026, 3, 1, 20, 0, 0, 750_000, UTC)
    assert table.column("elapsed_s").to_pylist() == [0.0, 0.5, 59.75001]
    assert table.column("current_A").to_pylist() == [1.5, None, 0.0]
    assert table.column("temperature_degC").to_pylist() == [21.5, None, 21.55]
    assert table.column("charge_Ah").to_pylist() == [0.0, 0.0002, 0.0123457]
    assert table.schema.field("current_A").metadata == {b"unit": b"A"}
    assert b"calibration 3" in table.schema.metadata[b"counted_by"]


def test_a_run_without_readings_is_a_file_without_rows() -> None:
    rows = list(csv_chunks(RUN, about(RUN, None), ()))
    assert rows[-1].endswith(b"temperature_degC\r\n")
    table = parquet.read_table(pa.BufferReader(b"".join(parquet_chunks(RUN, (), ()))))
    assert table.num_rows == 0


def test_parquet_is_given_in_groups_and_not_at_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(readings_parquet, "GROUP_ROWS", 1)
    taken = []

    def watched():
        for piece in READ:
            taken.append(len(given))
            yield piece

    given: list[bytes] = []
    for chunk in parquet_chunks(RUN, (), watched()):
        given.append(chunk)
    assert taken == [0, 1]
    file = parquet.ParquetFile(pa.BufferReader(b"".join(given)))
    assert file.num_row_groups == 2


def test_without_the_extra_it_says_so_before_anything_is_given(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(readings_parquet, "is_there", lambda: False)
    with pytest.raises(NoParquetError, match=r"pip install 'tankhand\[parquet\]'"):
        parquet_chunks(RUN, (), ())
