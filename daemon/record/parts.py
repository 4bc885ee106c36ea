"""Parts that are plated, each with its area: only ever added to; the newest of a name holds."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, insert, select

from daemon.record.entries import PartKept
from daemon.record.errors import NoSuchPartError
from daemon.record.tables import part

_ALL_BUT_PICTURE = tuple(column for column in part.columns if column.name != "picture")


@dataclass(frozen=True, slots=True)
class Part:
    """A part as the record keeps it; supersedes: the one of its name that it takes the place of.

    Read in a list it comes without its picture, see `picture`.
    """

    id: int
    made: PartKept
    supersedes: int | None


def add(connection: Connection, made: PartKept) -> Part:
    """Keep a part, in place of the newest of its name if there is one."""
    before = connection.execute(
        select(part.c.id).where(part.c.name == made.name).order_by(part.c.id.desc()).limit(1)
    ).scalar_one_or_none()
    added = insert(part).values(
        name=made.name,
        utc_ms=made.utc_ms,
        who=made.who,
        made_from=made.made_from,
        area_dm2=made.area_dm2,
        u95_dm2=made.u95_dm2,
        volume_cm3=made.volume_cm3,
        settings=json.dumps(made.settings, allow_nan=False),
        picture=made.picture,
        sha256=made.sha256,
        supersedes_id=before,
    )
    number = int(connection.execute(added.returning(part.c.id)).scalar_one())
    return Part(number, made, before)


def newest(connection: Connection, name: str) -> Part:
    """The part of this name, as it was kept last.

    Raises NoSuchPartError, with the names that there are.
    """
    wanted = select(*_ALL_BUT_PICTURE).where(part.c.name == name)
    wanted = wanted.order_by(part.c.id.desc()).limit(1)
    row = connection.execute(wanted).mappings().one_or_none()
    if row is None:
        names = ", ".join(each.made.name for each in holding(connection)) or "none"
        raise NoSuchPartError(f"no part {name!r} is kept; kept: {names}")
    return _part(row)


def holding(connection: Connection) -> list[Part]:
    """The newest of each name, by name."""
    superseded = select(part.c.supersedes_id).where(part.c.supersedes_id.is_not(None))
    wanted = select(*_ALL_BUT_PICTURE).where(part.c.id.not_in(superseded)).order_by(part.c.name)
    return [_part(row) for row in connection.execute(wanted).mappings()]


def pictured(connection: Connection) -> frozenset[int]:
    """The numbers of the parts that have a picture."""
    return frozenset(
        connection.execute(select(part.c.id).where(part.c.picture.is_not(None))).scalars()
    )


def picture(connection: Connection, number: int) -> bytes | None:
    """A part's picture, a PNG file; None where it has none. Raises NoSuchPartError."""
    row = connection.execute(select(part.c.picture).where(part.c.id == number)).one_or_none()
    if row is None:
        raise NoSuchPartError(f"there is no part {number} in the record")
    found: bytes | None = row.picture
    return found


def _part(row: Mapping[Any, Any]) -> Part:
    made = PartKept(
        name=row["name"],
        utc_ms=row["utc_ms"],
        who=row["who"],
        made_from=row["made_from"],
        area_dm2=row["area_dm2"],
        u95_dm2=row["u95_dm2"],
        volume_cm3=row["volume_cm3"],
        settings=json.loads(row["settings"]),
        sha256=row["sha256"],
    )
    return Part(row["id"], made, row["supersedes_id"])
