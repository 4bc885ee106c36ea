"""A night's runs counted once more from what the loop has handed over, by `exact` alone."""

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from daemon.control.situation import Demand
from daemon.record.entries import RunEnded, Sample, StageEnded
from daemon.record.summary import GAP_LIMIT_S, combine, summarise
from night import exact

NAH = 1e-9
"""A·h. In whole ones of these charge is posted; floats lose far less over a night."""


CHANNELS = (
    ("current_a", "current", 1),
    ("voltage_v", "voltage", 1),
    ("set_current_a", "set_current", 1),
    ("temperature_c", "temperature", 1000),
)
"""What a sample and what a summary call the same; how much coarser it is encoded than a time."""


@dataclass(frozen=True)
class Began:
    """A run begins: its constants, its count before the first reading, and the moment."""

    run: object
    count: object
    started_s: float


@dataclass(frozen=True)
class Asked:
    """The loop asks the supply for this from a moment on."""

    at_s: float
    demand: Demand


def run_through(entries, gap_limit_s):
    """What differs, in words."""
    runs = defaultdict(list)
    began, ended, stages = {}, {}, defaultdict(list)
    asked = []
    clock_s = 0.0
    for _, entry in entries:
        if isinstance(entry, Sample):
            runs[entry.run_id].append((clock_s, entry))
        elif isinstance(entry, Began):
            began[entry.run.run_id] = entry
        elif isinstance(entry, Asked):
            asked.append((entry.at_s, entry.demand.current_a))
        elif isinstance(entry, RunEnded):
            ended[entry.run_id] = entry
        elif isinstance(entry, StageEnded):
            stages[entry.run_id].append(entry)
    found = []
    for run_id, start in began.items():
        samples = [sample for _, sample in runs[run_id]]
        found += _charges(start, samples, asked, gap_limit_s)
        found += _end(start, samples, ended.get(run_id), stages[run_id], gap_limit_s)
        found += _summaries(samples)
    return found


def _points(start, samples):
    """Where the run's trapezoids meet: its first is at its start, with the reading before it."""
    points = [(0.0, start.count.last_a if start.count.charge_ah == start.run.carried.charge_ah
               else None)]  # fmt: skip
    points += [(s.elapsed_s, s.current_a) for s in samples if s.elapsed_s > 0.0]
    return points


def _charges(start, samples, asked, gap_limit_s):
    """The count that stands beside every 500th sample, and beside the last."""
    points = _points(start, samples)
    later = [s for s in samples if s.elapsed_s > 0.0]
    total, at = Fraction(0), 0
    for number in [*range(499, len(later), 500), len(later) - 1]:
        if number < 0:
            continue
        total += exact.charge_ah(points[at : number + 2], gap_limit_s)
        at = number + 1
        if abs(total - Fraction(later[number].charge_ah)) > NAH:
            return [
                f"run {start.run.run_id} at {later[number].elapsed_s:.1f} s: counted "
                f"{later[number].charge_ah!r} Ah, exactly {float(total)!r} Ah"
            ]
    return []


def _end(start, samples, end, stages, gap_limit_s):
    if end is None or not samples:
        return []
    run, carried, found = start.run, start.run.carried, []
    if abs(end.charge_ah - samples[-1].charge_ah) > NAH:
        found.append(f"run {run.run_id}: ends with {end.charge_ah} Ah, not the last sample's")
    best = (
        Fraction(end.charge_ah) + (Fraction(end.gap_least_ah) + Fraction(end.gap_greatest_ah)) / 2
    )
    best += Fraction(carried.charge_ah)
    best += (Fraction(carried.gap_least_ah) + Fraction(carried.gap_greatest_ah)) / 2
    grams = best * exact.COPPER_G_PER_AH * Fraction(run.plan.efficiency)
    if abs(grams - Fraction(end.mass_g)) > 1e-6 * max(1, grams):
        found.append(f"run {run.run_id}: {end.mass_g} g, exactly {float(grams)} g")
    of_stages = sum(Fraction(stage.charge_ah) for stage in stages)
    if abs(of_stages + Fraction(carried.stage_from_ah) - best) > NAH:
        found.append(
            f"run {run.run_id}: its stages add up to {float(of_stages)} Ah of {float(best)}"
        )
    return found


def _summaries(samples):
    """All minutes, ten minutes and hours, and each channel's band."""
    found, minutes = [], []
    for number, before, own in minutes_of(samples):
        summary = summarise(own, before[0] if before else None)
        minutes.append((number, summary, [*before, *own]))
        found += span_differences(summary, before, own)
    for length in (10, 60):
        for _, group in groupby(minutes, lambda each, by=length: each[0] // by):
            spans = list(group)
            joined = spans[0][2] + [s for _, _, own in spans[1:] for s in own[1:]]
            skip = 1 if len(spans[0][2]) > spans[0][1].samples else 0
            combined = combine([summary for _, summary, _ in spans])
            found += span_differences(combined, joined[:skip], joined[skip:])
    return found[:3]


def minutes_of(samples):
    """Number, the sample before in a list or an empty one, and the samples of each minute."""
    before = []
    for number, group in groupby(samples, lambda s: int(s.elapsed_s // 60)):
        own = list(group)
        yield number, before, own
        before = own[-1:]


def span_differences(summary, before, own, step=0.0):
    """What a summary says otherwise than an exact sum over its samples, in words.

    `step` is what a value or a time may have lost when it was encoded.
    """
    found = []
    if summary.samples != len(own) or max(
        abs(summary.first_s - own[0].elapsed_s), abs(summary.last_s - own[-1].elapsed_s)
    ) > step:  # fmt: skip
        found.append(f"a span of {summary.samples} samples, not {len(own)}")
    # A nAh is the step of an account; a charge is encoded in steps of 100 nAh.
    most_nah = Fraction(501, 1000) + (51 if step else 0)
    if abs(summary.charge_nah - Fraction(own[-1].charge_ah) * 10**9) > most_nah:
        found.append(f"a span's charge of {summary.charge_nah} nAh")
    for name, field, coarser in CHANNELS:
        points = [(s.elapsed_s, getattr(s, name)) for s in [*before, *own]]
        text = _band_difference(getattr(summary, field), points, len(before), step * coarser)
        if text:
            found.append(f"{name}: {text}")
    return found


def _band_difference(said, points, skip, step):
    wanted = exact.band(points, skip, GAP_LIMIT_S)
    if wanted is None:
        return None if said.mean is None else "a mean of nothing"
    least, mean, greatest, covered_s = wanted
    same = (
        said.mean is not None
        and max(abs(said.least - least), abs(said.greatest - greatest)) <= step
        and abs(Fraction(said.mean) - mean) <= Fraction(1, 10**9) + 2 * Fraction(step)
        and abs(Fraction(said.covered_s) - covered_s) <= Fraction(1, 10**6) + 2 * Fraction(step)
    )
    return None if same else f"{said}, exactly {float(mean)} over {float(covered_s)} s"
