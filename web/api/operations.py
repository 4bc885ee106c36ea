"""An operation of the API: what it takes, what it answers, and the one who does it.

Both the addresses and the document are made from these, so neither has what the other has not.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeVar

from pydantic import BaseModel

from web import problems
from web.problems import Kind

Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a request asks: the number in its path, if there is one, and what it has besides."""

    number: int
    given: BaseModel | None

    def of(self, kind: type[Model]) -> Model:
        """What it has besides, which the operation says is of this kind."""
        if not isinstance(self.given, kind):
            raise TypeError(f"the operation takes no {kind.__name__}")
        return self.given


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation: `name` is that of its endpoint, `path` comes after `PREFIX`.

    query, body: the shape of its parameters, and of what is sent. answers: the shape of what it
    gives. may_fail: the kinds of problems that it has besides those of every operation.
    """

    name: str
    method: Literal["GET", "POST"]
    path: str
    summary: str
    about: str
    answers: type[BaseModel]
    view: Callable[[Asked], BaseModel]
    query: type[BaseModel] | None = None
    body: type[BaseModel] | None = None
    may_fail: tuple[Kind, ...] = ()

    @property
    def parameter(self) -> str | None:
        """The name of the number in its path."""
        found = re.search(r"\{(\w+)\}", self.path)
        return None if found is None else found[1]

    @property
    def rule(self) -> str:
        """Its path as the router reads it, without `PREFIX`."""
        return re.sub(r"\{\w+\}", "<number>", self.path)

    @property
    def kinds(self) -> tuple[Kind, ...]:
        """Every kind of problem that it may answer with."""
        found = [*self.may_fail, problems.UNREADABLE, problems.FAILED]
        if self.parameter is not None:
            found.append(problems.NOT_FOUND)
        if self.query is not None or self.body is not None:
            found.append(problems.INVALID)
        if self.method == "POST":
            found += [problems.FOREIGN, problems.TOO_LARGE]
        if self.body is not None:
            found.append(problems.MEDIA)
        return tuple(dict.fromkeys(found))
