"""What kills.py kills: a daemon in real processes, a simulated tank, and the contactor between.

All of it in real time. The contactor follows the heartbeat on the daemon's mock pins, and lets go
`LETS_GO_S` after the last edge.
"""

import importlib.util
import os
import signal
import time
import urllib.request
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

from sqlalchemy import Connection

from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import StartRequest
from daemon.record import audits, queries
from daemon.record.errors import NoSuchRunError
from drivers.simulator.process import SimulatorProcess

DROP_OUT_S, LETS_GO_S = 1.0, 0.8
"""The contactor's drop-out time as the settings have it, and what this one really takes; s."""

PERIOD_S = 0.1
"""s between two readings."""

GONE_A = 1e-3
"""A. No current flows in the tank."""

GIVEN_UP_S = 30.0
"""s; a current that flows on or a contactor that stays closed for so long does so for good."""

MORE = f"""\
[contactor]
heartbeat_pin = 17
pull_in = "0.5 s"
drop_out = "{DROP_OUT_S} s"
"""

PLAN = """\
title = "Bracket"
area = "1.8 dm²"
target = "12 µm"
voltage_ceiling = "6 V"
caps = { charge = "2 Ah", duration = "5 h" }
[[stage]]
name = "strike"
current = "1 A"
ramp = "0.5 s"
until = { duration = "1 s" }
[[stage]]
name = "build"
current = "2 A"
ramp = "1 s"
"""


PATIENCE_S = 600.0
"""Real s: a campaign runs for hours behind everything else that the machine does."""


def _fixtures() -> ModuleType:
    """What the end-to-end tests share: a daemon's processes and its pins."""
    path = Path(__file__).parents[1] / "end_to_end/conftest.py"
    spec = importlib.util.spec_from_file_location("fixtures_of_end_to_end", path)
    if spec is None or spec.loader is None:
        raise ImportError(f"{path} is missing")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    module.PATIENCE_S = PATIENCE_S
    return module


SHARED = _fixtures()


@dataclass(frozen=True)
class Killed:
    """The kill: its moment, what flowed then, when current was last seen and the charge after it.

    Moments in monotonic s; A and A·h.
    """

    at_s: float
    current_a: float
    last_flow_s: float
    true_ah: float


