"""Plans before they become runs: the order to start one, what it will meet, whether it can work."""

from collections.abc import Callable

from daemon.api.errors import InputError
from daemon.api.plans.course import plan_course
from daemon.api.plans.file import read_plan
from daemon.api.plans.known import known_of
from daemon.api.sentence import utc_of
from daemon.api.socket.messages import StartRequest, Status
from daemon.api.socket.plans import PlanCheck
from daemon.clock import to_ms
from daemon.control.feasibility import course, misfits, problems
from daemon.control.panel import Panel
from daemon.control.plan import Plan
from daemon.control.situation import NOTHING_CARRIED, Carried
from daemon.control.states import Act
from daemon.service.cycle.runner import Order
from daemon.service.socket.desk import Desk
from daemon.service.starts.foretelling import anode_notes, course_note, due_notes, going_on_note
from drivers.contracts import Rating

PLAN = "plan"
"""What a plan is called that came over the socket."""


class Starting:
    """Holds plans against the supply and the meters, and says what they meet.

    `status` makes the daemon's word, `desk` knows the record; `rating` is the supply's, narrowed by
    what the meters can take, and `panel` knows the doubt of the one that counts.
    """

    def __init__(
        self, status: Callable[[], Status], rating: Rating, panel: Panel, desk: Desk
    ) -> None:
        self._status = status
        self._rating = rating
        self._panel = panel
        self._desk = desk

    def order(self, request: StartRequest, tell: Callable[[str], None] = lambda _: None) -> Order:
        """The order to start, with a plan that can work on what is on the part already.

        `tell` is told what the plan left to the daemon. Raises InputError, RecordError.
        """
        text, carried, known = request.plan, NOTHING_CARRIED, self._desk.known(tell)
        if request.goes_on_from is not None:
            before = self._desk.unfinished(request.goes_on_from)
            carried = before.carried
            if not text:
                text, known = before.run.plan, known_of(before.run)
        plan = read_plan(text, PLAN, known)
        found = problems(plan, self._rating, self._panel.facts.doubt, carried)
        if found:
            raise InputError("plan cannot work", tuple(found))
        return Order(
            Act.START, request.who, plan, text, request.where,
            goes_on_from=request.goes_on_from, carried=carried, after_run=request.after_run,
        )  # fmt: skip

    def notes(self, order: Order) -> tuple[str, ...]:
        """Where a start takes up its part, and what it will meet with."""
        if order.plan is None:
            return ()
        goes_on = order.goes_on_from is not None
        where = (going_on_note(order.plan, order.carried),) if goes_on else ()
        return where + self._meets(order.plan, order.carried)

    def can_work(self, order: Order) -> tuple[str, ...]:
        """How much charge and time a start takes from here."""
        if order.plan is None:
            return ()
        return (course_note(order.plan, self._panel.facts.doubt, order.carried),)

    def check(self, text: str) -> PlanCheck:
        """Check a plan and foresee its course. Never raises for what somebody may write."""
        told: list[str] = []
        not_now = self._desk.not_now()
        try:
            plan = read_plan(text, PLAN, self._desk.known(told.append))
        except InputError as error:
            return PlanCheck(problems=error.problems, not_now=not_now)
        doubt = self._panel.facts.doubt
        try:
            found = misfits(plan, self._rating, doubt)
            foreseen = plan_course(plan, course(plan, doubt))
        except ArithmeticError:
            said = "target: figures so far beyond any plan cannot be worked with"
            return PlanCheck(problems=(said,), not_now=not_now)
        return PlanCheck(
            problems=tuple(f"{each.key}: {each.said}" for each in found),
            notes=(*told, *(() if found else self._meets(plan, NOTHING_CARRIED))),
            course=foreseen,
            not_now=not_now,
        )

    def _meets(self, plan: Plan, carried: Carried) -> tuple[str, ...]:
        status, dues = self._status(), self._desk.dues()
        return anode_notes(dues, plan) + due_notes(
            dues,
            status.bath_charge_ah,
            to_ms(utc_of(status.utc)),
            plan,
            self._panel.facts.doubt,
            carried,
            status.pumps,
        )
