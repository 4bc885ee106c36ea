"""Going on with a part whose run was cut short: what is on it, by the record."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection

from daemon.api.errors import InputError
from daemon.api.plans.proof import is_proof
from daemon.control.end_names import STAGE_CHARGE, STAGE_DURATION, STAGE_THICKNESS, STAGE_VOLTAGE
from daemon.control.situation import Carried
from daemon.record import interruptions, queries
from daemon.record.errors import NoSuchRunError
from daemon.record.queries import Run
from daemon.record.recovery import RUNNING
from daemon.record.store import open_reader

STAGE_ENDS = frozenset(
    {
        STAGE_CHARGE,
        STAGE_THICKNESS,
        STAGE_DURATION,
        STAGE_VOLTAGE,
    }
)
"""How a stage ends that is not to be done again."""

MOST_RUNS = 100
"""Runs of one part that follow each other; more is a mistake in the record."""


@dataclass(frozen=True, slots=True)
class Unfinished:
    """A part that is not done: the plan's text by which it was begun, and what is on it."""

    run: Run
    carried: Carried


def unfinished(connection: Connection, run_id: int) -> Unfinished:
    """What a new run carries over when it goes on with the part of `run_id`.

    Raises InputError: there is no such run, it has not ended, it reached its target, it was a proof
    test's, or nobody has said yet what passed in an interruption whose length is not known.
    """
    try:
        run = queries.one_run(connection, run_id)
    except NoSuchRunError as error:
        raise InputError(f"run {run_id}", (str(error),)) from error
    if run.state == RUNNING:
        raise InputError(f"run {run_id}", ("is under way",))
    if is_proof(run.plan):
        raise InputError(f"run {run_id}", ("was a proof test's: there is no part to go on with",))
    if run.state == "complete":
        raise InputError(f"run {run_id}", ("has reached its target: nothing is left to do",))
    return Unfinished(run, _carried(connection, run))


def unfinished_by(path: Path, stack: ExitStack) -> Callable[[int], Unfinished]:
    """`unfinished` over the record at `path`, for any thread; `stack` closes it."""
    engine = open_reader(path)
    stack.callback(engine.dispose)

    def ask(run_id: int) -> Unfinished:
        with engine.connect() as connection:
            return unfinished(connection, run_id)

    return ask


def _carried(connection: Connection, run: Run) -> Carried:
    """All that the run and those before it have put on the part."""
    chain = [run]
    while (before := chain[-1].goes_on_from) is not None:
        if len(chain) == MOST_RUNS:
            raise InputError(f"run {run.id}", (f"goes on from more than {MOST_RUNS} others",))
        chain.append(queries.one_run(connection, before))
    carried = Carried()
    for each in reversed(chain):
        carried = _with(connection, carried, each)
    return carried


def _with(connection: Connection, before: Carried, run: Run) -> Carried:
    done = [each for each in queries.stages(connection, run.id) if each.ended_by in STAGE_ENDS]
    least_ah, greatest_ah = run.gap_least_ah or 0.0, run.gap_greatest_ah or 0.0
    settled_ah = 0.0
    cut = interruptions.of_run(connection, run.id)
    if cut is not None:
        if cut.charge_ah is not None:
            settled_ah = cut.charge_ah
        elif cut.greatest_ah is None:
            raise InputError(
                f"run {run.id}",
                ("how long it was interrupted is not known: say first what passed meanwhile, "
                 f"with `tankhand settle {run.id} CHARGE`",),
            )  # fmt: skip
        else:
            least_ah, greatest_ah = least_ah + cut.least_ah, greatest_ah + cut.greatest_ah
    return Carried(
        charge_ah=before.charge_ah + run.charge_ah + settled_ah,
        gap_least_ah=before.gap_least_ah + least_ah,
        gap_greatest_ah=before.gap_greatest_ah + greatest_ah,
        covered_s=before.covered_s + (run.running_s or run.elapsed_s),
        stage=max((each.number + 1 for each in done), default=before.stage),
        stage_from_ah=before.stage_from_ah + sum(each.charge_ah for each in done),
    )
