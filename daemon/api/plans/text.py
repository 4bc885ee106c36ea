"""A plan's tables as the text of its file, and such a text as keys with what stands there."""

import json
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from daemon.api.plans.file import CapsTable, PlanFile, StageTable, UntilTable


def plan_text(tree: Mapping[str, Any]) -> str:
    """Write a plan's tables, in the order of `PlanFile`'s keys; keys that it does not have are out.

    What is read of it by `daemon.api.plans.file.read_plan` is what is read of `tree`.
    """
    lines = [*_lines(tree, PlanFile)]
    if caps := tree.get("caps"):
        lines += ["", "[caps]", *_lines(caps, CapsTable)]
    for stage in tree.get("stage", ()):
        lines += ["", "[[stage]]", *_lines(stage, StageTable)]
        if until := stage.get("until"):
            lines.append(f"until = {{ {', '.join(_lines(until, UntilTable))} }}")
    return "\n".join(lines) + "\n"


def _lines(
    table: Mapping[str, Any], model: type[PlanFile | CapsTable | StageTable | UntilTable]
) -> Iterator[str]:
    for key in model.model_fields:
        value = table.get(key)
        if value is not None and not isinstance(value, list | dict):
            # A JSON text is a basic string of TOML.
            yield f"{key} = {json.dumps(value, ensure_ascii=False)}"


def typed_of(text: str) -> dict[str, str]:
    """What stands in a plan's text, by the keys of its form: `stage[1].until.charge`.

    Raises tomllib.TOMLDecodeError.
    """
    return dict(_flat("", tomllib.loads(text.removeprefix("\ufeff"))))


def _flat(path: str, value: object) -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(f"{path}.{key}" if path else key, inner)
    elif isinstance(value, list):
        for number, inner in enumerate(value, 1):
            yield from _flat(f"{path}[{number}]", inner)
    else:
        yield path, str(value)
