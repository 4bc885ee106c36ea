"""The charge that deposited what is on a part, by the record, with its doubt."""

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Connection

from daemon.bath.errors import WeighingError
from daemon.chemistry.uncertainty import NO_DOUBT, Budget, Counted, Shape, Share, charge_budget
from daemon.record import interruptions, ledger, queries
from daemon.record.queries import Run
from daemon.record.recovery import RUNNING

MOST_RUNS = 100
"""Runs of one part that follow each other; more is a mistake in the record."""


@dataclass(frozen=True, slots=True)
class PartCharge:
    """The runs of one part, oldest first, and the charge of all of them, A·h."""

    runs: tuple[Run, ...]
    charge: Budget

    @property
    def last(self) -> Run:
        """The run that was asked for."""
        return self.runs[-1]


def of_part(connection: Connection, run_id: int, *, so_far: bool = False) -> PartCharge:
    """The charge of a run and of those that it goes on from, with corrections that came later.

    Noise averages out over a run and is left out. A run under way has what was committed of it,
    with `so_far`. Raises NoSuchRunError, and WeighingError for a run under way without it and for
    an interruption of which nothing is known.
    """
    runs = [queries.one_run(connection, run_id)]
    while (before := runs[-1].goes_on_from) is not None:
        if len(runs) == MOST_RUNS:
            raise WeighingError(f"run {run_id}: goes on from more than {MOST_RUNS} others")
        runs.append(queries.one_run(connection, before))
    runs.reverse()
    for run in runs:
        if run.state == RUNNING and not so_far:
            raise WeighingError(f"run {run.id}: is under way")
    return PartCharge(tuple(runs), _sum([_of_run(connection, run) for run in runs]))


def _of_run(connection: Connection, run: Run) -> Budget:
    """The charge of one run; what passed in an interruption as it was settled, else its bounds."""
    charge_ah = run.charge_ah
    if run.state != RUNNING:
        charge_ah = ledger.counted_nah(connection, run.id) / 1e9
    least_ah, greatest_ah = run.gap_least_ah or 0.0, run.gap_greatest_ah or 0.0
    cut = interruptions.of_run(connection, run.id)
    if cut is not None and cut.charge_ah is not None:
        charge_ah += cut.charge_ah
    elif cut is not None and cut.greatest_ah is None:
        raise WeighingError(
            f"run {run.id}: how long it was interrupted is not known: say first what passed "
            f"meanwhile, with `tankhand settle {run.id} CHARGE`"
        )
    elif cut is not None and cut.greatest_ah is not None:
        least_ah, greatest_ah = least_ah + cut.least_ah, greatest_ah + cut.greatest_ah
    covered_s = run.elapsed_s if run.running_s is None else run.running_s
    counted = Counted(charge_ah, covered_s, 0.0, least_ah, greatest_ah)
    return charge_budget(counted, run.counted_by.doubt or NO_DOUBT)


def _sum(charges: Iterable[Budget]) -> Budget:
    """Runs of one part: what errs alike in a meter errs alike in all of them, and so do gaps."""
    value = 0.0
    alike: dict[tuple[str, Shape], float] = {}
    for charge in charges:
        value += charge.value
        for share in charge.shares:
            key = (share.name, share.shape)
            alike[key] = alike.get(key, 0.0) + share.u
    shares = tuple(Share(name, u, shape) for (name, shape), u in alike.items() if u)
    return Budget(value, shares)
