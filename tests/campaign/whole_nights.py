"""Whole nights of the daemon's own inside on a virtual clock, with faults singly and in pairs.

python tests/campaign/whole_nights.py --nights 500

Each night (`night/`) is drawn from its seed: tank, supply, wire, meters, pins, disk, clocks,
network, people, and when what goes wrong. After every cycle eight invariants are held against the
tank's own truth (`night/checks.py`). Seeds begin at a random one, which is printed, or at
`--first-seed`; `--replay SEED` lives one night again and tells what happened in it. Exits with 1 if
anything is broken.
"""

import argparse
import random
import sys
import time
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from multiprocessing import Pool

from night.drawn import Drawn
from night.faults import ALL
from night.world import World
from rich.console import Console
from rich.table import Table

SAID_EVERY = 200
"""Nights after which it is said how things stand."""

MOST_SEED = 1_000_000_000


@dataclass(frozen=True)
class Outcome:
    """What one night came to. cpu_s: what it took of a core."""

    seed: int
    hours: float
    cpu_s: float
    counts: Counter
    excused: Counter
    pairs: int
    found: list


def outcome_of(seed, only=None, *, short=False):
    """Draw one night, or a short one, and live through it."""
    began_s = time.process_time()
    drawn = Drawn(seed, only, short)
    checks = World(drawn).run()
    at = [incident.at_s for incident in drawn.incidents]
    pairs = sum(1 for a, b in pairwise(at) if b - a <= 60.0)
    return Outcome(
        seed,
        drawn.hours,
        time.process_time() - began_s,
        checks.counts,
        checks.excused,
        pairs,
        checks.found,
    )


def _of_kind(job):
    seed, only, short = job
    return outcome_of(seed, only, short=short)


def replay(console, drawn):
    """One night again, told from begin to end."""
    world = World(drawn)
    checks = world.run()
    for at_s, text in checks.notes:
        console.print(f"{at_s:12.3f} s  {text}", markup=False)
    for number, at_s, text in checks.found:
        console.print(f"broken at {at_s:.3f} s: invariant {number}: {text}", markup=False)
    return 1 if checks.found else 0


def say(console, outcomes, wall_s):
    """What the nights come to together."""
    counts = sum((outcome.counts for outcome in outcomes), Counter())
    excused = sum((outcome.excused for outcome in outcomes), Counter())
    table = Table("fault", "times", "fault", "times")
    names = list(ALL)
    half = (len(names) + 1) // 2
    for left, right in zip(names[:half], [*names[half:], ""], strict=False):
        table.add_row(left, str(counts[left]), right, str(counts[right]) if right else "")
    console.print(table)
    hours = sum(outcome.hours for outcome in outcomes)
    cpu_s = sum(outcome.cpu_s for outcome in outcomes)
    faults = sum(counts[name] for name in names)
    console.print(
        f"{len(outcomes)} nights, {hours:.0f} h: {counts['runs']} runs, {faults} faults, "
        f"{sum(o.pairs for o in outcomes)} of them within a minute of another, "
        f"{counts['alarms']} alarms, {counts['deaths']} deaths of the process, "
        f"{counts['stops']} stops, {counts['causes held to their time']} causes held to their "
        f"time, {counts['comparisons']} comparisons of charge"
    )
    console.print(
        f"{len(outcomes) / wall_s * 3600:.0f} nights an hour; {hours * 3600 / wall_s:.0f} x real "
        f"time, {hours * 3600 / cpu_s:.0f} x for each core's second"
    )
    for why, times in sorted(excused.items()):
        console.print(f"not asked for, {times} times: {why}")


def main():
    """Run the campaign, or one night of it."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--nights", type=int, default=500)
    parser.add_argument("--first-seed", type=int)
    parser.add_argument("--kind", choices=ALL, help="only this fault")
    parser.add_argument("--short", action="store_true", help="nights of an hour or so")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--replay", type=int, metavar="SEED")
    options = parser.parse_args()
    console = Console(width=110, highlight=False)
    if options.replay is not None:
        return replay(console, Drawn(options.replay, options.kind, options.short))
    first = options.first_seed
    if first is None:
        first = random.SystemRandom().randrange(MOST_SEED)
    seeds = range(first, first + options.nights)
    jobs = [(seed, options.kind, options.short) for seed in seeds]
    console.print(f"seeds {jobs[0][0]} to {jobs[-1][0]}")
    outcomes = []
    began_s = time.monotonic()
    with Pool(options.processes) as pool:
        for outcome in pool.imap(_of_kind, jobs, chunksize=4):
            outcomes.append(outcome)
            for number, at_s, text in outcome.found:
                console.print(
                    f"seed {outcome.seed}, {at_s:.3f} s: invariant {number}: {text}", markup=False
                )
            if len(outcomes) % SAID_EVERY == 0:
                wrong = sum(bool(each.found) for each in outcomes)
                hours = sum(each.hours for each in outcomes)
                cpu_s = sum(each.cpu_s for each in outcomes)
                console.print(
                    f"{len(outcomes)} nights, {wrong} with anything broken; "
                    f"{hours * 3600 / cpu_s:.0f} x for each core's second"
                )
    say(console, outcomes, time.monotonic() - began_s)
    return 1 if any(outcome.found for outcome in outcomes) else 0


if __name__ == "__main__":
    sys.exit(main())
