"""Earlier runs of a bath out of the record, as `learning` takes them."""

from itertools import pairwise

from sqlalchemy import Connection

from daemon.api.plans.proof import is_proof
from daemon.chemistry.electrolysis import g_per_ah, um_per_ah
from daemon.chemistry.metals import metal_named
from daemon.record import queries
from daemon.record.queries import Run
from daemon.record.recovery import RUNNING
from daemon.record.series import Series, series
from daemon.service.rehearsal.learning import Past, Seen

MOST_RUNS = 8
"""The newest runs that are learned from: a tank changes, and its people with it."""

LOOK_BACK = 60
"""Runs of all baths that are looked through for them."""

EARLY_S, EARLY_POINTS, POINTS = 1800.0, 20, 24
"""s while paint is being covered, and points taken of that and of the rest."""

COPPER = "Cu"
"""The metal of the simulated tank, as the record has it."""

LEAST_A, LEAST_V = 0.05, 0.02
"""Below these a cell tells nothing."""

UNSTEADY = 0.2
"""Of the current, within one point: more is a ramp, a hold or a fault."""

LEAST_POINTS = 5
"""A run with fewer is none to learn from."""


def past_runs(connection: Connection, bath: str, but: int | None = None) -> tuple[Past, ...]:
    """The newest runs of this bath that tell something, oldest first, without the run `but`."""
    found: list[Past] = []
    for run in queries.runs(connection, limit=LOOK_BACK):
        if run.bath != bath or run.metal != COPPER or run.goes_on_from is not None:
            continue
        if run.state == RUNNING or run.id == but or is_proof(run.plan):
            continue
        past = past_of(run, _points(connection, run))
        if past is not None:
            found.append(past)
        if len(found) == MOST_RUNS:
            break
    return tuple(reversed(found))


def _points(connection: Connection, run: Run) -> list[Seen]:
    end_s = max(run.elapsed_s, 1.0)
    early_s = min(EARLY_S, end_s)
    spans = [series(connection, run.id, 0.0, early_s, EARLY_POINTS)]
    if end_s > early_s:
        spans.append(series(connection, run.id, early_s, end_s + 1.0, POINTS))
    a_gram = g_per_ah(metal_named(run.metal))
    if run.reckoning is not None:
        a_gram *= run.reckoning.efficiency
    return [seen for span in spans for seen in _seen(span, a_gram)]


def _seen(span: Series, a_gram: float) -> list[Seen]:
    found = []
    charges = (0.0, *span.charge_ah)
    if span.charge_ah and span.first_s[0] > 60.0:
        charges = (span.charge_ah[0], *span.charge_ah)
    for place, (before_ah, after_ah) in enumerate(pairwise(charges)):
        current, voltage = span.current_a, span.voltage_v
        least_a, mean_a, most_a = current.least[place], current.mean[place], current.greatest[place]
        mean_v = voltage.mean[place]
        if least_a is None or mean_a is None or most_a is None or mean_v is None:
            continue
        if mean_a < LEAST_A or mean_v < LEAST_V or most_a - least_a > UNSTEADY * mean_a:
            continue
        found.append(
            Seen(
                (span.first_s[place] + span.last_s[place]) / 2,
                mean_a,
                mean_v,
                a_gram * (before_ah + after_ah) / 2,
                span.set_current_a.mean[place],
                span.temperature_c.mean[place],
            )
        )
    return found


def past_of(run: Run, seen: list[Seen]) -> Past | None:
    """A run as it is learned from; None where it tells too little."""
    if len(seen) < LEAST_POINTS:
        return None
    metal = metal_named(run.metal)
    growth = um_per_ah(metal, run.area_dm2) / g_per_ah(metal)
    return Past(
        run.id, run.area_dm2, tuple(seen), tuple(growth * each.deposited_g for each in seen)
    )
