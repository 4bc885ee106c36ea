"""Counted charge against the tank's own for each measuring chain, before and after calibration.

python tests/benchmarks/accuracy.py [--draws N] [--target µm] [--class TEXT] [--seed N]

Each ammeter shows 1 % too much and has an offset besides, noise and a last digit (chains.py). A run
plates with what its maker promises; then it is calibrated, as `tankhand calibrate` does, against a
reference that is itself somewhere within its class; then a second run plates. Both go through
drivers, workers, panel, loop, `step` and `Count` on the virtual clock, to the plan's target.
"""

import argparse
import random
import statistics
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from chains import KINDS, SERVICE, Chain, Kind, chain
from harness import BenchmarkError, show

from daemon.api.calibration.comparison import Taken
from daemon.api.calibration.reference import read_class, read_shown
from daemon.api.plans.file import read_plan
from daemon.api.socket.messages import CalibrateRequest
from daemon.chemistry.calibration import ReferenceClass, mean_reading
from daemon.control.doubt import charge_doubt
from daemon.control.states import Act, State
from daemon.service.keeping.calibration import Calibrator

CONFIDENCE = 0.95
POINTS_A = (0.0, 0.5, 1.0, 2.0, 2.5)
"""A zero with the output off, and the greatest current of the plan among the others."""

SETTLES_S, READINGS = 10, 20
"""s before a point, and its readings, one a second."""

PLAN = """\
title = "Accuracy"
area = "1.8 dm²"
target = "{target_um:g} µm"
voltage_ceiling = "6 V"
caps = {{ charge = "10 Ah", duration = "10 h" }}
[[stage]]
name = "cover"
current = "0.5 A"
ramp = "30 s"
until = {{ duration = "120 s" }}
[[stage]]
name = "build"
current = "2 A"
ramp = "120 s"
"""


@dataclass(frozen=True, slots=True)
class Outcome:
    """A run: true and counted charge and half of the stated interval, A·h; its length, s."""

    true_ah: float
    counted_ah: float
    half_width_ah: float
    lasted_s: float

    @property
    def error(self) -> float:
        """Counted above true, as a share of the true charge."""
        return self.counted_ah / self.true_ah - 1

    @property
    def half_width(self) -> float:
        """Half of the stated interval, as a share of what was counted."""
        return self.half_width_ah / self.counted_ah

    @property
    def inside(self) -> bool:
        """Whether the stated interval holds the truth."""
        return abs(self.counted_ah - self.true_ah) <= self.half_width_ah


@dataclass(frozen=True, slots=True)
class Pair:
    """The same tank plated with before and after the calibration."""

    before: Outcome
    after: Outcome


def run(made: Chain, target_um: float) -> Outcome:
    """Plate to the target with what is known of the meters now."""
    world, settings = made.world, made.settings
    counting = made.facts[made.meters.counting].doubt
    limits = settings.limits(made.rating.current_step_a, made.meters.period_s, counting)
    rig = SERVICE.Rig(
        made.supply, world.clock, rating=made.rating, limits=limits, period_s=limits.period_s,
        meters=dict(made.meters.meters), world=world.follow,
    )  # fmt: skip
    for name, facts in made.facts.items():
        rig.panel.learn(name, facts)
    rig.panel.settle()
    began_s, began_ah = world.clock.now_s, world.charge_ah(world.clock.now_s)
    text = PLAN.format(target_um=target_um)
    plan = read_plan(text, "plan")
    order = rig.order(Act.START, began_s - SERVICE.START_S + 3.0, plan=plan, text=text)
    rig.run(SERVICE.at_rest)
    situation = rig.situation
    if situation.state is not State.COMPLETE or situation.run is None or situation.count is None:
        raise BenchmarkError(f"{situation.state.value}: {order.error or situation.reason}")
    budget = charge_doubt(situation.run, situation.count)
    ended_s = world.clock.now_s
    true_ah = world.charge_ah(ended_s) - began_ah
    return Outcome(true_ah, budget.value, budget.expanded(CONFIDENCE), ended_s - began_s)


