"""The daemon as the page sees it: its newest word, asked for by many and fetched once."""

import threading
import time
from pathlib import Path

from daemon.api.socket.access import AccessRequest
from daemon.api.socket.client import ACT_PATIENCE_S, Client, DaemonUnreachableError
from daemon.api.socket.effects import EffectsRow
from daemon.api.socket.messages import (
    ActRequest,
    AlarmRequest,
    Answer,
    BathEntryRequest,
    EffectsRequest,
    RehearseRequest,
    SettingsRequest,
    SettleRequest,
    StartRequest,
    Status,
)
from daemon.api.socket.parts import PartRequest
from daemon.api.socket.plans import (
    CheckPlanRequest,
    DropPlanRequest,
    KeepPlanRequest,
    PlanCheck,
)
from daemon.api.socket.proof import (
    AnswerProofRequest,
    BeginProofRequest,
    EndProofRequest,
    ProofRequest,
    ProofStatus,
)
from daemon.api.socket.settings import SettingsSeen

Pressed = (
    ActRequest
    | AlarmRequest
    | BathEntryRequest
    | PartRequest
    | KeepPlanRequest
    | DropPlanRequest
    | SettleRequest
    | StartRequest
    | BeginProofRequest
    | AnswerProofRequest
    | EndProofRequest
)
"""What people press here."""

REHEARSE_PATIENCE_S = 70.0
"""Real s that a rehearsal may take; the daemon ends one before."""

CHECK_PATIENCE_S = 5.0
"""Real s that checking a plan may take; some ms on a machine that has nothing else to do."""

KEEP_S = 0.25
"""A word this young is given to the next asker too, so that a room full of open pages costs the
daemon at most four questions a second."""

KEEP_SILENCE_S = 2.0
"""A daemon that hangs costs each question its whole patience. Only one asker in this time pays it,
so that the server's threads stay free for whoever presses stop."""


class Tank:
    """One daemon behind its control socket. Safe to share between threads."""

    def __init__(self, socket: Path) -> None:
        self._socket = socket
        self._client = Client(socket)
        self._patient = Client(socket, timeout_s=ACT_PATIENCE_S)
        self._lock = threading.Lock()
        self._asked_s = float("-inf")
        self._status: Status | None = None

    def status(self) -> Status | None:
        """Give the daemon's newest word; None when it does not answer."""
        with self._lock:
            keep_s = KEEP_SILENCE_S if self._status is None else KEEP_S
            if time.monotonic() - self._asked_s > keep_s:
                try:
                    self._status = self._client.status()
                except DaemonUnreachableError:
                    self._status = None
                self._asked_s = time.monotonic()
            return self._status

    def effects(self) -> tuple[EffectsRow, ...]:
        """Give the cause and effect table's rows. Raises `DaemonUnreachableError`."""
        return self._asked_further(EffectsRequest()).effects

    def settings(self) -> SettingsSeen:
        """Give the settings that the daemon runs by. Raises `DaemonUnreachableError`."""
        settings = self._asked_further(SettingsRequest()).settings
        if settings is None:
            raise DaemonUnreachableError("an answer without settings")
        return settings

    def _asked_further(self, request: EffectsRequest | SettingsRequest) -> Answer:
        # One that hangs is not asked again: that costs nobody's patience twice.
        if self.status() is None:
            raise DaemonUnreachableError("no answer")
        return self._client.ask(request)

    def proof(self) -> ProofStatus:
        """Give how it is with the proof test. Raises `DaemonUnreachableError`."""
        proof = self._client.ask(ProofRequest()).proof
        if proof is None:
            raise DaemonUnreachableError("an answer without a proof test")
        return proof

    def foresee(self, run_id: int) -> Answer:
        """Ask what going on with a run's part would meet with. Raises `DaemonUnreachableError`."""
        return self._client.ask(StartRequest(goes_on_from=run_id, check=True, who="the page"))

    def check(self, plan: str) -> PlanCheck:
        """Ask what is to be said of a plan. Raises `DaemonUnreachableError`."""
        answer = Client(self._socket, timeout_s=CHECK_PATIENCE_S).ask(CheckPlanRequest(plan=plan))
        if answer.checked is None:
            raise DaemonUnreachableError(answer.error or "an answer without a word on the plan")
        return answer.checked

    def rehearse(self, request: RehearseRequest) -> Answer:
        """Ask how a plan would go, which takes seconds. Raises `DaemonUnreachableError`."""
        return Client(self._socket, timeout_s=REHEARSE_PATIENCE_S).ask(request)

    def tell(self, request: AccessRequest) -> Answer:
        """Have it kept who has signed in. Raises `DaemonUnreachableError`, and soon."""
        return self._client.ask(request)

    def act(self, request: Pressed) -> Answer:
        """Hand a person's act to the daemon, past everybody who only looks.

        Raises `DaemonUnreachableError` when no answer comes: the act may or may not have happened.
        """
        answer = self._patient.ask(request)
        with self._lock:
            self._asked_s = float("-inf")
        return answer
