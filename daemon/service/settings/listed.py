"""Settings written out for people: each with its key in the file, its value and its unit."""

from collections.abc import Iterator
from datetime import time
from typing import Any, get_args

from pydantic import BaseModel, SecretStr
from pydantic.fields import FieldInfo

from daemon.api.prices import Price
from daemon.api.quantities import Quantity
from daemon.api.socket.settings import SettingSeen, SettingsTable
from daemon.service.settings.file import Settings

HIDDEN = "given, and not shown"

_TIMES = ((86_400, "d"), (3_600, "h"), (60, "min"))


def listed(settings: Settings) -> tuple[tuple[SettingsTable, ...], tuple[str, ...]]:
    """All tables in the file's order, and the heads of those that are not there.

    Tables within a table are told in it, by keys with dots; each of an array has a table of its
    own. Addresses of messages are secret, and so is nothing else that the file may hold.
    """
    tables: list[SettingsTable] = []
    absent: list[str] = []
    for key, field in Settings.model_fields.items():
        value = getattr(settings, key)
        if key == "thresholds":
            tables.append(_thresholds(settings))
        elif isinstance(value, BaseModel):
            tables.extend(_tables(key, value))
        elif isinstance(value, tuple) and value:
            tables.extend(table for each in value for table in _tables(key, each, array=True))
        elif isinstance(value, dict) and value:
            tables.append(SettingsTable(head=f"[{key}]", rows=tuple(_within(value))))
        elif key != "simulation":  # which is the demo's business
            absent.append(f"[[{key}]]" if isinstance(field.default, tuple) else f"[{key}]")
    return tuple(tables), tuple(absent)


def _tables(key: str, model: BaseModel, *, array: bool = False) -> Iterator[SettingsTable]:
    """The model's own table, then those of the arrays in it."""
    yield SettingsTable(
        head=f"[[{key}]]" if array else f"[{key}]",
        name=str(getattr(model, "name", "")) if array else "",
        rows=tuple(_rows(model)),
        unset=tuple(_unset(model)),
    )
    for name, value in model:
        if isinstance(value, tuple):
            for each in value:
                if isinstance(each, BaseModel):
                    yield from _tables(f"{key}.{name}", each, array=True)


def _rows(model: BaseModel, before: str = "") -> Iterator[SettingSeen]:
    """What the model says, each setting by itself."""
    for key, name, field in _fields(model, before):
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            yield from _rows(value, f"{key}.")
        elif isinstance(value, dict):
            yield from _within(value, f"{key}.")
        elif not _is_unset(value, field) and not _holds_tables(field):
            given = name in model.model_fields_set
            about = field.description or ""
            yield SettingSeen(key=key, value=_told(value, field), given=given, about=about)


def _unset(model: BaseModel, before: str = "") -> Iterator[str]:
    """The keys of what the model could say and does not."""
    for key, name, field in _fields(model, before):
        value = getattr(model, name)
        if isinstance(value, BaseModel):
            yield from _unset(value, f"{key}.")
        elif _is_unset(value, field):
            yield key


def _fields(model: BaseModel, before: str) -> Iterator[tuple[str, str, FieldInfo]]:
    """Each field: its key in the file, its name in the model, itself."""
    for name, field in type(model).model_fields.items():
        yield before + (field.alias or name), name, field


def _is_unset(value: object, field: FieldInfo) -> bool:
    return value is None or value == {} or (value == () and _holds_tables(field))


def _within(values: dict[str, Any], before: str = "") -> Iterator[SettingSeen]:
    """What stands by names of somebody's own, such as a price for each additive."""
    for name, value in values.items():
        key = before + _quoted(name)
        if isinstance(value, BaseModel):
            yield from _rows(value, f"{key}.")
        else:
            yield SettingSeen(key=key, value=_told(value, None), given=True)


def _thresholds(settings: Settings) -> SettingsTable:
    rows = tuple(
        SettingSeen(
            key=each.key,
            value=f"{each.value:.10g} {each.unit}".rstrip(),
            given=each.key in settings.thresholds,
        )
        for each in settings.chosen_thresholds().listed()
    )
    return SettingsTable(head="[thresholds]", rows=rows)


def _holds_tables(field: FieldInfo) -> bool:
    """Whether it is an array of tables, which are told by themselves."""
    inner = get_args(field.annotation)
    return any(isinstance(of, type) and issubclass(of, BaseModel) for of in inner)


def _told(value: object, field: FieldInfo | None) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case float():
            return _with_unit(value, None if field is None else _unit(field))
        case SecretStr():
            return HIDDEN
        case Price():
            return f"{value.amount:.10g} {value.currency}/{value.unit}"
        case time():
            return f"{value:%H:%M}"
        case tuple():
            return ", ".join(map(str, value)) or "none"
        case _:
            return str(value)


def _unit(field: FieldInfo) -> str | None:
    """The unit of the field's float; None for a plain number."""
    wanted = [*field.metadata, *_metadata(field.annotation)]
    return next((each.unit for each in wanted if isinstance(each, Quantity)), None)


def _metadata(annotation: Any) -> Iterator[object]:
    """What is annotated anywhere in a type such as `CurrentA | None`."""
    yield from getattr(annotation, "__metadata__", ())
    for inner in get_args(annotation):
        yield from _metadata(inner)


def _with_unit(value: float, unit: str | None) -> str:
    if unit is None:
        return f"{value:.10g}"
    if unit == "":
        return f"{100 * value:.10g} %"
    return _time(value) if unit == "s" else f"{value:.10g} {unit}"


def _time(value_s: float) -> str:
    """A time in the unit in which somebody would have written it."""
    if 0 < value_s < 1:
        return f"{1000 * value_s:.10g} ms"
    for seconds, unit in _TIMES:
        if value_s >= seconds and value_s % seconds == 0:
            return f"{value_s / seconds:.10g} {unit}"
    return f"{value_s:.10g} s"


def _quoted(name: str) -> str:
    """A name as TOML has it for a key."""
    bare = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if bare else f'"{name}"'
