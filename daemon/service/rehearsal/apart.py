"""Rehearses in a process of its own, for the daemon: it takes seconds, numpy and some memory."""

import os
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from daemon.api.errors import InputError
from daemon.api.socket.message import Message
from daemon.api.socket.messages import RehearseRequest
from daemon.api.socket.rehearsal import Rehearsal

LIMIT_S = 60.0
"""Real s that it may take; some on a small machine, and more where that is busy."""

WHERE = "rehearsal"


class Request(Message):
    """What goes over: see `daemon.service.rehearsal.assembly.Asked`. settings: the file's path."""

    settings: str
    plan: str
    goes_on_from: int | None = None
    read_c: float | None = None
    copies: int | None = None
    mishaps: tuple[str, ...] | None = None


class Answered(Message):
    """What comes back: one of both."""

    rehearsal: Rehearsal | None = None
    error: str | None = None


@dataclass(frozen=True, slots=True)
class Apart:
    """Rehearsals by one settings file, one at a time. For any thread."""

    settings: Path
    busy: threading.Lock
    limit_s: float = LIMIT_S

    def of(self, asked: RehearseRequest, read_c: float | None) -> Request:
        """What goes over for somebody who has asked; `read_c` is the bath's °C now."""
        return Request(
            settings=str(self.settings),
            plan=asked.plan,
            goes_on_from=asked.goes_on_from,
            read_c=read_c,
            copies=asked.copies,
            mishaps=asked.mishaps,
        )

    def rehearse(self, request: Request, *, wait: bool = False) -> Rehearsal:
        """Rehearse; `wait` until another one is over. Raises InputError with the reason why not."""
        if not self.busy.acquire(blocking=wait):
            raise InputError(WHERE, ("another one is under way: try again in some seconds",))
        try:
            return self._done(request)
        finally:
            self.busy.release()

    def _done(self, request: Request) -> Rehearsal:
        try:
            done = subprocess.run(
                [sys.executable, "-m", "daemon.service.rehearsal"],
                input=request.model_dump_json().encode(),
                capture_output=True,
                timeout=self.limit_s,
                cwd=Path(__file__).parents[3],
                env=os.environ | {"OPENBLAS_NUM_THREADS": "1"},
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise InputError(WHERE, (f"took more than {self.limit_s:g} s",)) from error
        except OSError as error:
            raise InputError(WHERE, (f"cannot be begun: {error.strerror or error}",)) from error
        try:
            answer = Answered.model_validate_json(done.stdout)
        except ValidationError as error:
            lines = done.stderr.decode(errors="replace").strip().splitlines()
            why = lines[-1] if lines else f"it ended with {done.returncode}"
            raise InputError(WHERE, (f"came to nothing: {why}",)) from error
        if answer.rehearsal is None:
            raise InputError(WHERE, (answer.error or "no reason given",))
        return answer.rehearsal
