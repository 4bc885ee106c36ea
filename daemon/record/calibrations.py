"""Calibrations of meters in the record, and what each run was counted by."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy import Connection, insert, select

from daemon.chemistry.calibration import MeterLine, Point
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.record.entries import CalibrationMade, CountedBy
from daemon.record.errors import NoSuchCalibrationError
from daemon.record.tables import calibration, counted_by

_LINE = ("gain", "offset_a", "u_gain", "u_offset_a", "covariance_a", "u_class")
_DOUBT = (
    "gain", "offset_a", "covariance_a", "noise_a", "clock", "step_a", "of_limits", "reference",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Calibration:
    """A calibration as the record keeps it."""

    id: int
    made: CalibrationMade


def add(connection: Connection, made: CalibrationMade) -> int:
    """Add a calibration; its id."""
    added = insert(calibration).values(
        meter=made.meter,
        utc_ms=made.utc_ms,
        who=made.who,
        reference=made.reference,
        reference_class=made.reference_class,
        note=made.note,
        points=json.dumps([asdict(point) for point in made.points]),
        **asdict(made.line),
    )
    return int(connection.execute(added.returning(calibration.c.id)).scalar_one())


def add_counted_by(connection: Connection, run_id: int, by: CountedBy) -> None:
    """Keep what a run is counted by; once for each run."""
    doubt = {} if by.doubt is None else {f"doubt_{k}": v for k, v in asdict(by.doubt).items()}
    connection.execute(
        insert(counted_by).values(
            run_id=run_id,
            meter=by.meter,
            gain=by.gain,
            offset_a=by.offset_a,
            calibration_id=by.calibration_id,
            **doubt,
        )
    )


def counted_by_of(row: Mapping[Any, Any]) -> CountedBy:
    """What a run was counted by, from a row with the columns of that table, or nulls."""
    if row["meter"] is None:
        return CountedBy()
    doubts = {name: row[f"doubt_{name}"] for name in _DOUBT}
    # SQLite gives 0 and 1 for a truth.
    doubts["of_limits"] = bool(doubts["of_limits"])
    doubt = None if doubts["gain"] is None else MeterDoubt(**doubts)
    return CountedBy(row["meter"], row["gain"], row["offset_a"], row["calibration_id"], doubt)


def all_of(connection: Connection, meter: str | None = None) -> list[Calibration]:
    """The calibrations of a meter, or (None) of all meters, newest first."""
    wanted = select(calibration).order_by(calibration.c.id.desc())
    if meter is not None:
        wanted = wanted.where(calibration.c.meter == meter)
    return [_calibration(row) for row in connection.execute(wanted).mappings()]


def newest(
    connection: Connection, meter: str, *, before_utc_ms: int | None = None
) -> Calibration | None:
    """A meter's last calibration, or the last before a moment; None where there is none."""
    wanted = select(calibration).where(calibration.c.meter == meter)
    if before_utc_ms is not None:
        wanted = wanted.where(calibration.c.utc_ms < before_utc_ms)
    wanted = wanted.order_by(calibration.c.id.desc()).limit(1)
    row = connection.execute(wanted).mappings().one_or_none()
    return None if row is None else _calibration(row)


def newest_of_all(connection: Connection) -> dict[str, Calibration]:
    """The newest calibration of each meter that has one, by the meter's name."""
    found: dict[str, Calibration] = {}
    for kept in all_of(connection):
        found.setdefault(kept.made.meter, kept)
    return found


def one(connection: Connection, calibration_id: int) -> Calibration:
    """The calibration with this number. Raises NoSuchCalibrationError."""
    wanted = select(calibration).where(calibration.c.id == calibration_id)
    row = connection.execute(wanted).mappings().one_or_none()
    if row is None:
        raise NoSuchCalibrationError(f"there is no calibration {calibration_id} in the record")
    return _calibration(row)


def _calibration(row: Mapping[Any, Any]) -> Calibration:
    made = CalibrationMade(
        meter=row["meter"],
        utc_ms=row["utc_ms"],
        who=row["who"],
        reference=row["reference"],
        reference_class=row["reference_class"],
        note=row["note"],
        points=tuple(Point(**point) for point in json.loads(row["points"])),
        line=MeterLine(**{name: row[name] for name in _LINE}),
    )
    return Calibration(row["id"], made)
