"""The daemon is killed at random moments of runs, again and again; was everything safe each time?

The real daemon, in real time, plates on a simulated tank behind a pty; its pins are gpiozero's mock
pins, whose edges are noted with their moments. A contactor hangs on the heartbeat: when that has
rested for `LETS_GO_S` the cell's circuit opens, and when it moves the circuit closes. In each trial
a run is started and SIGKILL comes at a random moment: of the start, a ramp, plain plating, a hold,
a resume or a stop. It takes the loop alone, or guard, loop and page together. Then the next daemon
comes, by the guard or by hand, and everything is judged by what the tank itself knows:

- edges: the heartbeat moves no more from `REST_S` after the kill until a person starts again.
- current: gone within `GUARDED_S` where a guard is left, and within the contactor's drop-out time
  where nobody is; and none flows at the next daemon's start with the contactor closed by hand.
- record: SQLite's integrity check finds nothing, and the run is closed, as interrupted unless it
  had ended before; it is there if its start was answered.
- lost: the last recorded reading is at most `LOST_S` older than the kill.
- bounds: the true charge lies between the run's charge with the least that gaps and interruption
  can have passed, and with the greatest; to `SCALE` and `JUMPS_AH`, which the count itself may err.
- account: the bath's account has grown by just what the run's charge is.

A trial is drawn from the seed and its number alone: `--only N` with the same seed does it again.
`--at-once N` has N rigs, each with its own tank, daemon, port and folder, share the trials; an
interrupt (Ctrl-C) ends them all and still gives the figures of what was done.
"""

import argparse
import multiprocessing
import random
import statistics
import tempfile
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from multiprocessing.queues import Queue
from pathlib import Path

from kill_rig import DROP_OUT_S, GONE_A, PERIOD_S, Killed, Rig
from rich.console import Console

from daemon.api.socket.client import DaemonUnreachableError
from daemon.record import interruptions, queries

REST_S = 0.05
"""s from the kill to the last edge at most: a process that is killed may finish a call first."""

GUARDED_S = 0.5
"""s from a loop's death until the current is gone: less than the contactor takes, so that it was
the guard. tests/benchmarks/off.py measures how long the guard takes."""

LOST_S = 1.0
"""s of readings that a kill may cost."""

SCALE = 2e-3
JUMPS_AH = 2.0 * PERIOD_S / 3600
"""What the count may err: of its charge, and, A·h, for jumps of the current by up to 2 A, whose
moment is known to a period."""

ROUNDING_AH = 2e-9
"""The account is kept in whole n A·h."""

LOOP, ALL = "loop", "guard, loop and page"
PHASES = {"start": 1.5, "ramp": 3.0, "plating": 3.0, "hold": 1.0, "resume": 2.0, "stop": 0.5}
"""The kill comes up to so many s after a start is asked for, was answered, 2 A flow, or a hold, a
resume or a stop is asked for."""

WEIGHTS = (1, 2, 3, 1, 1, 1)


@dataclass(frozen=True)
class Kill:
    """One trial: who is killed, in which phase, how many s after what begins it."""

    number: int
    victim: str
    phase: str
    delay_s: float


def draw(seed: int, number: int) -> Kill:
    """The trial of this number; each is drawn by itself."""
    dice = random.Random(f"{seed}:{number}")
    (phase,) = dice.choices(tuple(PHASES), WEIGHTS)
    return Kill(number, dice.choice((LOOP, ALL)), phase, dice.uniform(0.0, PHASES[phase]))


@dataclass
class Outcome:
    """What came of it: times in s from the kill, charges in A·h; None where there is none.

    state: the run's, as the record has it, None if the kill came before it was there. current_a:
    what flowed at the kill. least_ah, greatest_ah: the bounds of the run's charge. ended: False
    where something was waited for in vain, and nothing else is known.
    """

    kill: Kill
    current_a: float
    gone_s: float
    last_edge_s: float
    true_ah: float
    state: str | None = None
    lost_s: float | None = None
    least_ah: float = 0.0
    greatest_ah: float = 0.0
    faults: list[str] = field(default_factory=list)
    ended: bool = True

    @property
    def beyond_ah(self) -> float:
        """How far outside of the bounds the truth is, tolerance left out."""
        return max(self.least_ah - self.true_ah, self.true_ah - self.greatest_ah, 0.0)

    @property
    def width_ah(self) -> float:
        """From the least to the greatest."""
        return self.greatest_ah - self.least_ah


