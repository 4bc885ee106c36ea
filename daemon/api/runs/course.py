"""A run between two moments, as a chart beside the tank shows it: what was read, and foretold."""

from dataclasses import dataclass

from sqlalchemy import Connection

from daemon.api.runs.report import deposit_of, plan_of, rehearsal_of
from daemon.api.socket.rehearsal import Rehearsal
from daemon.record.queries import Run, one_run
from daemon.record.series import Series, series


@dataclass(frozen=True, slots=True)
class RunCourse:
    """What a chart draws of a run.

    um_per_ah: µm that an A·h deposits on the part, None where the record cannot tell. before_ah:
    charge that it had from earlier runs, A·h. rehearsal: what was foretold of the run, if anything.
    """

    series: Series
    um_per_ah: float | None = None
    before_ah: float = 0.0
    rehearsal: Rehearsal | None = None


def read_series(
    connection: Connection, run: Run, points: int, from_s: float, to_s: float
) -> Series:
    """What was read of a run between two times since its start, s, in at most `points` points."""
    # The end itself is past the last sample, which belongs to the series too.
    to_s = min(to_s, run.elapsed_s + 1.0)
    return series(connection, run.id, min(from_s, run.elapsed_s), to_s, points)


def read_course(
    connection: Connection,
    run_id: int,
    points: int,
    from_s: float = 0.0,
    to_s: float = float("inf"),
) -> RunCourse:
    """The run between two times since its start, s, in at most `points` points.

    Raises RecordError: no such run, or a record that is damaged.
    """
    run = one_run(connection, run_id)
    deposit = deposit_of(connection, run, plan_of(run))
    return RunCourse(
        series=read_series(connection, run, points, from_s, to_s),
        um_per_ah=None if deposit.charge is None else deposit.um_per_ah,
        before_ah=deposit.before_ah(run),
        rehearsal=rehearsal_of(connection, run_id),
    )
