"""The OpenAPI document (3.1.1), made from the operations and from pydantic's own schemas."""

from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import JsonSchemaMode, models_json_schema

from daemon.access.tokens import TOKEN_RIGHTS
from web import problems
from web.api.operations import Operation
from web.gate.rights import PREFIX, Right
from web.problems import MEDIA_TYPE, Kind, Problem
from web.record import GREATEST_NUMBER

VERSION = "1.0.0"
"""Of the API, as Semantic Versioning counts. Its first number is that of the paths."""

ABOUT = (
    "State, record and commands of one plating tank. Quantities have their units in their names, "
    "moments are UTC, and what is not known is null. Stop, hold and abort are taken from whoever "
    "reaches this address. What is added later, such as a new field, does not change what was "
    "there: programs pass over what they do not know."
)

NEEDS = {
    Right.ANYONE: "Needs no token.",
    Right.READ: "Needs a token of any right where only operators may look.",
    Right.ACKNOWLEDGE: "Needs a token that may acknowledge.",
    Right.OPERATE: "Needs a token that may command.",
}
"""What each right asks for, in words. Where there is no operator, this machine needs no token."""


def document(
    operations: Sequence[Operation], rights: dict[str, Right], *, all_may_read: bool
) -> dict[str, Any]:
    """The document of these operations; `rights` says by name what each needs.

    all_may_read: whether looking needs no token here.
    """
    shapes = _Shapes(operations)
    paths: dict[str, dict[str, Any]] = {}
    for each in operations:
        told = _operation(each, rights[each.name], shapes, all_may_read=all_may_read)
        paths.setdefault(f"{PREFIX}{each.path}", {})[each.method.lower()] = told
    return {
        "openapi": "3.1.1",
        "info": {"title": "tankhand", "version": VERSION, "description": ABOUT},
        "paths": paths,
        "components": {
            "schemas": shapes.schemas,
            "securitySchemes": {
                "token": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "A token that `tankhand token add` has made; it may "
                    f"{', '.join(TOKEN_RIGHTS[:-1])} or {TOKEN_RIGHTS[-1]}.",
                }
            },
        },
    }


class _Shapes:
    """The schemas of all shapes, each once, and where each is."""

    def __init__(self, operations: Sequence[Operation]) -> None:
        wanted: dict[tuple[type[BaseModel], JsonSchemaMode], None] = {}
        wanted[(Problem, "serialization")] = None
        for each in operations:
            wanted[(each.answers, "serialization")] = None
            if each.body is not None:
                wanted[(each.body, "validation")] = None
        self._where, found = models_json_schema(
            list(wanted), ref_template="#/components/schemas/{model}"
        )
        self.schemas: dict[str, Any] = found["$defs"]

    def answered(self, shape: type[BaseModel]) -> Any:
        """Where the schema of an answer is."""
        return self._where[(shape, "serialization")]

    def sent(self, shape: type[BaseModel]) -> Any:
        """Where the schema of what is sent is."""
        return self._where[(shape, "validation")]


def _operation(
    each: Operation, right: Right, shapes: _Shapes, *, all_may_read: bool
) -> dict[str, Any]:
    free = right is Right.ANYONE or (right is Right.READ and all_may_read)
    told: dict[str, Any] = {
        "operationId": each.name,
        "summary": each.summary,
        "description": f"{each.about} {NEEDS[right]}".strip(),
        "security": [{}, {"token": []}] if free else [{"token": []}],
        "responses": _responses(each, right, shapes, free=free),
    }
    parameters = [*_in_path(each), *_in_query(each)]
    if parameters:
        told["parameters"] = parameters
    if each.body is not None:
        content = {"application/json": {"schema": shapes.sent(each.body)}}
        told["requestBody"] = {"required": True, "content": content}
    return told


def _responses(
    each: Operation, right: Right, shapes: _Shapes, *, free: bool
) -> dict[str, dict[str, Any]]:
    kinds = [*each.kinds]
    if right is not Right.ANYONE:
        kinds += [problems.WRONG_TOKEN, problems.TOO_MANY, problems.NO_ACCESS]
    if not free:
        kinds += [problems.NO_TOKEN]
    if right not in (Right.ANYONE, Right.READ):
        kinds += [problems.NO_RIGHT]
    found = {
        "200": {
            "description": "It is as follows." if each.method == "GET" else "It was done.",
            "content": {"application/json": {"schema": shapes.answered(each.answers)}},
        }
    }
    for status, told in _by_status(kinds):
        content = {MEDIA_TYPE: {"schema": shapes.answered(Problem)}}
        found[str(status)] = {"description": told, "content": content}
    return found


def _by_status(kinds: Iterable[Kind]) -> list[tuple[int, str]]:
    found: dict[int, list[str]] = {}
    for kind in dict.fromkeys(kinds):
        found.setdefault(kind.status, []).append(f"{kind.title} ({kind.name})")
    return [(status, "; or: ".join(told) + ".") for status, told in sorted(found.items())]


def _in_path(each: Operation) -> list[dict[str, Any]]:
    if each.parameter is None:
        return []
    schema = {"type": "integer", "minimum": 1, "maximum": GREATEST_NUMBER}
    return [{"name": each.parameter, "in": "path", "required": True, "schema": schema}]


def _in_query(each: Operation) -> list[dict[str, Any]]:
    if each.query is None:
        return []
    shape = each.query.model_json_schema()
    return [
        {
            "name": name,
            "in": "query",
            "required": name in shape.get("required", ()),
            "description": schema.get("description", ""),
            "schema": _of_parameter(schema),
        }
        for name, schema in shape["properties"].items()
    ]


def _of_parameter(schema: dict[str, Any]) -> dict[str, Any]:
    """A parameter's schema: one that may be left out is left out, and never null."""
    kept = {key: value for key, value in schema.items() if key not in ("title", "description")}
    others = [one for one in kept.pop("anyOf", ()) if one != {"type": "null"}]
    if others:
        kept |= others[0]
    if kept.get("default", 0) is None:
        del kept["default"]
    return kept
