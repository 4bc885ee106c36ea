"""Guard, loop and page are struck at random while the page is attacked and the disk fills up.

    .venv/bin/python tests/campaign/stack.py --trials 50

The rig of kills.py: the daemon's processes as they ship, in real time, a simulated tank on a pty,
mock pins, and a contactor that follows the heartbeat. The daemon's folder is a small file system
of its own. In each trial a run is started, and then up to three blows fall at random moments:
SIGKILL, SIGTERM or SIGSTOP (SIGCONT some seconds later), on guard, loop or page; in two of five
trials the disk is full for a while. All the time the page gets garbage and slow clients
(attack.py). Who has ended is started again by hand, a run that goes on is stopped, and all is
judged by what the tank itself knows:

- tank: at the end the output is off; no current flows with the contactor closed by hand either.
- nothing began by itself: there is one run, which was asked for, and it is over.
- record: SQLite finds nothing wrong with it; a run is interrupted only where somebody was struck.
- lost: of an interrupted run at most `LOST_S` of readings, besides those a full disk refused.
- bounds: the true charge lies within the run's, its gaps' and its interruption's.
- account: the bath's has grown by just what the run's charge is.
- page: it answers once the attack is over, and nothing that was sent to it has acted.
- words: no process has ended with a traceback.

A trial is drawn from the seed and its number alone: `--only N` with the same seed strikes the same
ones at the same moments after the start. What they were just about is the machine's.
"""

import argparse
import math
import os
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from kill_rig import LETS_GO_S, PERIOD_S, SHARED, Rig
from kills import JUMPS_AH, LOST_S, ROUNDING_AH, SCALE
from rich.console import Console

from daemon.api.socket.client import DaemonUnreachableError
from daemon.record import interruptions, queries

ATTACK = Path(__file__).with_name("attack.py")

GUARD, LOOP, PAGE = "guard", "loop", "page"
SIGNALS = {"kill": signal.SIGKILL, "term": signal.SIGTERM, "stop": signal.SIGSTOP}
LONGEST_S = 6.0
"""s after the start in which blows fall; a SIGSTOP lasts up to so long as well."""

DISK_SIZE = "16m"
GAP_S = 1.0
"""s. Readings of a loop that was stopped for less are joined, as if nothing had been between."""

STOPPED_AH = 2.0 * (GAP_S - LETS_GO_S + PERIOD_S) / 3600
"""A·h. What a SIGSTOP may add to the count's error: the contactor opens and nobody reads."""

LEAST_S, SETTLES_S = 2.0, 0.5
"""s that a trial takes at least after the start; s in which the last blow is felt."""

CATCHES_UP_S = 5.0
"""s after a full disk has room again, in which the record may still be behind."""

REST = ("idle", "stopped", "complete", "aborted")


@dataclass(frozen=True)
class Blow:
    """At a moment after the start, s, on whom; a SIGSTOP ends after so long, s."""

    at_s: float
    victim: str
    kind: str
    lasts_s: float = 0.0

    def __str__(self) -> str:
        lasts = f" {self.lasts_s:.1f} s" if self.lasts_s else ""
        return f"{self.victim} {self.kind}{lasts} at {self.at_s:.2f} s"


@dataclass(frozen=True)
class Trial:
    """Its blows, and from when to when the disk is full, s after the start; None: never."""

    number: int
    blows: tuple[Blow, ...]
    full_s: tuple[float, float] | None

    def __str__(self) -> str:
        told = [str(blow) for blow in self.blows]
        if self.full_s is not None:
            told.append("disk full from {:.1f} to {:.1f} s".format(*self.full_s))
        return "; ".join(told) or "nothing happens"


