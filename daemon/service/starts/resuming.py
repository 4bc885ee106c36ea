"""Going on after an interruption without anybody, where the settings say so and all is well."""

import threading
from collections.abc import Callable, Sequence

from pydantic import Field

from daemon.api.quantities import DurationS
from daemon.api.socket.messages import Answer, StartRequest
from daemon.record.recovery import Unfinished
from daemon.service.settings.table import Table

WHO = "tankhand, by its settings"
WHERE = "after an interruption"
"""Who went on, and from where, in the record."""

EVERY_S = 3.0
"""Real s from one try to the next: devices need a moment until their first reading."""

TRIES = 10
"""After these it is left to a person: what does not come in half a minute is not well."""


class AfterInterruptionTable(Table):
    """What becomes of a run that a power cut or the daemon's death has interrupted.

    By default it waits for a person. With `go_on` it goes on by itself if the interruption was no
    longer than `within`, as far as the clocks can tell, and nothing keeps a run from starting.
    """

    go_on: bool = Field(
        default=False, description="whether a run goes on by itself after a power cut"
    )
    within: DurationS = Field(default=300.0, description="of how long a power cut it does")

    def run_to_go_on(self, interrupted: Sequence[Unfinished]) -> int | None:
        """The number of the run that may go on by itself; None if none may.

        Several at once are no usual power cut, and an interruption of unknown length is long.
        """
        if not self.go_on or len(interrupted) != 1:
            return None
        (run,) = interrupted
        short = run.lasted_s is not None and run.lasted_s <= self.within
        return run.run_id if short else None


class Resumer:
    """Asks for the run to go on, as a person would, until it does or `TRIES` were refused.

    `ask` hands in the request and waits for its answer. Every condition of a start holds for it.
    """

    def __init__(self, run_id: int, ask: Callable[[StartRequest], Answer]) -> None:
        self._request = StartRequest(goes_on_from=run_id, who=WHO, where=WHERE)
        self._ask = ask
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._work, name="resumer", daemon=True)

    def start(self) -> None:
        """Begin to ask."""
        self._thread.start()

    def stop(self) -> None:
        """Ask no more."""
        self._ended.set()

    def _work(self) -> None:
        for _ in range(TRIES):
            if self._ended.wait(EVERY_S) or self._ask(self._request).ok:
                return
