"""The control socket's server: one JSON line in, one out, a short-lived thread for each asker."""

import socketserver
import threading
from collections.abc import Callable
from pathlib import Path

from pydantic import TypeAdapter, ValidationError
from sqlalchemy.exc import DatabaseError

from daemon.api.errors import InputError
from daemon.api.socket.access import AccessRequest
from daemon.api.socket.effects import EffectsRow
from daemon.api.socket.messages import (
    ActRequest,
    AlarmRequest,
    Answer,
    BathEntryRequest,
    CalibrateRequest,
    EffectsRequest,
    RehearseRequest,
    Request,
    SettingsRequest,
    SettleRequest,
    StartRequest,
    Status,
    StatusRequest,
    WithholdRequest,
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
)
from daemon.api.socket.pumps import PumpRequest
from daemon.api.socket.settings import SettingsSeen
from daemon.control.panel import Panel
from daemon.control.situation import AlarmAct
from daemon.control.states import Act
from daemon.record.errors import RecordError
from daemon.record.store import refusal
from daemon.service.cycle.runner import Order, Withhold
from daemon.service.proof.prover import ABOUT as PROOF_TEST
from daemon.service.proof.prover import Asked, Prover
from daemon.service.pumps.doser import PumpAct
from daemon.service.socket.control_socket import SocketUnusableError, clear
from daemon.service.socket.desk import Desk
from daemon.service.starts.starting import Starting
from drivers.contracts import Rating

REQUEST_LIMIT = 256 * 1024
"""Bytes of one request: a plan is a few kB."""

ASKER_LIMIT_S = 5.0
"""Real s that an asker may take to say its line or to take its answer."""

ORDER_LIMIT_S = 5.0
"""Real s that the loop may take to answer an order; it answers within a tick if it is well."""

KEPT_LIMIT_S = 3.0
"""Real s that the disk may take until a run that has started is on it; then the answer says that it
is not. A commit takes some tens of ms, on a card that is busy with itself now and then a second."""

_REQUEST: TypeAdapter[Request] = TypeAdapter(Request)


OF_A_PLAN = frozenset({"plan", "plan cannot work"})
"""Where errors are that a plan has by itself, whatever the tank is doing."""

TAKES_CURRENT = frozenset({"hold", "stop", "abort"})
"""Acts that are done whatever else is under way."""


