"""An ended run counted again with another calibration of its meter, and posted if wanted."""

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection

from daemon.api.errors import InputError
from daemon.api.plans.file import read_plan
from daemon.api.plans.known import known_of
from daemon.api.rounding import rounded
from daemon.chemistry.electrolysis import um_per_ah
from daemon.chemistry.uncertainty import NO_DOUBT, Budget, MeterDoubt
from daemon.clock import SystemClock, to_ms
from daemon.control import situation
from daemon.control.charge import Count
from daemon.control.doubt import charge_doubt, thickness_doubt
from daemon.control.panel import Correction
from daemon.control.recorrect import Change, counted
from daemon.record import calibrations, ledger, queries
from daemon.record.calibrations import Calibration
from daemon.record.queries import Run
from daemon.record.recovery import RUNNING
from daemon.record.series import samples
from daemon.record.store import RecordLock, checkpoint, open_writer
from daemon.record.summary import nah
from daemon.service.commands.calibration_report import CONFIDENCE, correction, day

CHARGE_DECIMALS, THICKNESS_DECIMALS = 6, 2
"""The most that are shown."""

AFTER_END_S = 60.0
"""s. A run's last sample may be this much after its end by rounding and to spare."""


@dataclass(frozen=True, slots=True)
class Side:
    """One way to count: what corrects the readings, the doubt of them if known, and the figures."""

    correction: Correction
    calibration: Calibration | None
    doubt: MeterDoubt | None
    count: Count
    charge: Budget
    thickness: Budget


@dataclass(frozen=True, slots=True)
class Recorrected:
    """A run as it was counted, and as it would be with another calibration."""

    run: Run
    before: Side
    after: Side


def recorrect(
    connection: Connection, run_id: int, calibration_id: int | None, gap_limit_s: float
) -> Recorrected:
    """Count the run again with this calibration, or (None) the newest of the meter that counted.

    Readings further apart than `gap_limit_s` are a gap, unless the run's charge grew meanwhile.
    Raises RecordError: no such run or calibration; InputError: a run without an end, no calibration
    to count with, one of another meter, or a plan that cannot be read any more.
    """
    run = queries.one_run(connection, run_id)
    where = f"run {run_id}"
    if run.state == RUNNING:
        raise InputError(where, ("it has not ended, or the daemon has to close it at its start",))
    by = run.counted_by
    kept = _calibration(connection, run, calibration_id)
    line = kept.made.line
    was, now = Correction(by.gain, by.offset_a), Correction(line.gain, line.offset_a)
    least_ah, greatest_ah = run.gap_least_ah or 0.0, run.gap_greatest_ah or 0.0
    bare = Count(run.charge_ah, least_ah, greatest_ah, 0.0, 0.0, 0.0, 0.0, 0.0)
    readings = (
        (sample.elapsed_s, sample.current_a, sample.charge_ah)
        for sample in samples(connection, run_id, 0.0, run.elapsed_s + AFTER_END_S)
        if sample.current_a is not None
    )
    count = counted(readings, gap_limit_s, bare)
    before = calibrations.one(connection, by.calibration_id) if by.calibration_id else None
    return Recorrected(
        run,
        _side(run, was, before, by.doubt, count),
        _side(run, now, kept, _doubt(run, kept), Change.between(was, now).of(count)),
    )


def post(path: Path, run_id: int, calibration_id: int | None, gap_limit_s: float, who: str) -> str:
    """Count the run again and enter the difference into its bath's account; says what was done.

    Raises as `recorrect`, and RecordError when another process, such as the daemon, writes the
    record; sqlalchemy.exc.DatabaseError when the disk refuses.
    """
    with RecordLock(path):
        engine = open_writer(path)
        try:
            with engine.begin() as connection:
                found = recorrect(connection, run_id, calibration_id, gap_limit_s)
                said = f"run {run_id} counted with {_of(found.after)}, by {who}"
                added_nah, balance_nah = ledger.correct_run(
                    connection, run_id, nah(found.after.count.charge_ah), _utc_ms(), said
                )
            checkpoint(engine)
        finally:
            engine.dispose()
    if not added_nah:
        return f"posted     nothing: {found.run.bath} has this charge already"
    return (
        f"posted     {added_nah / 1e9:+.6f} Ah to {found.run.bath}, "
        f"which now stands at {balance_nah / 1e9:.3f} Ah"
    )


def text(found: Recorrected) -> str:
    """The run, both corrections, and both figures with their doubt, a line each."""
    run, before, after = found.run, found.before, found.after
    change = after.charge.value / before.charge.value - 1 if before.charge.value else 0.0
    return "\n".join(
        [
            f"run        {run.id}, {run.title}, counted by {run.counted_by.meter}",
            f"was        {_correction(before)}",
            f"           {_figures(before)}",
            f"now        {_correction(after)}",
            f"           {_figures(after)}",
            f"change     {100 * change:+.2f} % of the charge",
        ]
    )


def _calibration(connection: Connection, run: Run, calibration_id: int | None) -> Calibration:
    meter = run.counted_by.meter
    if calibration_id is None:
        kept = calibrations.newest(connection, meter)
        if kept is None:
            raise InputError(f"run {run.id}", (f"{meter}, which counted it, was never calibrated",))
        return kept
    kept = calibrations.one(connection, calibration_id)
    if kept.made.meter != meter:
        raise InputError(
            f"calibration {calibration_id}",
            (f"it is of {kept.made.meter}, and run {run.id} was counted by {meter}",),
        )
    return kept


def _doubt(run: Run, kept: Calibration) -> MeterDoubt:
    """The doubt under another calibration: noise, step and clock are the meter's own and stay."""
    by = run.counted_by
    own = by.doubt or NO_DOUBT
    return kept.made.line.doubt(own.noise_a * by.gain, own.clock, own.step_a * by.gain)


def _side(
    run: Run,
    correction: Correction,
    calibration: Calibration | None,
    doubt: MeterDoubt | None,
    count: Count,
) -> Side:
    plan = read_plan(run.plan, f"the plan of run {run.id}", known_of(run))
    growth = um_per_ah(plan.metal, plan.area_dm2, plan.efficiency)
    of_run = situation.Run(run.id, plan, 0.0, growth, plan.target_um / growth, doubt or NO_DOUBT)
    return Side(
        correction,
        calibration,
        doubt,
        count,
        charge_doubt(of_run, count),
        thickness_doubt(of_run, count),
    )


def _correction(side: Side) -> str:
    line = side.correction
    how = correction(line.gain, line.offset_a)
    return how if side.calibration is None else f"{how}, {_of(side)}"


def _of(side: Side) -> str:
    kept = side.calibration
    if kept is None:
        return "no calibration"
    return f"calibration {kept.id} of {kept.made.meter}, {day(kept.made.utc_ms)}"


def _figures(side: Side) -> str:
    figures = (
        (side.charge, "Ah", CHARGE_DECIMALS),
        (side.thickness, "µm", THICKNESS_DECIMALS),
    )
    return ", ".join(_figure(side, budget, unit, most) for budget, unit, most in figures)


def _figure(side: Side, budget: Budget, unit: str, most_decimals: int) -> str:
    if side.doubt is None:
        return f"{budget.value:.{min(most_decimals, 4)}f} {unit}, how sure is not known"
    half = budget.expanded(CONFIDENCE)
    if not half > 0:
        return f"{budget.value:.{most_decimals}f} {unit}"
    value, doubt = rounded(budget.value, half, most_decimals)
    return f"{value} ± {doubt} {unit} (95 %)"


def _utc_ms() -> int:
    return to_ms(SystemClock().utc())