class Rig:
    """A daemon on a tank that outlives it, for as many kills as are wanted.

    place: where the daemon's own folder is made; in `folder` unless it is given.
    """

    def __init__(self, folder: Path, stack: ExitStack, place: Path | None = None) -> None:
        origin_s = time.monotonic()
        tank = stack.enter_context(SimulatorProcess(rate=1.0, origin_s=origin_s))
        pins = SHARED.MockPins(folder / "pins")
        pins.levels({})
        self.contactor = stack.enter_context(SHARED.Contactor(tank, pins, LETS_GO_S))
        self.page = SHARED.free_port()
        self.daemon: Any = SHARED.Daemon(
            (place or folder) / "daemon", tank.port, 1.0, origin_s, page=self.page,
            tick_s=PERIOD_S, more=MORE, environment=pins.environment,
        )  # fmt: skip
        stack.callback(self.daemon.kill_all)
        self.daemon.start().ready()
        self.answered_s: float | None = None

    # Before and at the kill.

    @property
    def loop_alone(self) -> list[int]:
        """Whom to kill so that a guard is left."""
        return [self.daemon.loop_pid]

    @property
    def everybody(self) -> list[int]:
        """Whom to kill so that nobody is left: the guard before the loop that it would see die."""
        return [self.daemon.process.pid, self.daemon.loop_pid, self.daemon.page_pid]

    def start(self) -> None:
        answer = self.daemon.client.ask(StartRequest(plan=PLAN, who="Ann"))
        if not answer.ok:
            raise AssertionError(f"no run could be started: {answer.error}")
        self.answered_s = time.monotonic()

    def kill_during(self, act: Callable[[], object], pids: list[int], delay_s: float) -> Killed:
        """Do this, and kill these processes, in their order, `delay_s` after it was begun.

        It is done in a thread of its own, for the kill may come before it is answered.
        """

        def until_killed() -> None:
            with suppress(DaemonUnreachableError):
                act()

        guard = self.daemon.process
        with ThreadPoolExecutor(1) as pool:
            kill_at_s = time.monotonic() + delay_s
            acted = pool.submit(until_killed)
            time.sleep(max(0.0, kill_at_s - time.monotonic()))
            current_a = self.contactor.truth().current_a
            at_s = time.monotonic()
            for pid in pids:
                os.kill(pid, signal.SIGKILL)
            last_flow_s, true_ah = self._watched(at_s)
            acted.result()
        if guard.pid in pids:
            guard.wait()
        self.until(lambda: not any(map(SHARED.runs_still, pids)), "the killed are gone")
        return Killed(at_s, current_a, last_flow_s, true_ah)

    def _watched(self, killed_s: float) -> tuple[float, float]:
        """Watch the tank until the contactor has had its time and no current flows.

        When current was last seen, monotonic s, and the charge that has passed, A·h. What was
        on the line at the kill may still switch the output on.
        """
        last_s = killed_s
        while True:
            truth, now_s = self.contactor.truth(), time.monotonic()
            if truth.current_a > GONE_A:
                last_s = now_s
            elif now_s > killed_s + DROP_OUT_S:
                return last_s, truth.charge_ah
            if now_s > killed_s + GIVEN_UP_S:
                raise AssertionError(f"current still flows {GIVEN_UP_S:g} s after the kill")
            time.sleep(0.001)

    def until(self, holds: Callable[[], bool], what: str) -> None:
        SHARED.wait_until(holds, f"{what}; the daemon said: {self.daemon.said()[-2000:]}")

    # After it.

    def integrity(self) -> list[str]:
        """What SQLite finds wrong with the file."""

        def check(connection: Connection) -> list[str]:
            return list(connection.exec_driver_sql("PRAGMA integrity_check").scalars())

        found = self.daemon.record(check)
        return [] if found == ["ok"] else [f"record: {line}" for line in found]

    def rests(self, true_ah: float, states: Sequence[str] = ("idle",)) -> list[str]:
        """Close the contactor by hand: the output has to be off all the same."""
        self.contactor.forced = True
        self.until(lambda: self.contactor.closed, "the contactor is closed by hand")
        self.until(lambda: self.daemon.status() is not None, "the daemon answers")
        truth, status = self.contactor.truth(), self.daemon.status()
        self.contactor.forced = False
        faults = []
        try:
            SHARED.wait_until(lambda: not self.contactor.closed, "it opens", GIVEN_UP_S)
        except AssertionError:
            faults.append("the contactor is kept closed by the daemon")
        if truth.charge_ah - true_ah > 1e-9:
            faults.append("charge has passed after the current was gone")
        if truth.current_a > GONE_A or status.output_on or status.state not in states:
            faults.append(f"next daemon: {status.state}, {truth.current_a:.3f} A in the tank")
        return faults

    def acts_of_others(self) -> list[str]:
        """What was done by anybody but the one who starts and stops here."""
        done = [entry.act for entry in self.daemon.record(audits.page, limit=1000)]
        return [f"{act.who} has asked for: {act.what}" for act in done if act.who != "Ann"]

    def page_answers(self) -> bool:
        """Whether the page shows itself."""
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.page}/", timeout=10) as answer:
                return bool(answer.status == 200)
        except OSError:
            return False

    def posted_ah(self) -> float:
        """What is posted to the bath's account, A·h."""
        (bath,) = self.daemon.record(queries.baths)
        return bath.posted_ah

    def run(self, run_id: int) -> queries.Run | None:
        """The run as the record has it, None if it came to nothing before the kill."""
        try:
            return self.daemon.record(queries.one_run, run_id)
        except NoSuchRunError:
            return None

    def known_s(self, run: queries.Run) -> float:
        """The moment of the run's last reading in the record, monotonic s."""
        found = self.daemon.samples(run.id)
        return run.started_monotonic_s + (found[-1].elapsed_s if found else 0.0)
