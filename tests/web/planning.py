"""A daemon's voice that checks and keeps plans with the daemon's own parts."""

from pathlib import Path
from types import SimpleNamespace
from typing import Any

from conftest import Peer, a_status
from pydantic import TypeAdapter

from daemon.api.errors import InputError
from daemon.api.plans.kept import plans_at
from daemon.api.plans.known import Known, Sure
from daemon.api.socket.messages import Answer, RehearseRequest, Request, StartRequest, Status
from daemon.api.socket.plans import (
    CheckPlanRequest,
    DropPlanRequest,
    InterlockSeen,
    KeepPlanRequest,
)
from daemon.bath.due import Dues
from daemon.chemistry.uncertainty import NO_DOUBT
from daemon.clock import SystemClock
from daemon.control.panel import Correction, MeterFacts, Panel
from daemon.record.errors import NoSuchPartError
from daemon.record.writer import Writer
from daemon.service.keeping.plans import PlanKeeper
from daemon.service.starts.starting import Starting
from drivers.contracts import Rating

RATING = Rating(current_a=5.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01)


def _area(name: str, copies: int) -> Sure:
    if name != "lamp foot":
        raise NoSuchPartError(f"no part {name!r} is kept; kept: lamp foot")
    return Sure(0.9 * copies, 0.04)


class Planner(Peer):
    """Checks, keeps and drops plans as the daemon does, beside the record at `record`.

    A start is taken as the loop takes it: only if no newer run has been started than its asker
    knows of.
    """

    def __init__(self, path: Path, record: Path, status: Status | None = None) -> None:
        super().__init__(path, status or a_status(state="idle", run=None, output_on=False))
        self.folder = plans_at(record)
        self.not_now: tuple[str, ...] = ()
        self.interlocks: tuple[InterlockSeen, ...] = ()
        self.newest = 12
        """The run that the record knows."""
        self._writer = Writer(record, threaded=False)
        self._keeper = PlanKeeper(self.folder, self._writer, SystemClock())
        panel = Panel({"supply": MeterFacts(Correction(), NO_DOUBT)}, "supply", 1.0)
        desk: Any = SimpleNamespace(
            known=lambda _: Known(_area), not_now=lambda: self.not_now, dues=Dues
        )
        self._starting = Starting(lambda: self.status, RATING, panel, desk)

    def stop(self) -> None:
        super().stop()
        self._writer.close()

    def _answer(self, line: bytes) -> bytes:
        request = TypeAdapter[Any](Request).validate_json(line)
        try:
            match request:
                case CheckPlanRequest():
                    checked = self._starting.check(request.plan)
                    now = {"interlocks": self.interlocks}
                    checked = checked.model_copy(update=now)
                    return Answer(ok=True, checked=checked).model_dump_json().encode()
                case KeepPlanRequest():
                    self._keeper.keep(request)
                case DropPlanRequest():
                    self._keeper.drop(request)
                case RehearseRequest():
                    self._keeper.rehearsed(request.plan, works=not self.rehearsal.because)
                    return super()._answer(line)
                case StartRequest() if not request.check and self.refusal is None:
                    if request.after_run not in (None, self.newest):
                        error = f"run {self.newest} has been started since this was asked"
                        return Answer(ok=False, error=error).model_dump_json().encode()
                    self.newest += 1
                    return super()._answer(line)
                case _:
                    return super()._answer(line)
        except InputError as error:
            return Answer(ok=False, error=str(error)).model_dump_json().encode()
        return Answer(ok=True, status=self.status).model_dump_json().encode()