def trial(rig: Rig, kill: Kill) -> Outcome:
    """Start a run, kill, wait for the next daemon, and judge."""
    rig.answered_s = None
    run_id = rig.daemon.record(queries.next_run_id)
    posted_ah, before_ah = rig.posted_ah(), rig.contactor.truth().charge_ah
    killed = _kill(rig, kill)
    last_edge_s = rig.contactor.last_edge_s
    outcome = Outcome(
        kill, killed.current_a, killed.last_flow_s - killed.at_s, last_edge_s - killed.at_s,
        killed.true_ah - before_ah,
    )  # fmt: skip
    if kill.victim == ALL:
        outcome.faults += rig.integrity()
        rig.daemon.start()
    rig.daemon.ready()
    outcome.faults += [*rig.integrity(), *rig.rests(killed.true_ah)]
    if rig.contactor.last_edge_s != last_edge_s:
        outcome.faults.append("the heartbeat moved before anybody started")
    run = rig.run(run_id)
    if run is not None:
        _look_up(rig, run, killed, outcome)
    elif rig.answered_s is not None:
        outcome.faults.append("a start was answered, and the record knows nothing of the run")
    judge(outcome)
    posted_ah += run.charge_ah if run is not None else 0.0
    if abs(rig.posted_ah() - posted_ah) > ROUNDING_AH:
        outcome.faults.append(f"{rig.posted_ah():.9f} Ah in the account, not {posted_ah:.9f} Ah")
    return outcome


def _kill(rig: Rig, kill: Kill) -> Killed:
    """Bring about the phase, and kill in it."""
    pids = rig.loop_alone if kill.victim == LOOP else rig.everybody
    if kill.phase == "start":
        return rig.kill_during(rig.start, pids, kill.delay_s)
    rig.start()
    if kill.phase == "ramp":
        return rig.kill_during(lambda: None, pids, kill.delay_s)
    rig.until(lambda: rig.contactor.truth().current_a > 1.9, "2 A flow")
    if kill.phase == "plating":
        return rig.kill_during(lambda: None, pids, kill.delay_s)
    if kill.phase == "resume":
        rig.daemon.act("hold")
        rig.daemon.until_state("held")
    return rig.kill_during(lambda: rig.daemon.act(kill.phase), pids, kill.delay_s)


def _look_up(rig: Rig, run: queries.Run, killed: Killed, outcome: Outcome) -> None:
    """What the record has of the run."""
    outcome.state = run.state
    outcome.least_ah = run.charge_ah + (run.gap_least_ah or 0.0)
    outcome.greatest_ah = run.charge_ah + (run.gap_greatest_ah or 0.0)
    cut = rig.daemon.record(interruptions.of_run, run.id)
    if cut is not None and cut.greatest_ah is not None:
        outcome.lost_s = killed.at_s - rig.known_s(run)
        outcome.least_ah += cut.least_ah
        outcome.greatest_ah += cut.greatest_ah
    elif not (run.state == "stopped" and outcome.kill.phase == "stop"):
        outcome.faults.append(f"the run is {run.state}, not interrupted: {run.reason}")


def judge(outcome: Outcome) -> None:
    """Add what is not as it has to be."""
    if outcome.last_edge_s > REST_S:
        outcome.faults.append(f"an edge {outcome.last_edge_s:.3f} s after the kill")
    if outcome.gone_s > (GUARDED_S if outcome.kill.victim == LOOP else DROP_OUT_S):
        outcome.faults.append(f"current was still there {outcome.gone_s:.3f} s after the kill")
    if outcome.lost_s is not None and outcome.lost_s > LOST_S:
        outcome.faults.append(f"{outcome.lost_s:.3f} s of readings are lost")
    if outcome.beyond_ah > SCALE * outcome.true_ah + JUMPS_AH:
        outcome.faults.append(
            f"{outcome.true_ah:.6f} Ah are not within "
            f"{outcome.least_ah:.6f} to {outcome.greatest_ah:.6f} Ah"
        )


