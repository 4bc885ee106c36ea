"""Calibrations in the record: kept as they were made, by meter and date, and never changed."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import IntegrityError

from daemon.chemistry.calibration import MeterLine, Point
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.record import calibrations, queries
from daemon.record.entries import CalibrationMade, CountedBy, RunOpened
from daemon.record.errors import NoSuchCalibrationError, RecordError
from daemon.record.store import open_writer
from daemon.record.writer import Writer

Make = Callable[..., Any]

MADE = CalibrationMade(
    meter="shunt",
    utc_ms=1_700_000_000_000,
    who="anna",
    reference="handheld, serial 4711",
    reference_class="± (0.5 % + 3 mA)",
    note="after the new shunt",
    points=(Point(0.004, 1e-4, 0.0), Point(3.051, 2e-4, 3.0, 3e-4)),
    line=MeterLine(1.0157, 0.004, 0.0029, 0.0017, -1e-8, 0.0027),
)


def test_a_calibration_comes_back_as_it_was_made(writer: Writer, ask: Make) -> None:
    first = writer.keep_calibration(MADE)

    assert ask(calibrations.one, first) == calibrations.Calibration(first, MADE)
    with pytest.raises(NoSuchCalibrationError, match="no calibration 99") as raised:
        ask(calibrations.one, 99)
    assert isinstance(raised.value, RecordError)


def test_each_meter_has_its_own_newest_one(writer: Writer, ask: Make) -> None:
    later = replace(MADE, utc_ms=MADE.utc_ms + 1000)
    other = replace(MADE, meter="supply", who="ben")
    ids = [writer.keep_calibration(made) for made in (MADE, later, other)]

    assert writer.calibrations() == {
        "shunt": calibrations.Calibration(ids[1], later),
        "supply": calibrations.Calibration(ids[2], other),
    }
    assert [kept.id for kept in ask(calibrations.all_of, "shunt")] == [ids[1], ids[0]]
    assert [kept.id for kept in ask(calibrations.all_of)] == ids[::-1]


def test_what_was_known_at_a_date(writer: Writer, ask: Make) -> None:
    later = replace(MADE, utc_ms=MADE.utc_ms + 1000)
    for made in (MADE, later):
        writer.keep_calibration(made)

    def at(utc_ms: int) -> CalibrationMade | None:
        kept = ask(calibrations.newest, "shunt", before_utc_ms=utc_ms)
        return kept.made if kept else None

    assert at(MADE.utc_ms) is None
    assert at(MADE.utc_ms + 500) == MADE
    assert at(MADE.utc_ms + 5000) == later
    assert ask(calibrations.newest, "other") is None


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE calibration SET gain = 1", "calibration is only added to: nothing in it is edit"),
        ("DELETE FROM calibration", "calibration is only added to: nothing in it is deleted"),
        ("REPLACE INTO calibration SELECT * FROM calibration", "nothing in it is replaced"),
        ("UPDATE counted_by SET gain = 1", "counted_by is only added to: nothing in it is edited"),
        ("DELETE FROM counted_by", "counted_by is only added to: nothing in it is deleted"),
        ("REPLACE INTO counted_by SELECT * FROM counted_by", "nothing in it is replaced"),
    ],
)
def test_nothing_of_it_is_ever_changed(path: Path, opened: Make, statement: str, said: str) -> None:
    writer = Writer(path, threaded=False)
    writer.keep_calibration(MADE)
    writer.put(opened())
    writer.close()
    engine = open_writer(path)
    with engine.connect() as connection, pytest.raises(IntegrityError, match=said):
        connection.exec_driver_sql(statement)
    engine.dispose()


@pytest.mark.parametrize(
    "by",
    [
        CountedBy(),
        CountedBy("shunt", 1.0157, 0.004, None, None),
        CountedBy("shunt", 1.0157, 0.004, 1, MeterDoubt(0.003, 0.002, -1e-8, 0.001, 6e-5)),
        CountedBy("shunt", doubt=MeterDoubt(step_a=0.00125, of_limits=True, reference=0.002)),
        CountedBy("shunt", doubt=MeterDoubt()),
    ],
)
def test_a_run_keeps_what_it_was_counted_by(
    writer: Writer, ask: Make, opened: Make, by: CountedBy
) -> None:
    writer.keep_calibration(MADE)
    run: RunOpened = replace(opened(), counted_by=by)
    writer.put(run)
    writer.flush()

    assert ask(queries.one_run, 1).counted_by == by


def test_a_run_counted_by_a_calibration_that_is_not_there_is_told(
    writer: Writer, ask: Make, opened: Make
) -> None:
    writer.put(replace(opened(), counted_by=CountedBy("shunt", calibration_id=5)))
    writer.flush()

    assert ask(queries.runs) == []
    assert ask(queries.events)[0].kind == "record_refused"
