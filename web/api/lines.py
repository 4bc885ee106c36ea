"""The document in lines, for people to read: each operation and each shape, field by field."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

METHODS = ("get", "post")


@dataclass(frozen=True, slots=True)
class FieldLine:
    """A field or parameter: its name, what it is, whether it may be left out, and its words."""

    name: str
    kind: str
    optional: bool
    about: str


@dataclass(frozen=True, slots=True)
class OperationLine:
    """An operation: `sent` and `answers` are names of shapes, `fails` its statuses with words."""

    name: str
    method: str
    path: str
    summary: str
    about: str
    parameters: tuple[FieldLine, ...]
    sent: str | None
    answers: str
    fails: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ShapeLine:
    """A shape with its fields; its words are paragraphs."""

    name: str
    about: tuple[str, ...]
    fields: tuple[FieldLine, ...]


def operations(document: Mapping[str, Any]) -> tuple[OperationLine, ...]:
    """All operations of a document."""
    return tuple(
        _operation(path, method, item[method])
        for path, item in document["paths"].items()
        for method in METHODS
        if method in item
    )


def shapes(document: Mapping[str, Any]) -> tuple[ShapeLine, ...]:
    """All shapes of a document, by name."""
    found = document["components"]["schemas"]
    return tuple(_shape(name, found[name]) for name in sorted(found))


def kind(schema: Mapping[str, Any]) -> str:
    """What a value of this schema is, in a few words."""
    if "$ref" in schema:
        return str(schema["$ref"]).rpartition("/")[2]
    if "anyOf" in schema:
        return " or ".join(dict.fromkeys(kind(each) for each in schema["anyOf"]))
    if "const" in schema:
        return f'"{schema["const"]}"'
    if "enum" in schema:
        return " or ".join(f'"{each}"' for each in schema["enum"])
    match schema.get("type"):
        case "array":
            return f"list of {kind(schema.get('items', {}))}"
        case "object":
            return f"object of {kind(schema.get('additionalProperties', {}))}"
        case "string" if schema.get("format") == "date-time":
            return "moment"
        case "string":
            return "text" + _bounds(schema, "minLength", "maxLength", " characters")
        case "number":
            return "number" + _bounds(schema, "minimum", "maximum", "")
        case "integer":
            return "whole number" + _bounds(schema, "minimum", "maximum", "")
        case "boolean":
            return "true or false"
        case "null":
            return "null"
    return "anything"


def _bounds(schema: Mapping[str, Any], least: str, most: str, unit: str) -> str:
    low, above, high = schema.get(least), schema.get("exclusiveMinimum"), schema.get(most)
    parts = []
    if low is not None:
        parts.append(f"from {low:,}".replace(",", " "))
    if above is not None:
        parts.append(f"above {above:g}")
    # The record's greatest number says nothing to a reader.
    if high is not None and high < 10**9:
        parts.append(f"up to {high:,}".replace(",", " "))
    return f", {' '.join(parts)}{unit}" if parts else ""


def _operation(path: str, method: str, told: Mapping[str, Any]) -> OperationLine:
    answers = dict(told["responses"])
    done = answers.pop("200")
    sent = told.get("requestBody")
    return OperationLine(
        name=told["operationId"],
        method=method.upper(),
        path=path,
        summary=told["summary"],
        about=told["description"],
        parameters=tuple(
            FieldLine(
                each["name"], kind(each["schema"]), not each["required"],
                each.get("description", ""),
            )
            for each in told.get("parameters", ())
        ),
        sent=None if sent is None else kind(sent["content"]["application/json"]["schema"]),
        answers=kind(done["content"]["application/json"]["schema"]),
        fails=tuple((status, each["description"]) for status, each in answers.items()),
    )  # fmt: skip


def _shape(name: str, schema: Mapping[str, Any]) -> ShapeLine:
    needed = schema.get("required", ())
    about = schema.get("description", "").split("\n\n")
    return ShapeLine(
        name=name,
        about=tuple(" ".join(each.split()) for each in about if each.strip()),
        fields=tuple(
            FieldLine(key, kind(each), key not in needed, each.get("description", ""))
            for key, each in schema.get("properties", {}).items()
        ),
    )
