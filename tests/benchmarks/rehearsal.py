"""What a rehearsal of a night costs, against one walk through the same night at a tick a second.

python tests/benchmarks/rehearsal.py

The plan is 8 h long; 8 earlier runs are learned from, 39 tanks and three mishaps are rehearsed.
The night is the same plan on one simulated tank through `step`, as in `step.py`. Both are seconds
of the processor, so that other programs count little.
"""

import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from rich.console import Console

sys.path.insert(0, str(Path(__file__).parents[1] / "campaign"))
from hidden_tanks import Hidden, plan

from daemon.service.rehearsal import walked
from daemon.service.rehearsal.assembly import Asked, prepared
from daemon.service.rehearsal.learning import learn
from daemon.service.rehearsal.rehearse import rehearsed
from daemon.service.rehearsal.side_by_side import in_turn
from daemon.service.rehearsal.spread import drawn
from daemon.service.settings.file import read_settings

RUNS, ROUNDS = 8, 3
LIMIT_S = 2.0

SETTINGS = """\
supply = { port = "none", greatest_current = "5 A" }
[bath]
name = "bath A"
volume = "15 L"
"""

NIGHT = """\
title = "Night"
area = "2 dm²"
target = "105 µm"
voltage_ceiling = "6 V"
caps = { charge = "100 Ah", duration = "24 h" }
[[stage]]
name = "strike"
current = "0.8 A"
ramp = "5 min"
until = { thickness = "2 µm" }
[[stage]]
name = "full"
current = "2 A"
ramp = "10 min"
"""


def best_s(work: Callable[[], object]) -> float:
    """Seconds of the processor, the best of some rounds."""
    found = []
    for _ in range(ROUNDS):
        begun_s = time.process_time()
        work()
        found.append(time.process_time() - begun_s)
    return min(found)


def main() -> int:
    """Print both and their ratio; 1 if a rehearsal takes more than its limit."""
    tank, earlier = Hidden(1), plan(2.0, 60.0, 1.0)
    past = [tank.past(tank.run(earlier), earlier, number) for number in range(RUNS)]
    with TemporaryDirectory() as folder:
        path = Path(folder) / "settings.toml"
        path.write_text(SETTINGS, encoding="utf-8")
        settings = read_settings(path)
    stage = prepared(settings, Asked(NIGHT, "plan"))
    learning_s = best_s(lambda: learn(tank.facts, past))

    def rehearsal() -> None:
        rehearsed(settings, stage, None, in_turn)

    rehearsal_s = best_s(rehearsal)
    known = stage.known
    (likeliest,) = drawn(
        stage.plan, stage.copies, known.facts, known.learned, stage.supply, draws=0
    )
    scenario = likeliest.scenario
    duration_s = walked.walk(stage.plan, scenario, stage.rules).duration_s
    coarse_s, walked.COARSE_S, walked.FINE_S = walked.COARSE_S, 1.0, 1.0
    night_s = best_s(lambda: walked.walk(stage.plan, scenario, stage.rules))
    walked.COARSE_S = coarse_s
    whole_s = learning_s + rehearsal_s
    console = Console()
    console.print(f"plan: {duration_s / 3600:.2f} h")
    console.print(f"learning from {RUNS} runs: {learning_s:.3f} s")
    console.print(f"39 tanks and three mishaps: {rehearsal_s:.3f} s")
    console.print(f"the night once, a tick a second: {night_s:.3f} s")
    console.print(f"rehearsal over night: {whole_s / night_s:.2f} (limit {LIMIT_S:g} s in all)")
    return 0 if whole_s <= LIMIT_S else 1


if __name__ == "__main__":
    sys.exit(main())
