"""Something that has to be said before there is an answer."""

from daemon.api.errors import InputError
from daemon.api.report import Report
from daemon.bath.parts.asked import Question


class UnansweredError(InputError):
    """What a form leaves open, and cannot; `report` is what is known without it."""

    def __init__(self, where: str, question: Question, report: Report | None = None) -> None:
        super().__init__(where, (f"{question.text} (--{question.about})",))
        self.question = question
        self.report = report
