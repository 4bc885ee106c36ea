"""The plans that are kept, as the API gives them: which there are, and the text of one to start."""

from pathlib import Path

from daemon.api.errors import InputError
from daemon.api.plans.kept import KeptPlan, kept_plan, kept_plans
from web.api.models import PlanLine, PlanList, PlanNamed, PlanWritten
from web.api.operations import Asked, Operation
from web.problems import NO_RECORD, NOT_FOUND, ProblemError


class Plans:
    """The operations on the plans in one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def operations(self) -> tuple[Operation, ...]:
        """All of them."""
        return (
            Operation(
                "plans", "GET", "/plans", "The plans that are kept", "By name.",
                PlanList, self.plans, may_fail=(NO_RECORD,),
            ),
            Operation(
                "plan", "GET", "/plan", "The text of one plan", "As `start` takes it.",
                PlanWritten, self.plan, query=PlanNamed, may_fail=(NO_RECORD, NOT_FOUND),
            ),
        )  # fmt: skip

    def plans(self, _: Asked) -> PlanList:
        """Which there are."""
        try:
            return PlanList(plans=tuple(map(_line, kept_plans(self._folder))))
        except OSError as error:
            raise _unreadable(error) from error

    def plan(self, asked: Asked) -> PlanWritten:
        """One of them."""
        name = asked.of(PlanNamed).name
        try:
            found = kept_plan(self._folder, name)
        except OSError as error:
            raise _unreadable(error) from error
        if found is None:
            raise ProblemError(NOT_FOUND, f"No plan is kept as {name!r}.")
        if found.fault is not None:
            raise ProblemError(NO_RECORD, f"{found.path.name}: {found.fault}.")
        return PlanWritten(name=found.name, sha256=found.sha256, text=found.text)


def _line(kept: KeptPlan) -> PlanLine:
    read = kept.read
    if isinstance(read, InputError):
        return PlanLine(name=kept.name, sha256=kept.sha256, title=None, problems=read.problems)
    return PlanLine(name=kept.name, sha256=kept.sha256, title=read.title)


def _unreadable(error: OSError) -> ProblemError:
    return ProblemError(NO_RECORD, f"The plans cannot be read: {error.strerror or error}.")
