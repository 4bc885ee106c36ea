"""Forms of figures with their units: what was typed stays, what cannot be used is told beside it.

A field's key is that of the file and of its errors, lists counted from 1: `additive[2].make_up`.
Forms that only ask send their fields in the address, so that a page can be kept and loaded again.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from daemon.api.errors import InputError
from web.typography import capital

LONGEST = 80
"""Characters of a field that are taken; no quantity is longer."""

_PART = re.compile(r"([a-z_-]+)(?:\[([0-9]+)\])?")
_NO_ID = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True, slots=True)
class Field:
    """Something to fill in: its label, what stands in it at first, an example where nothing does.

    options: the words that may be chosen from; typed is any text without. longest: characters of it
    that are taken.
    """

    key: str
    label: str
    value: str = ""
    example: str = ""
    options: tuple[str, ...] = ()
    longest: int = LONGEST

    @property
    def id(self) -> str:
        """How the field is addressed in its page."""
        return f"f-{_NO_ID.sub('-', self.key).strip('-')}"


@dataclass(frozen=True, slots=True)
class Group:
    """Fields under a heading; a folded one is open where something was typed or is wrong.

    columns: how many fields a row of it has on any screen; 0 is as many as there is room for.
    """

    title: str
    fields: tuple[Field, ...]
    folded: bool = False
    columns: int = 0


@dataclass(frozen=True, slots=True)
class Form:
    """Groups of fields with what was typed into them.

    asked: whether it was sent, and not just opened. problems: by key what is wrong; unplaced: what
    is wrong of no one field.
    """

    groups: tuple[Group, ...]
    typed: Mapping[str, str]
    asked: bool
    problems: Mapping[str, str] = field(default_factory=dict)
    unplaced: tuple[str, ...] = ()

    @property
    def fields(self) -> tuple[Field, ...]:
        """Every field, in the order in which the page has them."""
        return tuple(each for group in self.groups for each in group.fields)

    @property
    def wrong(self) -> tuple[tuple[Field, str], ...]:
        """The fields with something wrong, each with what."""
        return tuple((f, self.problems[f.key]) for f in self.fields if f.key in self.problems)

    @property
    def is_wrong(self) -> bool:
        """Whether anything is: in a field that the page has, or of no one field."""
        return bool(self.wrong or self.unplaced)

    @property
    def filled(self) -> dict[str, str]:
        """What was typed, without what was left empty.

        Of a list's entry in which nothing stands but the name that stood there at first, nothing
        was meant.
        """
        told = {key: text for key, text in self.typed.items() if text}
        first = {each.key: each.value for each in self.fields}
        return {key: text for key, text in told.items() if not _is_bare(key, text, told, first)}

    def text(self, key: str) -> str:
        """What stands in a field."""
        return self.typed.get(key, "")

    def is_open(self, group: Group) -> bool:
        """Whether a group shows its fields."""
        return not group.folded or any(
            each.key in self.problems
            or self.text(each.key) != (each.options[0] if each.options else "")
            for each in group.fields
        )

    def refused(self, error: InputError, near: Mapping[str, str] | None = None) -> "Form":
        """The form with what is wrong with it, each beside its field.

        near: for a key that is no field's own, such as that of a table, the field to tell it at.
        """
        places, keys = _compact(self.filled)[1], [each.key for each in self.fields]
        beside: dict[str, str] = {}
        unplaced = list(self.unplaced)
        told_at = f"{error.where}: " if error.where in keys or error.where in (near or {}) else ""
        for problem in (f"{told_at}{each}" for each in error.problems):
            key, said = _placed(problem, keys, places, near or {})
            if key is None:
                unplaced.append(said)
            else:
                beside.setdefault(key, said)
        return replace(self, problems={**beside, **self.problems}, unplaced=tuple(unplaced))

    def tree(self) -> dict[str, Any]:
        """What was typed, as the tables and lists of a file."""
        tree: dict[str, Any] = {}
        for key, text in _compact(self.filled)[0].items():
            *tables, last = _PART.findall(key)
            at = tree
            for name, place in tables:
                at = _list_entry(at, name, int(place)) if place else at.setdefault(name, {})
            if last[1]:
                at.setdefault(last[0], []).append(text)
            else:
                at[last[0]] = text
        return tree


def filled(groups: Iterable[Group], sent: Mapping[str, str]) -> Form:
    """The form with what was sent of it; just opened, where nothing was, with its first values."""
    groups = tuple(groups)
    fields = [each for group in groups for each in group.fields]
    asked = any(each.key in sent for each in fields)
    typed = {}
    for each in fields:
        text = sent.get(each.key, "") if asked else each.value
        text = text.strip()[: each.longest]
        typed[each.key] = text if not each.options or text in each.options else each.options[0]
    return Form(groups, typed, asked)


def _is_bare(key: str, text: str, told: Mapping[str, str], first: Mapping[str, str]) -> bool:
    entry, _, name = key.rpartition(".")
    if name != "name" or not entry.endswith("]") or text != first.get(key):
        return False
    return sum(other.startswith(f"{entry}.") for other in told) == 1


def _list_entry(table: dict[str, Any], name: str, place: int) -> dict[str, Any]:
    entries: list[dict[str, Any]] = table.setdefault(name, [])
    if place > len(entries):
        entries.append({})
    return entries[place - 1]


def _compact(typed: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """The same without gaps in its lists; and by each list entry's new place its old one."""
    old_of: dict[str, str] = {}
    new_of: dict[str, str] = {}
    counts: dict[str, int] = {}
    compact = {}
    for key, text in typed.items():
        found = re.match(r"([a-z_-]+)\[[0-9]+\]", key)
        if found is None:
            compact[key] = text
            continue
        old, name = found[0], found[1]
        if old not in new_of:
            counts[name] = counts.get(name, 0) + 1
            new_of[old] = f"{name}[{counts[name]}]"
            old_of[new_of[old]] = old
        compact[new_of[old] + key.removeprefix(old)] = text
    return compact, old_of


def _placed(
    problem: str, keys: list[str], places: Mapping[str, str], near: Mapping[str, str]
) -> tuple[str | None, str]:
    """The field that a problem is about, None for none, and the problem without its key."""
    found = re.match(r"([a-z_-]+(?:\[[0-9]+\])?)((?:\.[a-z_-]+)*)(?=:| is )", problem)
    if found is None:
        return None, _sentence(problem)
    key, said = places.get(found[1], found[1]) + found[2], problem.removeprefix(found[0])
    beside = [each for each in keys if each == key or each.startswith((f"{key}.", f"{key}["))]
    if key in keys:
        return key, _sentence(said)
    if key in near:
        return near[key], _sentence(said)
    return (beside[0], _sentence(said)) if beside else (None, _sentence(problem))


def _sentence(said: str) -> str:
    said = said.removeprefix(":").strip()
    return capital(said.removeprefix("is ")).rstrip(".") + "."