def draw(seed: int, number: int) -> Trial:
    """The trial of this number; each is drawn by itself."""
    dice = random.Random(f"stack {seed}:{number}")
    blows = []
    for _ in range(dice.choice((0, 1, 1, 1, 2, 2, 3))):
        victim, kind = dice.choice((GUARD, LOOP, LOOP, PAGE)), dice.choice(tuple(SIGNALS))
        lasts_s = dice.uniform(0.2, LONGEST_S) if kind == "stop" else 0.0
        blows.append(Blow(dice.uniform(0.0, LONGEST_S), victim, kind, lasts_s))
    begins_s = dice.uniform(0.0, LONGEST_S)
    full_s = (begins_s, begins_s + dice.uniform(0.5, LONGEST_S))
    ordered = tuple(sorted(blows, key=lambda blow: blow.at_s))
    return Trial(number, ordered, full_s if dice.random() < 0.4 else None)


@contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """A small file system there. Raises PermissionError without the right to mount one."""
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={DISK_SIZE}", "tmpfs", str(folder)]
    mounted = subprocess.run(words, capture_output=True, text=True, check=False)
    if mounted.returncode:
        raise PermissionError(
            f"{mounted.stderr.strip()}; as root, or `unshare --user --map-root-user --mount "
            f"{Path(sys.executable).name} {Path(__file__).name}`, or with --no-disk"
        )
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def fill(filler: Path) -> None:
    """Leave no room on the file system of this file."""
    for size in (65536, 512):
        with suppress(OSError), filler.open("ab", buffering=0) as file:
            while True:
                file.write(bytes(size))


@contextmanager
def attacked(port: int, seed: str) -> Iterator[None]:
    """The page is attacked meanwhile, by a process of its own."""
    number = str(random.Random(seed).randrange(10**9))
    words = [sys.executable, str(ATTACK), f"127.0.0.1:{port}", "--seed", number]
    with subprocess.Popen(words, stdout=subprocess.DEVNULL) as attack:
        try:
            yield
        finally:
            attack.terminate()


@dataclass
class Seen:
    """What a trial has come to: moments in monotonic s, charges in A·h.

    runs: how many have begun. alive_s: the heartbeat's last edge, at which the loop was at work.
    known_s: the last reading in the record. full_s: from when to when the disk was full.
    """

    trial: Trial
    run: queries.Run | None = None
    runs: int = 0
    interrupted: bool = False
    alive_s: float = 0.0
    known_s: float = 0.0
    full_s: tuple[float, float] | None = None
    true_ah: float = 0.0
    least_ah: float = 0.0
    greatest_ah: float = 0.0
    posted_ah: float = 0.0
    faults: list[str] = field(default_factory=list)

    @property
    def lost_s(self) -> float:
        """s of readings that are lost, those left out that a full disk refused."""
        until_s = self.alive_s
        if self.full_s is not None and self.full_s[0] < until_s < self.full_s[1] + CATCHES_UP_S:
            until_s = self.full_s[0]
        return max(0.0, until_s - self.known_s) if self.interrupted else 0.0

    @property
    def tolerance_ah(self) -> float:
        """What the count itself may err, A·h."""
        stops = sum(blow.kind == "stop" for blow in self.trial.blows)
        return SCALE * self.true_ah + JUMPS_AH + stops * STOPPED_AH


def judge(seen: Seen) -> None:
    """Add what is not as it has to be."""
    if seen.runs > 1:
        seen.faults.append(f"{seen.runs - 1} runs began that nobody had asked for")
    run = seen.run
    if run is None:
        seen.faults.append("a start was answered, and the record knows nothing of the run")
        return
    if run.state not in REST:
        seen.faults.append(f"the run is {run.state} at the end")
    if seen.interrupted and not any(blow.victim != PAGE for blow in seen.trial.blows):
        seen.faults.append(f"the run was interrupted, and nobody was struck: {run.reason}")
    if seen.lost_s > LOST_S:
        seen.faults.append(f"{seen.lost_s:.3f} s of readings are lost")
    low_ah, high_ah = seen.least_ah - seen.tolerance_ah, seen.greatest_ah + seen.tolerance_ah
    if not low_ah <= seen.true_ah <= high_ah:
        seen.faults.append(
            f"{seen.true_ah:.6f} Ah are not within {seen.least_ah:.6f} to "
            f"{seen.greatest_ah:.6f} Ah, to {seen.tolerance_ah:.6f} Ah"
        )
    if abs(seen.posted_ah - run.charge_ah) > ROUNDING_AH:
        seen.faults.append(f"{seen.posted_ah:.9f} Ah in the account, not {run.charge_ah:.9f} Ah")


