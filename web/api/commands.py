"""What the API does: commands on the run, and acts on alarms, each handed to the daemon."""

from collections.abc import Callable
from typing import Literal

from flask import request as asked_by

from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import ActRequest, AlarmRequest, StartRequest
from web.api.models import Done, Nothing, Shelf, Start
from web.api.operations import Asked, Operation
from web.gate.access import access
from web.presses import Whose
from web.problems import INVALID, NOT_FOUND, REFUSED, SILENT, TOO_MANY, UNSURE, ProblemError
from web.tank import Pressed, Tank

Act = Literal["hold", "resume", "stop", "abort", "reset"]

View = Callable[[Asked], Done]

NEVER_COUNTED = frozenset({"stop", "abort"})
"""Commands that are never too many."""


class Commands:
    """The operations that act, over one daemon."""

    def __init__(self, tank: Tank) -> None:
        self._tank = tank

    def operations(self) -> tuple[Operation, ...]:
        """All of them. What takes the current away takes no body, and passes over any."""
        fails = (UNSURE, REFUSED)
        counted = (*fails, TOO_MANY)
        return (
            Operation(
                "start", "POST", "/commands/start", "Start a run",
                "With a plan file's text, or going on with the part of an earlier run. With "
                "`check` nothing is started: the answer says whether the plan can work.",
                Done, self.start, body=Start, may_fail=counted,
            ),
            Operation(
                "hold", "POST", "/commands/hold", "Hold the run",
                "Current down, output off; `resume` goes on with it.",
                Done, self._act("hold"), may_fail=counted,
            ),
            Operation(
                "resume", "POST", "/commands/resume", "Go on with a held run", "",
                Done, self._act("resume"), body=Nothing, may_fail=counted,
            ),
            Operation(
                "stop", "POST", "/commands/stop", "End the run in good order",
                "Current down, output off. Taken however often it comes.",
                Done, self._act("stop"), may_fail=fails,
            ),
            Operation(
                "abort", "POST", "/commands/abort", "Output off at once",
                "The run is over. Taken however often it comes.",
                Done, self._act("abort"), may_fail=fails,
            ),
            Operation(
                "reset", "POST", "/commands/reset", "Say that the tank has been looked at",
                "After a run that was stopped or aborted, or is complete: ready for the next.",
                Done, self._act("reset"), body=Nothing, may_fail=counted,
            ),
            Operation(
                "acknowledge_all", "POST", "/alarms/acknowledge", "Acknowledge all alarms", "",
                Done, self.acknowledge_all, body=Nothing, may_fail=counted,
            ),
            Operation(
                "acknowledge", "POST", "/alarms/{alarm}/acknowledge", "Acknowledge one alarm", "",
                Done, self.acknowledge, body=Nothing, may_fail=(*counted, SILENT),
            ),
            Operation(
                "shelve", "POST", "/alarms/{alarm}/shelve", "Shelve an alarm for a time",
                "That makes it quiet, and never keeps it from stopping a run.",
                Done, self.shelve, body=Shelf, may_fail=(*counted, SILENT),
            ),
            Operation(
                "unshelve", "POST", "/alarms/{alarm}/unshelve", "End an alarm's shelving", "",
                Done, self.unshelve, body=Nothing, may_fail=(*counted, SILENT),
            ),
        )  # fmt: skip

    def start(self, asked: Asked) -> Done:
        """Start a run, or look whether one could be."""
        told = asked.of(Start)
        return self._done(StartRequest(**told.model_dump(), **_whose()))

    def acknowledge_all(self, _: Asked) -> Done:
        """Acknowledge all alarms."""
        return self._done(AlarmRequest(ask="acknowledge", **_whose()))

    def acknowledge(self, asked: Asked) -> Done:
        """Acknowledge one alarm."""
        alarm = self._standing(asked)
        return self._done(AlarmRequest(ask="acknowledge", alarm=alarm, **_whose()))

    def shelve(self, asked: Asked) -> Done:
        """Shelve one alarm."""
        alarm, for_s = self._standing(asked), asked.of(Shelf).for_s
        return self._done(AlarmRequest(ask="shelve", alarm=alarm, for_s=for_s, **_whose()))

    def unshelve(self, asked: Asked) -> Done:
        """End one alarm's shelving."""
        alarm = self._standing(asked)
        return self._done(AlarmRequest(ask="unshelve", alarm=alarm, **_whose()))

    def _act(self, ask: Act) -> View:
        return lambda _: self._done(ActRequest(ask=ask, **_whose()))

    def _standing(self, asked: Asked) -> int:
        """The number asked for, if an alarm has it that is not over."""
        status = self._tank.status()
        if status is None:
            raise ProblemError(SILENT, "Nothing was done.")
        if all(each.number != asked.number for each in status.alarms):
            raise ProblemError(NOT_FOUND, f"No alarm {asked.number} stands. Nothing was done.")
        return asked.number

    def _done(self, request: Pressed) -> Done:
        try:
            answer = self._tank.act(request)
        except DaemonUnreachableError as error:
            raise ProblemError(UNSURE) from error
        if not answer.ok or answer.status is None:
            kind = INVALID if answer.unusable else REFUSED
            raise ProblemError(kind, f"{answer.error or 'No reason was given'}. Nothing was done.")
        return Done(status=answer.status, warning=answer.warning, notes=answer.notes)


def _whose() -> Whose:
    """By whose word, and from where, as the record has it."""
    token, address = access().token(), asked_by.remote_addr
    name = f"the API at {address}" if token is None else f"token {token.name}"
    return {"who": name, "where": f"API, {address}"}
