"""Starting and stopping the simulator as a process of its own, for tests, demo and benchmarks."""

import json
import subprocess
import sys
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Self, cast

from drivers.errors import CommandRefusedError, PortUnavailableError
from drivers.simulator.bench import Truth
from drivers.simulator.server import Moments

PATIENCE_S = 10.0
"""How long the process may take to end after its standard input was closed."""


class SimulatorProcess:
    """`python -m drivers.simulator` as a context manager; `port` is the device to open.

    The arguments are those of the command line; baud in bit/s, latency in real ms, `origin_s` on
    the machine's monotonic clock. `start` raises `PortUnavailableError` with what the process
    said when it did not come up.
    """

    def __init__(
        self,
        *,
        rate: float = 1.0,
        origin_s: float | None = None,
        seed: int = 0,
        scenario: Path | None = None,
        paced_baud: int | None = None,
        latency_ms: float = 0.0,
    ) -> None:
        self._arguments = [f"--rate={rate}", f"--seed={seed}", f"--latency-ms={latency_ms}"]
        if origin_s is not None:
            self._arguments.append(f"--origin-s={origin_s}")
        if scenario is not None:
            self._arguments.append(f"--scenario={scenario}")
        if paced_baud is not None:
            self._arguments.append(f"--paced-baud={paced_baud}")
        self._process: subprocess.Popen[str] | None = None
        self.port = ""

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def start(self) -> None:
        """Start the process and wait for its port."""
        process = subprocess.Popen(  # noqa: S603  our own module, no shell
            [sys.executable, "-m", "drivers.simulator", *self._arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            # Ctrl-C in the terminal is its parent's business: the supply outlives what drives it.
            start_new_session=True,
        )
        self._process = process
        try:
            self.port = str(self._hear()["port"])
        except PortUnavailableError:
            self.stop()
            raise

    @property
    def pid(self) -> int:
        """The process's id; raises `PortUnavailableError` when it does not run."""
        return self._running().pid

    def stop(self, patience_s: float = PATIENCE_S) -> int | None:
        """End the process by closing its standard input; its exit code, None if it does not run.

        One that has not ended after `patience_s` is killed.
        """
        process, self._process = self._process, None
        if process is None:
            return None
        try:
            process.communicate(timeout=patience_s)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
        return process.returncode

    def truth(self) -> Truth:
        """What really happened in the tank up to now."""
        reply = self._ask({"ask": "truth"})
        return Truth(**(reply | {"parts_g": tuple(reply["parts_g"])}))

    def moments(self) -> Moments:
        """When an event was last injected, and when the output was last switched off."""
        return Moments(**self._ask({"ask": "moments"}))

    def inject(self, do: str, **parameters: float) -> None:
        """Let an event happen, such as `inject("short", resistance_ohm=0.05, lasts_s=30)`.

        "mend" ends every fault. Raises `CommandRefusedError` when the simulator does not take it.
        """
        self._ask({"do": do, **parameters})

    def _running(self) -> subprocess.Popen[str]:
        if self._process is None:
            raise PortUnavailableError("simulator: not running")
        return self._process

    def _ask(self, order: dict[str, object]) -> dict[str, Any]:
        stdin = cast("IO[str]", self._running().stdin)
        try:
            stdin.write(json.dumps(order) + "\n")
            stdin.flush()
        except BrokenPipeError as error:
            raise PortUnavailableError("simulator: the process has ended") from error
        return self._hear()

    def _hear(self) -> dict[str, Any]:
        process = self._running()
        line = cast("IO[str]", process.stdout).readline()
        if not line:
            _, said = process.communicate()
            raise PortUnavailableError(f"simulator: the process has ended: {said.strip()}")
        reply: dict[str, Any] = json.loads(line)
        if "error" in reply:
            raise CommandRefusedError(f"simulator: {reply['error']}")
        return reply