class Stack:
    """A rig, on a small disk if one may be mounted, for as many trials as are wanted."""

    def __init__(self, folder: Path, stack: ExitStack, *, with_disk: bool = True) -> None:
        self._disk = stack.enter_context(small_disk(folder / "small")) if with_disk else None
        self._rig = Rig(folder, stack, place=self._disk)

    def trial(self, trial: Trial, seed: int) -> Seen:
        """Start a run, let the blows fall, have everything come to rest, and judge."""
        rig, seen = self._rig, Seen(trial)
        run_id, said = rig.daemon.record(queries.next_run_id), len(rig.daemon.said())
        posted_ah, before_ah = rig.posted_ah(), rig.contactor.truth().charge_ah
        with attacked(rig.page, f"attack {seed}:{trial.number}"):
            pids = {
                GUARD: rig.daemon.process.pid, LOOP: rig.daemon.loop_pid, PAGE: rig.daemon.page_pid
            }  # fmt: skip
            rig.start()
            self._let_happen(trial, pids, seen)
            self._come_to_rest(trial, pids)
        over_ah = rig.contactor.truth().charge_ah
        seen.faults += rig.rests(over_ah, REST)
        seen.runs = rig.daemon.record(queries.next_run_id) - run_id
        seen.true_ah = over_ah - before_ah
        seen.posted_ah = rig.posted_ah() - posted_ah
        seen.run = rig.run(run_id)
        if seen.run is not None:
            self._look_up(seen, seen.run)
        seen.faults += [*rig.integrity(), *rig.acts_of_others()]
        rig.until(rig.page_answers, "the page answers once the attack is over")
        if "Traceback" in rig.daemon.said()[said:]:
            seen.faults.append("a traceback: " + rig.daemon.said()[said:])
        judge(seen)
        return seen

    def _let_happen(self, trial: Trial, pids: dict[str, int], seen: Seen) -> None:
        """Blows fall and end, the disk fills and is emptied, each at its moment."""
        agenda: list[tuple[float, Callable[[], object]]] = []
        for blow in trial.blows:
            pid = pids[blow.victim]
            agenda.append((blow.at_s, partial(_strike, pid, SIGNALS[blow.kind])))
            if blow.kind == "stop":
                agenda.append((blow.at_s + blow.lasts_s, partial(_strike, pid, signal.SIGCONT)))
        started_s = time.monotonic()
        if trial.full_s is not None and self._disk is not None:
            filler = self._disk / "filler"
            agenda.append((trial.full_s[0], partial(fill, filler)))
            agenda.append((trial.full_s[1], filler.unlink))
            seen.full_s = (started_s + trial.full_s[0], started_s + trial.full_s[1])
        for at_s, do in sorted([*agenda, (LEAST_S, int)], key=lambda each: each[0]):
            time.sleep(max(0.0, started_s + at_s - time.monotonic()))
            do()

    def _come_to_rest(self, trial: Trial, pids: dict[str, int]) -> None:
        """Wait for those who have to end, start the daemon again if it did, and stop its run."""
        rig, daemon = self._rig, self._rig.daemon
        ends = {blow.victim for blow in trial.blows if blow.kind != "stop"}
        for victim in pids if GUARD in ends else ends:
            rig.until(partial(_is_gone, pids[victim]), f"the {victim} has ended")
        time.sleep(SETTLES_S)

        def at_rest() -> bool:
            if daemon.process.poll() is not None:
                daemon.start()
            status = daemon.status()
            if status is None or status.current_a is None:
                return False
            if status.state in ("running", "held"):
                with suppress(DaemonUnreachableError):
                    daemon.act("stop")
            return status.state in REST and not status.output_on

        rig.until(at_rest, "everything has come to rest")

    def _look_up(self, seen: Seen, run: queries.Run) -> None:
        """What the record has of the run."""
        cut = self._rig.daemon.record(interruptions.of_run, run.id)
        seen.interrupted = cut is not None
        seen.alive_s, seen.known_s = self._rig.contactor.last_edge_s, self._rig.known_s(run)
        seen.least_ah = run.charge_ah + (run.gap_least_ah or 0.0)
        seen.greatest_ah = run.charge_ah + (run.gap_greatest_ah or 0.0)
        if cut is not None:
            seen.least_ah += cut.least_ah
            seen.greatest_ah += cut.greatest_ah if cut.greatest_ah is not None else math.inf