def report(outcome: Outcome) -> str:
    """One line for a trial."""
    kill = outcome.kill
    lost = "-" if outcome.lost_s is None else f"{outcome.lost_s:.3f} s"
    verdict = "; ".join(outcome.faults) or "good"
    return (
        f"{kill.number:4d} {kill.phase:8s}+{kill.delay_s:.3f} s  {kill.victim:20s}  "
        f"{outcome.current_a:5.3f} A  gone {outcome.gone_s * 1e3:6.1f} ms  lost {lost:7s}  "
        f"{outcome.state or 'not begun':9s}  {verdict}"
    )


def summary(outcomes: Sequence[Outcome]) -> str:
    """The figures over all trials."""
    lines = [f"{len(outcomes)} kills, {sum(bool(each.faults) for each in outcomes)} with a fault"]
    outcomes = [each for each in outcomes if each.ended]
    for victim in (LOOP, ALL):
        under = [
            each for each in outcomes if each.kill.victim == victim and each.current_a > GONE_A
        ]
        lines.append(
            _spread(
                f"{victim}: current there after the kill", [1e3 * o.gone_s for o in under], "ms"
            )
        )
    lines += [
        _spread("last edge after the kill", [1e3 * each.last_edge_s for each in outcomes], "ms"),
        _spread("readings lost", [o.lost_s for o in outcomes if o.lost_s is not None], "s"),
        _spread("width of the bounds", [1e3 * each.width_ah for each in outcomes], "mAh"),
        _spread("truth outside of the bounds", [1e3 * o.beyond_ah for o in outcomes], "mAh"),
    ]
    return "\n".join(lines)


def _spread(name: str, values: Sequence[float], unit: str) -> str:
    if not values:
        return f"{name}: no case"
    return (
        f"{name}: median {statistics.median(values):.3g} {unit}, greatest {max(values):.3g} {unit} "
        f"({len(values)} cases)"
    )


def trials(seed: int, numbers: Iterable[int]) -> Iterator[Outcome]:
    """These trials one after the other; one that comes to no end costs its rig."""
    left = deque(draw(seed, number) for number in numbers)
    while left:
        with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
            try:
                rig = Rig(Path(folder), stack)
                while left:
                    yield trial(rig, left[0])
                    left.popleft()
            except (AssertionError, DaemonUnreachableError) as error:
                waited = Outcome(left.popleft(), 0.0, 0.0, 0.0, 0.0, ended=False)
                waited.faults.append(f"came to no end: {error}")
                yield waited


def at_once(seed: int, numbers: Sequence[int], rigs: int) -> Iterator[Outcome]:
    """The same, shared by so many rigs in processes of their own, as they come."""
    spawn = multiprocessing.get_context("spawn")
    done: Queue[Outcome | None] = spawn.Queue()
    workers = [
        spawn.Process(target=_share, args=(seed, numbers[first::rigs], done))
        for first in range(rigs)
    ]
    for worker in workers:
        worker.start()
    at_work = rigs
    while at_work:
        outcome = done.get()
        if outcome is None:
            at_work -= 1
        else:
            yield outcome


def _share(seed: int, numbers: Sequence[int], done: "Queue[Outcome | None]") -> None:
    try:
        for outcome in trials(seed, numbers):
            done.put(outcome)
    except KeyboardInterrupt:
        pass
    finally:
        done.put(None)


def main() -> int:
    """The command; 1 when any trial has a fault."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--kills", type=int, default=200, help="how many (default: 200)")
    parser.add_argument("--seed", type=int, default=1, help="what they are drawn from")
    parser.add_argument("--first", type=int, default=1, help="number of the first (default: 1)")
    parser.add_argument("--only", type=int, help="do the trial of this number alone")
    parser.add_argument("--at-once", type=int, default=1, help="rigs side by side (default: 1)")
    asked = parser.parse_args()
    numbers = range(asked.first, asked.first + asked.kills)
    if asked.only is not None:
        numbers = range(asked.only, asked.only + 1)
    say = Console(highlight=False, soft_wrap=True).print
    say(f"seed {asked.seed}")
    outcomes: list[Outcome] = []
    with suppress(KeyboardInterrupt):
        for outcome in at_once(asked.seed, numbers, min(asked.at_once, len(numbers))):
            outcomes.append(outcome)
            say(report(outcome))
    say(summary(outcomes))
    failed = [str(each.kill.number) for each in outcomes if each.faults]
    if failed:
        say(f"again: --seed {asked.seed} --only N, with N one of {', '.join(failed)}")
    return 1 if failed or len(outcomes) < len(numbers) else 0


if __name__ == "__main__":
    raise SystemExit(main())
