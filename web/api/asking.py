"""Reads what a request sends by the shape that its operation says: all of it, and nothing else."""

from collections.abc import Callable

from flask import Request
from pydantic import BaseModel, ValidationError

from web.api.operations import Asked, Operation
from web.problems import INVALID, MEDIA, NOT_FOUND, UNREADABLE, Fault, ProblemError, faults
from web.record import record_number

JSON = "application/json"


def read(operation: Operation, request: Request, number: str) -> Asked:
    """What is asked of this operation, `number` being that in its path. Raises `ProblemError`."""
    known = 0
    if operation.parameter is not None:
        found = record_number(number)
        if found is None:
            raise ProblemError(NOT_FOUND, f"{number[:40]!r} is no number of the record's.")
        known = found
    given: BaseModel | None = None
    if operation.query is not None:
        given = _query(operation.query, request)
    elif operation.body is not None:
        given = _body(operation.body, request)
    return Asked(known, given)


def _query(shape: type[BaseModel], request: Request) -> BaseModel:
    twice = [name for name, values in request.args.lists() if len(values) > 1]
    if twice:
        wrong = tuple(Fault(where=name, what="is there more than once") for name in twice)
        raise ProblemError(INVALID, _told(wrong), wrong)
    return _read(lambda: shape.model_validate(request.args.to_dict()))


def _body(shape: type[BaseModel], request: Request) -> BaseModel:
    if request.mimetype != JSON:
        raise ProblemError(MEDIA)
    sent = request.get_data()
    # Strict: a text that looks like a number is none, as the document says.
    return _read(lambda: shape.model_validate_json(sent, strict=True))


def _read(reading: Callable[[], BaseModel]) -> BaseModel:
    try:
        return reading()
    except ValidationError as error:
        wrong = faults(error)
        if any(each["type"] == "json_invalid" for each in error.errors(include_url=False)):
            raise ProblemError(UNREADABLE, f"{wrong[0].what}. Nothing was done.") from error
        raise ProblemError(INVALID, _told(wrong), wrong) from error


def _told(wrong: tuple[Fault, ...]) -> str:
    lines = "; ".join(f"{each.where or 'the whole'}: {each.what}" for each in wrong)
    return f"{lines}. Nothing was done."
