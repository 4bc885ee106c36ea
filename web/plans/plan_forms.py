"""The form of a plan: a field for each key of its file, and stages that come, go and move."""

import re
from collections.abc import Mapping, Sequence

from daemon.api.plans.kept import LONGEST_NAME
from web.forms import Field, Form, Group
from web.language import gettext as _
from web.language import marked

MOST_STAGES = 24
"""Stages of a plan that is written here; a file written by hand may have more."""

LONGEST_LINE = 100
"""Characters of a title and of a stage's name, as the plan's file takes them."""

_STAGE = re.compile(r"stage\[([0-9]{1,3})\]\.")
_CURRENT = re.compile(r"(stage\[[0-9]{1,3}\]\.current)(?=:)")
_DO = re.compile(r"(add|earlier|later|remove)(?:-([0-9]{1,3}))?")

NEAR = {
    "caps": "caps.charge",
    "stage": "stage[1].name",
    **{f"stage[{n}]": f"stage[{n}].current" for n in range(1, MOST_STAGES + 1)},
    **{f"stage[{n}].until": f"stage[{n}].until.duration" for n in range(1, MOST_STAGES + 1)},
}
"""Where what is wrong with a whole table is told."""

KEEP = Group(
    marked("Keep it"),
    (
        Field(
            "name", marked("By this name"), example=marked("from its title"), longest=LONGEST_NAME
        ),
        Field("who", marked("You are"), example="name"),
    ),
    columns=2,
)

LIMITS = Group(
    marked("What the whole run never passes"),
    (
        Field("caps.charge", marked("Charge"), example="4.5 Ah"),
        Field("caps.duration", marked("Time"), example="9 h"),
        Field("voltage_ceiling", marked("Voltage, where a stage says none"), example="4 V"),
    ),
)
SURE = Group(
    marked("How sure, and what it is made of"),
    (
        Field("confidence", marked("Target reached with"), example=marked("the best estimate")),
        Field("area_uncertainty", marked("Area within ±"), example="5 %"),
        Field("efficiency", marked("Cathode efficiency"), example=marked("as weighed, or 100 %")),
        Field("efficiency_uncertainty", marked("That within ±"), example="1 %"),
        Field("metal", marked("Metal and valence"), example="Cu(II)"),
        Field("density", marked("Density of the deposit"), example=marked("the metal's")),
    ),
    folded=True,
    columns=2,
)


def groups(stages: int, parts: Sequence[str]) -> tuple[Group, ...]:
    """The form of a plan with so many stages; `parts` are the names of those that are kept."""
    what = Group(
        marked("What is plated"),
        (
            Field(
                "title", marked("Title"), example=marked("Lamp foot, 25 µm"), longest=LONGEST_LINE
            ),
            Field("target", marked("Target thickness, the mean"), example="25 µm"),
            Field("area", marked("Area of all parts together"), example="1.8 dm²"),
            Field("part", marked("Or the area of a kept part"), options=("", *parts)),
            Field("copies", marked("So many of that part"), example="1"),
        ),
        columns=2,
    )
    return (what, *(_stage(number) for number in range(1, stages + 1)), LIMITS, SURE)


def _stage(number: int) -> Group:
    key = f"stage[{number}]"
    return Group(
        _("Stage %(number)s", number=number),
        (
            Field(
                f"{key}.name",
                marked("Name"),
                example=marked("strike over paint"),
                longest=LONGEST_LINE,
            ),
            Field(f"{key}.current", marked("Current, all parts"), example="0.54 A"),
            Field(f"{key}.current_density", marked("Or current density"), example="0.3 A/dm²"),
            Field(f"{key}.ramp", marked("Ramp up in"), example=marked("at once")),
            Field(
                f"{key}.voltage_ceiling", marked("Voltage ceiling"), example=marked("the plan's")
            ),
            Field(f"{key}.until.duration", marked("Ends after"), example="40 min"),
            Field(f"{key}.until.charge", marked("Or a charge of its own"), example="0.5 Ah"),
            Field(f"{key}.until.thickness", marked("Or a thickness in all"), example="2 µm"),
            Field(
                f"{key}.until.cell_voltage_below", marked("Or cell voltage below"), example="0.5 V"
            ),
        ),
        columns=2,
    )


def stages_of(form: Form) -> tuple[Group, ...]:
    """The stages' groups of a form that `groups` made."""
    return form.groups[1:-2]


def stages_in(sent: Mapping[str, str]) -> int:
    """How many stages were sent, 1 at least and as many as the form has at most."""
    found = [int(match[1]) for key in sent if (match := _STAGE.match(key))]
    return min(MOST_STAGES, max([1, *found]))


def at_its_field(problem: str, typed: Mapping[str, str]) -> str:
    """A problem of a stage's current, at its current density where that is what was typed."""
    found = _CURRENT.match(problem)
    if found is None or found[1] in typed or f"{found[1]}_density" not in typed:
        return problem
    return f"{found[1]}_density{problem[found.end(1) :]}"


def rearranged(sent: Mapping[str, str], do: str) -> dict[str, str]:
    """What was sent after a press on "add", "remove-2", "earlier-2" or "later-2"; else as it was.

    Whatever was typed goes with its stage, and only a removed stage's is gone.
    """
    typed, pressed = dict(sent), _DO.fullmatch(do)
    count = stages_in(sent)
    order = list(range(1, count + 1))
    if pressed is None:
        return typed
    act, number = pressed[1], int(pressed[2] or 0)
    if act == "add" and count < MOST_STAGES:
        return {**typed, f"stage[{count + 1}].name": ""}
    if number not in order:
        return typed
    if act == "remove" and count > 1:
        order.remove(number)
    other = number + {"earlier": -1, "later": 1}.get(act, 0)
    if act in ("earlier", "later") and other in order:
        order[number - 1], order[other - 1] = other, number
    new = {old: place for place, old in enumerate(order, 1)}
    moved = {}
    for key, text in typed.items():
        found = _STAGE.match(key)
        if found is None:
            moved[key] = text
        elif (place := new.get(int(found[1]))) is not None:
            moved[f"stage[{place}].{key[found.end() :]}"] = text
    return moved