class Reference:
    """An ammeter somewhere within its class, with a last digit of 1 mA."""

    def __init__(self, limits: ReferenceClass, chance: random.Random) -> None:
        self._gain = chance.uniform(-limits.gain, limits.gain)
        self._offset_a = chance.uniform(-limits.offset_a, limits.offset_a)

    def shows(self, current_a: float) -> str:
        """What stands in its display; the current lies within the class around that."""
        return f"{(current_a - self._offset_a) / (1 + self._gain):.3f}"


def calibrate(made: Chain, reference_class: str, chance: random.Random) -> None:
    """Compare the counting meter with a reference, and know from then on what comes of it."""
    reference = Reference(read_class(reference_class), chance)
    name, supply, world = made.meters.counting, made.supply, made.world
    points = []
    for current_a in POINTS_A:
        on = current_a > 0
        if on:
            supply.set_points(current_a, 6.0)
        supply.output(on)
        world.advance(SETTLES_S)
        shown = read_shown(reference.shows(world.true_a))
        mean_a, u_a = mean_reading(list(_readings(made)))
        points.append(Taken(mean_a, u_a, READINGS, on).point(shown))
    supply.output(False)
    world.advance(SETTLES_S)
    request = CalibrateRequest(
        meter=name, who="Ann", reference="a reference", reference_class=reference_class,
        points=tuple(points),
    )  # fmt: skip
    Calibrator(
        made.meters.doubts(), {}, lambda _: 1, made.facts.__setitem__, lambda: False, world.clock
    ).calibrate(request)


def _readings(made: Chain) -> Iterator[float]:
    for _ in range(READINGS):
        made.world.advance(1.0)
        current_a = made.counting.read().current_a
        if current_a is None:
            raise BenchmarkError(f"{made.meters.counting} reads no current")
        yield current_a


def measure(kind: Kind, folder: Path, seed: int, target_um: float, reference_class: str) -> Pair:
    """Both runs of one chain, in an empty folder."""
    with chain(kind, folder, seed) as made:
        before = run(made, target_um)
        calibrate(made, reference_class, random.Random(f"{kind.name} {seed}"))
        return Pair(before, run(made, target_um))


def row(kind: Kind, pairs: Sequence[Pair]) -> list[str]:
    """A chain's line of the table."""
    line = [kind.name]
    for outcomes in ([pair.before for pair in pairs], [pair.after for pair in pairs]):
        errors = [outcome.error for outcome in outcomes]
        stated = statistics.mean(outcome.half_width for outcome in outcomes)
        spread = f"{min(errors):+.3%} to {max(errors):+.3%}"
        inside = sum(outcome.inside for outcome in outcomes)
        line += [
            spread if len(errors) > 1 else f"{errors[0]:+.3%}",
            f"±{stated:.3%}",
            f"{inside} of {len(outcomes)}",
        ]
    return line


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--draws", type=int, default=3, help="references and noises of each chain")
    parser.add_argument("--target", type=float, default=25.0, help="thickness of a run, µm")
    parser.add_argument("--class", dest="reference_class", default="0.2 % + 2 mA")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rows, lasted_s = [], 0.0
    for kind in KINDS:
        pairs = []
        for seed in range(options.seed, options.seed + options.draws):
            with tempfile.TemporaryDirectory() as folder:
                pairs.append(
                    measure(kind, Path(folder), seed, options.target, options.reference_class)
                )
        rows.append(row(kind, pairs))
        lasted_s = max(pair.before.lasted_s for pair in pairs)
    columns = ["chain"]
    for when in ("before", "after"):
        columns += [f"{when}: error", "stated 95 %", "inside"]
    show(
        "Counted charge above the tank's own",
        columns,
        rows,
        f"runs of {lasted_s / 3600:.1f} h, 2 A, a reading a second; each meter 1 % high; promised"
        f" ±1.5 % ± 10 mA; reference: {options.reference_class}",
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