class ControlServer:
    """Serves the socket at `path`, readable and writable by its owner and group.

    `status` makes the daemon's word, `submit` hands an order to the loop, `desk` knows the record,
    `prover` leads proof tests; `rating` and `panel` are what plans are held against before they get
    that far; `effects` are the rows of the cause and effect table, `settings` tells what holds.
    A dead daemon's socket is taken over, a living one's never.
    Raises `SocketUnusableError`.
    """

    def __init__(
        self,
        path: Path,
        status: Callable[[], Status],
        submit: Callable[[Order], None],
        rating: Rating,
        panel: Panel,
        desk: Desk,
        prover: Prover,
        effects: tuple[EffectsRow, ...],
        settings: Callable[[], SettingsSeen],
    ) -> None:
        self._path = path
        self._status = status
        self._submit = submit
        self._desk = desk
        self._starting = Starting(status, rating, panel, desk)
        self._prover = prover
        self._effects = effects
        self._settings = settings
        try:
            clear(path)
            self._server = _Server(str(path), _Asker)
            path.chmod(0o660)
        except OSError as error:
            raise SocketUnusableError(
                f"{path}: the control socket cannot be opened: {error.strerror or error}"
            ) from error
        self._server.answer = self._answer_line
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.2}, name="control socket"
        )

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def stop(self) -> None:
        """Answer nobody any more and take the socket away."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
        self._path.unlink(missing_ok=True)

    def answer(self, request: Request) -> Answer:
        """Do what is asked, or say in one sentence why not. In any thread."""
        try:
            match request:
                case ProofRequest():
                    return Answer(ok=True, proof=self._prover.status())
                case BeginProofRequest():
                    self._starting.order(self._prover.plan(request))
                    self._prover.begin(request, self.answer_walk)
                    return self._at_proof()
                case AnswerProofRequest():
                    self._prover.answer(request)
                    return self._at_proof()
                case EndProofRequest():
                    self._prover.give_up(request)
                    return self._at_proof()
                case StatusRequest():
                    pass
                case EffectsRequest():
                    return Answer(ok=True, effects=self._effects)
                case SettingsRequest():
                    return Answer(ok=True, settings=self._settings())
                case CalibrateRequest():
                    self._desk.calibrate(request)
                case SettleRequest():
                    self._desk.settle(request)
                case AccessRequest():
                    self._desk.access(request)
                case BathEntryRequest():
                    kept = self._desk.enter(request)
                    return Answer(
                        ok=True, status=self._status(), entry=kept.number, notes=kept.notes
                    )
                case PartRequest():
                    return self._part_kept(request)
                case StartRequest():
                    return self._started(request)
                case RehearseRequest():
                    return self._rehearsed(request)
                case CheckPlanRequest():
                    return Answer(ok=True, checked=self._checked(request))
                case KeepPlanRequest():
                    self._desk.plans.keep(request)
                case DropPlanRequest():
                    self._desk.plans.drop(request)
                case _:
                    return self._asked(request)
        except (InputError, RecordError) as error:
            unusable = isinstance(error, InputError) and error.where in OF_A_PLAN
            return Answer(ok=False, error=str(error), unusable=unusable)
        except DatabaseError as error:
            return Answer(ok=False, error=f"the record does not take it: {refusal(error)}")
        return Answer(ok=True, status=self._status())

    def _rehearsed(self, request: RehearseRequest) -> Answer:
        found = self._desk.rehearse(request)
        self._desk.plans.rehearsed(request.plan, works=not found.because)
        return Answer(ok=True, rehearsal=found)

    def _checked(self, request: CheckPlanRequest) -> PlanCheck:
        """What is to be said of a plan, and all that would keep it from starting now."""
        found = self._starting.check(request.plan)
        at = self._prover.under_way
        proof = () if at is None else (f"a proof test is at {at}: it has to be given up first",)
        unproved = self._desk.unproved()
        due = () if unproved is None else (f"proof test overdue: {unproved}",)
        now = {
            "not_now": (*found.not_now, *proof, *due),
            "interlocks": self._desk.interlocks(),
        }
        return found.model_copy(update=now)

    def _part_kept(self, request: PartRequest) -> Answer:
        kept = self._desk.keep_part(request)
        before = kept.supersedes
        notes = () if before is None else (f"takes the place of part {before}",)
        return Answer(ok=True, status=self._status(), entry=kept.id, notes=notes)

    def _at_proof(self) -> Answer:
        return Answer(ok=True, status=self._status(), proof=self._prover.status())

    def answer_walk(self, request: Asked) -> Answer:
        """Do what the proof test's walk asks for, which nothing but the loop refuses."""
        try:
            if isinstance(request, StartRequest):
                order = self._starting.order(request)
            else:
                order = self._order(request)
        except InputError as error:
            return Answer(ok=False, error=str(error))
        return self._ordered(order)

    def _answer_line(self, line: bytes) -> Answer:
        try:
            request = _REQUEST.validate_json(line)
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"]) or "request"
            return Answer(ok=False, error=f"{where}: {first['msg']}")
        return self.answer(request)

    def _asked(self, request: ActRequest | AlarmRequest | PumpRequest) -> Answer:
        """What a person asks of the loop. Whoever takes the current away ends a proof test."""
        takes_current = request.ask in TAKES_CURRENT
        begins = isinstance(request, ActRequest) and not takes_current
        if begins or request.ask == "run pump":
            self._refuse_beside_proof()
        answer = self._ordered(self._order(request))
        # Without a run it is refused, and a pump that is being proved stops all the same.
        if takes_current and (answer.ok or self._prover.pumps):
            self._prover.interrupt(f"{request.ask} by {request.who}")
        return answer

    def _refuse_beside_proof(self) -> None:
        at = self._prover.under_way
        if at is not None:
            raise InputError(PROOF_TEST, (f"is at {at}: it has to be given up first",))

    def _ordered(self, order: Order) -> Answer:
        """Hand the order to the loop and wait for its answer."""
        self._submit(order)
        if not order.answered.wait(ORDER_LIMIT_S) and order.take():
            late = f"the loop did not answer within {ORDER_LIMIT_S:g} s; nothing was done"
            return Answer(ok=False, error=late)
        # The loop has taken it, if only just now: its answer is a cycle away.
        order.answered.wait()
        if order.error is not None:
            return Answer(ok=False, error=order.error)
        warning = self._not_on_the_disk() if order.act is Act.START else None
        return Answer(ok=True, status=self._status(), warning=warning)

    def _not_on_the_disk(self) -> str | None:
        """What a run's starter has to be told where the record does not have it in time.

        Whoever is told nothing but "started" finds the run in the record, whatever happens next.
        """
        why = self._desk.not_kept(KEPT_LIMIT_S)
        if why is None:
            return None
        return f"the run has started, but is not on the disk yet: {why}; a power cut now loses it"

    def _started(self, request: StartRequest) -> Answer:
        """Start the run, or only look at its plan; with what the bath wants meanwhile."""
        if not request.check:
            self._refuse_beside_proof()
            unproved = self._desk.unproved()
            if unproved is not None:
                raise InputError("proof test overdue", (unproved,))
        told: list[str] = []
        order = self._starting.order(request, told.append)
        notes = (*told, *self._starting.notes(order))
        if not request.check:
            answer = self._ordered(order)
            if not answer.ok:
                return answer
            if answer.status is not None and answer.status.run is not None:
                self._desk.foretell(answer.status.run.run_id, request)
            return answer.model_copy(update={"notes": notes})
        return Answer(
            ok=True, status=self._status(), notes=(*self._starting.can_work(order), *notes)
        )

    def _order(self, request: ActRequest | AlarmRequest | WithholdRequest | PumpRequest) -> Order:
        if isinstance(request, ActRequest):
            return Order(Act(request.ask), request.who, where=request.where)
        if isinstance(request, WithholdRequest):
            return Order(Withhold(), request.who, where=request.where)
        if isinstance(request, PumpRequest):
            for_s = request.for_s if request.ask == "run pump" else None
            return Order(PumpAct(request.additive, for_s), request.who, where=request.where)
        act = AlarmAct(request.ask, request.who, request.alarm, request.for_s)
        return Order(act, request.who, where=request.where)


class _Server(socketserver.ThreadingUnixStreamServer):
    daemon_threads = True
    block_on_close = False
    # One that comes in vain is turned away at once, not made to wait: let many queue.
    request_queue_size = 64
    answer: Callable[[bytes], Answer]


class _Asker(socketserver.StreamRequestHandler):
    timeout = ASKER_LIMIT_S
    server: _Server

    def handle(self) -> None:
        try:
            line = self.rfile.readline(REQUEST_LIMIT + 1)
            if not line.endswith(b"\n"):
                answer = Answer(ok=False, error=f"no line of at most {REQUEST_LIMIT} bytes came")
            else:
                answer = self.server.answer(line)
            self.wfile.write(answer.model_dump_json().encode() + b"\n")
        except (OSError, TimeoutError):
            # The asker is gone or too slow; nothing here depends on it.
            return
