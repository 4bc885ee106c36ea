"""The fields of a part on its page: those of `tankhand part`, by the same keys."""

from typing import Any

from daemon.api.parts.texts import part_text
from web.forms import Field, Form, Group

MESH = "mesh"
"""The file that is uploaded: the one field that is no text."""

MOST_TEXTS = 4

_UNITS = ("mm, or its own", "mm", "cm", "m", "µm", "in", "ft")
_UP = ("z", "-z", "y", "-y", "x", "-x")
_INNER = ("not said", "include", "leave-out")

WHAT = Group(
    "What is plated",
    (
        Field(MESH, "Mesh file: STL, OBJ, PLY or 3MF"),
        Field("parts[1]", "A shape, or a kept part", example="box 60 x 40 x 20 mm"),
        Field("copies", "How many", example="1"),
        Field("current-density", "Current density", example="2 A/dm²"),
    ),
)
READ = Group(
    "How the mesh is read and hangs",
    (
        Field("unit", "Its unit", options=_UNITS),
        Field("scale", "Printed at", example="100 %"),
        Field("up", "Upward is", options=_UP),
        Field("liquid", "Liquid above its lowest point", example="all of it"),
        Field("liquid-limit", "That within", example="2 mm"),
    ),
    folded=True,
    columns=2,
)
PLATED = Group(
    "What of it is plated, and how sure that is",
    (
        Field("inner", "Inner walls", options=_INNER),
        Field("masked", "Masked", example="0 %"),
        Field("layers", "Layers change it by", example="3 %"),
        Field("dimension-limit", "A shape's dimensions within", example="0.2 mm"),
        Field("uncertainty", "Your own ± besides", example="0 %"),
    ),
    folded=True,
    columns=2,
)
RACK = Group(
    "What hangs on the rack with it",
    tuple(
        Field(f"parts[{place}]", "Shape or kept part", example="4 x rod 3 x 120 mm")
        for place in range(2, MOST_TEXTS + 1)
    ),
    folded=True,
)
GROUPS = (WHAT, READ, PLATED, RACK)

KEEP = Group(
    "Keep it",
    (Field("name", "By this name", example="lamp foot"), Field("who", "You are", example="name")),
    columns=2,
)


def tree(form: Form, mesh: str | None) -> dict[str, Any]:
    """What was typed, as `daemon.api.parts.form` reads it; `mesh` is the name of the mesh file."""
    said = form.tree()
    for field in (each for each in form.fields if each.options and each.key != "up"):
        if said.get(field.key) == field.options[0]:
            del said[field.key]
    texts = said.pop("parts", [])
    said["parts"] = texts if mesh is None else [mesh, *texts]
    return said


def field_of(form: Form, where: str, mesh: str | None) -> str | None:
    """The key of the field that an error is about, which names a part by its text."""
    if where == mesh:
        return MESH
    for key, text in form.filled.items():
        if key.startswith("parts[") and where in (text, part_text(text).what):
            return key
    return None