def trials(seed: int, numbers: Iterable[int], *, with_disk: bool) -> Iterator[Seen]:
    """These trials one after the other; one that comes to no end costs its rig."""
    left = deque(draw(seed, number) for number in numbers)
    while left:
        with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
            try:
                daemon = Stack(Path(folder), stack, with_disk=with_disk)
                while left:
                    yield daemon.trial(left[0], seed)
                    left.popleft()
            except (AssertionError, DaemonUnreachableError) as error:
                yield Seen(left.popleft(), faults=[f"came to no end: {error}"])


def _strike(pid: int, number: int) -> None:
    """Unless it has ended before."""
    with suppress(ProcessLookupError):
        os.kill(pid, number)


def _is_gone(pid: int) -> bool:
    return not SHARED.runs_still(pid)


def report(seen: Seen) -> str:
    """One line for a trial."""
    state = "-" if seen.run is None else seen.run.state
    cut = f"interrupted, lost {seen.lost_s:.3f} s" if seen.interrupted else "not interrupted"
    verdict = "; ".join(seen.faults) or "good"
    return f"{seen.trial.number:4d} {state:8s} {cut:27s} {verdict}   [{seen.trial}]"


def summary(seen: Sequence[Seen]) -> str:
    """The figures over all trials."""
    struck = Counter(f"{b.victim} {b.kind}" for each in seen for b in each.trial.blows)
    cut = [each for each in seen if each.interrupted]
    lines = [
        f"{len(seen)} trials, {sum(bool(each.faults) for each in seen)} with a fault; "
        f"{sum(each.full_s is not None for each in seen)} with a full disk; "
        f"{len(cut)} runs interrupted",
        "blows: " + ", ".join(f"{times} {what}" for what, times in sorted(struck.items())),
    ]
    if cut:
        lost = sorted(each.lost_s for each in cut)
        lines.append(f"readings lost: median {statistics.median(lost):.2f} s, most {lost[-1]:.2f}")
    return "\n".join(lines)


def main() -> int:
    """The command; 1 when any trial has a fault."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--trials", type=int, default=50, help="how many (default: 50)")
    parser.add_argument("--seed", type=int, help="what they are drawn from (default: a fresh one)")
    parser.add_argument("--first", type=int, default=1, help="number of the first (default: 1)")
    parser.add_argument("--only", type=int, help="do the trial of this number alone")
    parser.add_argument("--no-disk", action="store_true", help="no disk fills: nothing is mounted")
    asked = parser.parse_args()
    numbers = range(asked.first, asked.first + asked.trials)
    if asked.only is not None:
        numbers = range(asked.only, asked.only + 1)
    seed = random.SystemRandom().randrange(10**9) if asked.seed is None else asked.seed
    say = Console(highlight=False, soft_wrap=True, markup=False).print
    say(f"seed {seed}")
    seen: list[Seen] = []
    try:
        for each in trials(seed, numbers, with_disk=not asked.no_disk):
            seen.append(each)
            say(report(each))
    except PermissionError as error:
        say(f"no small disk: {error}")
        return 1
    except KeyboardInterrupt:
        pass
    say(summary(seen))
    failed = [str(each.trial.number) for each in seen if each.faults]
    if failed:
        say(f"again: --seed {seed} --only N, with N one of {', '.join(failed)}")
    return 1 if failed else 0


if __name__ == "__main__":
    raise SystemExit(main())
