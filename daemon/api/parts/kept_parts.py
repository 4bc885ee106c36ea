"""Kept parts: what is sent to be kept, what is read again, and how they are listed."""

import base64
from collections.abc import Mapping, Sequence
from datetime import tzinfo
from typing import Any

from daemon.api.bath import bath_words
from daemon.api.errors import InputError
from daemon.api.parts.report import sure
from daemon.api.parts.texts import part_text
from daemon.api.parts.worked_out import KeptArea, Worked
from daemon.api.report import Report, Row
from daemon.api.socket.parts import PartRequest
from daemon.bath.parts.asked import KINDS
from daemon.bath.parts.surface import CONFIDENCE
from daemon.record.parts import Part

LONGEST_NAME = 100
_LONGEST = 500


def request(
    worked: Worked, tree: Mapping[str, Any], name: str, who: str, where: str
) -> PartRequest:
    """What the daemon is asked to keep; `tree` is the form as it was written.

    A picture and a check sum go along where one mesh was measured. Raises InputError for a name
    that cannot be.
    """
    _check_name(name)
    area = worked.area
    meshes = [item for item in worked.items if item.found is not None]
    volumes = [
        item.volume_cm3 * item.copies for item in worked.items if item.volume_cm3 is not None
    ]
    files = {item.text.what: item.sha256 for item in meshes}
    said = {key: list(value) if isinstance(value, tuple) else value for key, value in tree.items()}
    found = meshes[0].found if meshes else None
    return PartRequest(
        who=who,
        where=where,
        name=name,
        made_from=", ".join(worked.form.parts)[:_LONGEST],
        area_dm2=area.value,
        u95_dm2=area.expanded(CONFIDENCE),
        volume_cm3=sum(volumes) if len(volumes) == len(worked.items) else None,
        settings={**said, "files": files} if files else said,
        picture=None if found is None else base64.b64encode(found.picture).decode(),
        sha256=meshes[0].sha256 if len(meshes) == 1 else None,
    )


def _check_name(name: str) -> None:
    """Refuse a name by which the part could not be called again."""
    if not name.strip():
        raise InputError("name", ("has to be said",))
    said = part_text(name)
    if name != " ".join(name.split()) or not name.isprintable() or len(name) > LONGEST_NAME:
        problem = f"must be one line of at most {LONGEST_NAME} characters without outer spaces"
    elif said.is_shape or said.what != name:
        problem = "must not begin with the name of a shape, nor with a number of copies"
    elif name.lower().endswith(tuple(f".{kind}" for kind in KINDS)):
        problem = "must not end as a mesh file does"
    else:
        return
    raise InputError("name", (f"{problem}, got {name!r}",))


def area_of(part: Part) -> KeptArea:
    """A part's area for others to reckon with."""
    made = part.made
    return KeptArea(part.id, made.area_dm2, made.u95_dm2, made.volume_cm3)


def listing(parts: Sequence[Part], zone: tzinfo | None = None) -> Report:
    """Each part that holds, by name."""
    return Report(tuple(Row(part.made.name, _line(part, zone)) for part in parts))


def _line(part: Part, zone: tzinfo | None) -> str:
    made = part.made
    volume = "" if made.volume_cm3 is None else f", {made.volume_cm3:.4g} cm³"
    before = "" if part.supersedes is None else f", in place of {part.supersedes}"
    return (
        f"{sure(area_of(part).budget(1))}{volume}; {made.made_from}; part {part.id}{before}, "
        f"{bath_words.stamp(made.utc_ms, zone)}, by {made.who}"
    )
