"""Errors of pydantic and of the TOML reader, told to the person who wrote the file.

Keys are given as they stand in the file, list elements counted from 1: `stage[2].current`.
A model's field descriptions and examples are part of the messages, so each field should have both.
"""

import difflib
import json
import re
import tomllib
from collections.abc import Sequence
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from daemon.api.errors import InputError

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_LINE_NUMBER = re.compile(r"at line (\d+)")
_LONGEST_SHOWN = 60
_ADDRESS = re.compile(r"(?<=://)[^\s\"']+")

Loc = Sequence[int | str]
Model = TypeVar("Model", bound=BaseModel)


def read_toml(text: str, where: str, model: type[Model]) -> Model:
    """Read a TOML text as a model; `where` names its file. Raises InputError with every problem."""
    try:
        tree = tomllib.loads(text.removeprefix("\ufeff"))
    except RecursionError as error:
        raise InputError(where, ("not usable TOML: nested too deeply",)) from error
    except ValueError as error:  # TOMLDecodeError, and what int() says of a number too long
        raise InputError(where, (_toml_problem(error, text),)) from error
    return read_tree(tree, where, model)


def read_tree(tree: object, where: str, model: type[Model]) -> Model:
    """Read tables and lists, as a TOML or JSON reader gives them, as a model.

    Raises InputError with every problem.
    """
    try:
        return model.model_validate(tree)
    except ValidationError as error:
        raise InputError(where, problems_of(error, model)) from error


def problems_of(error: ValidationError, model: type[BaseModel]) -> tuple[str, ...]:
    """Tell each problem of a ValidationError in a line: key, what came, what is allowed."""
    found = error.errors(include_url=False)
    return tuple(_problem(details, model) for details in found if not _echoes(details, found))


def key_path(loc: Loc) -> str:
    """Write a place in a tree of tables and lists as in TOML, lists counted from 1."""
    path = ""
    for part in loc:
        if isinstance(part, int):
            path += f"[{part + 1}]"
        else:
            key = part if _BARE_KEY.fullmatch(part) else json.dumps(part, ensure_ascii=False)
            path += f".{key}" if path else key
    return path


def _toml_problem(error: ValueError, text: str) -> str:
    found = _LINE_NUMBER.search(str(error))
    lines = text.splitlines()
    if found is None or not 1 <= int(found[1]) <= len(lines):
        return f"not TOML: {error}"
    return f"not TOML: {error}: {_shown(lines[int(found[1]) - 1].strip())}"


def _echoes(details: ErrorDetails, found: list[ErrorDetails]) -> bool:
    """Whether a list is only called too short because its bad elements were not counted."""
    loc = details["loc"]
    return details["type"] == "too_short" and any(
        len(other["loc"]) > len(loc) and other["loc"][: len(loc)] == loc for other in found
    )


def _problem(details: ErrorDetails, model: type[BaseModel]) -> str:
    loc, came = details["loc"], details["input"]
    key = key_path(loc)
    match details["type"]:
        case "missing":
            return f"{key} is missing{_wanted(model, loc)}"
        case "extra_forbidden":
            return f"{key} is an unknown key{_allowed_keys(model, loc)}"
        case "value_error":
            said = str(details["ctx"]["error"])
        case "model_type" | "dict_type" | "model_attributes_type":
            said = f"must be a table, got {_shown(came)}"
        case "tuple_type" | "list_type":
            said = f"must be a list, got {_shown(came)}{_wanted(model, loc)}"
        case "too_short":
            context = details["ctx"]
            said = f"needs at least {context['min_length']}, got {context['actual_length']}"
            said += _wanted(model, loc)
        case _:
            message = details["msg"].removeprefix("Input ").removeprefix("String ")
            said = f"{message}, got {_shown(came)}"
    return f"{key}: {said}" if key else said


def _wanted(model: type[BaseModel], loc: Loc) -> str:
    """What the field at `loc` is, and an example of it, as far as the model tells."""
    owner = _model_at(model, loc[:-1])
    field = None if owner is None else _field_named(owner, str(loc[-1]))
    if field is None:
        return ""
    described = f": {field.description}" if field.description else ""
    example = f", such as {field.examples[0]}" if field.examples else ""
    return described + example


def _allowed_keys(model: type[BaseModel], loc: Loc) -> str:
    """The key that may have been meant, and all that the table around `loc` may hold."""
    owner = _model_at(model, loc[:-1])
    if owner is None:
        return ""
    names = [field.alias or name for name, field in owner.model_fields.items()]
    similar = difflib.get_close_matches(str(loc[-1]), names, n=1)
    guess = f" (did you mean {similar[0]}?)" if similar else ""
    return f"{guess}; allowed: {', '.join(names)}"


def _model_at(model: type[BaseModel], loc: Loc) -> type[BaseModel] | None:
    """The model that reads the table at `loc`; None where it is no model of ours."""
    current: type[BaseModel] | None = model
    for part in loc:
        if isinstance(part, int):
            continue
        field = None if current is None else _field_named(current, part)
        current = None if field is None else _model_in(field.annotation)
    return current


def _field_named(model: type[BaseModel], key: str) -> FieldInfo | None:
    for name, field in model.model_fields.items():
        if key in (name, field.alias):
            return field
    return None


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """The first model within a type such as `tuple[Stage, ...]` or `Stage | None`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation):
        if (found := _model_in(inner)) is not None:
            return found
    return None


def _shown(value: object) -> str:
    """A value as a file has it, cut short; a table or a date by what it is.

    Of an address, which may hold a password, only its kind is shown.
    """
    if isinstance(value, dict):
        return "a table"
    text = _ADDRESS.sub("…", json.dumps(value, ensure_ascii=False, default=str))
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}…"
