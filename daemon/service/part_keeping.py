"""The daemon's side of kept parts: what persons keep, and what plans leave to it."""

import base64
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from daemon.api.errors import InputError
from daemon.api.part_messages import PartRequest
from daemon.api.plan_known import Known, Sure
from daemon.clock import Clock, to_ms
from daemon.record import parts
from daemon.record.entries import Audited, PartKept
from daemon.record.parts import Part
from daemon.record.store import open_reader
from daemon.record.writer import Writer

_PNG = b"\x89PNG\r\n\x1a\n"


class PartKeeper:
    """Keeps parts, in any thread; `writer` brings them to the disk."""

    def __init__(self, writer: Writer, clock: Clock) -> None:
        self._writer = writer
        self._clock = clock

    def keep(self, request: PartRequest) -> Part:
        """Keep the part, with who asked for it.

        Waits for the disk. Raises InputError when nothing was kept, with the reason;
        sqlalchemy.exc.DatabaseError when the disk refuses.
        """
        utc_ms = to_ms(self._clock.utc())
        asked = Audited(utc_ms, request.who, request.where, "keep a part", request.name)
        try:
            picture = _picture(request.picture)
        except InputError as error:
            self._writer.keep_audit(replace(asked, refused=str(error)))
            raise
        made = PartKept(
            name=request.name,
            utc_ms=utc_ms,
            who=request.who,
            made_from=request.made_from,
            area_dm2=request.area_dm2,
            u95_dm2=request.u95_dm2,
            volume_cm3=request.volume_cm3,
            settings=dict(request.settings),
            picture=picture,
            sha256=request.sha256,
        )
        return self._writer.keep_part(made, asked)


def _picture(text: str | None) -> bytes | None:
    if text is None:
        return None
    try:
        data = base64.b64decode(text, validate=True)
    except ValueError as error:
        raise InputError("picture", (f"must be a PNG file in Base64: {error}",)) from error
    if not data.startswith(_PNG):
        raise InputError("picture", ("must be a PNG file in Base64",))
    return data


KnownTo = Callable[[Callable[[str], None]], Known]
"""What plans may leave to the daemon; whoever asks says how they are told what was taken."""


def known_by(path: Path, stack: ExitStack) -> KnownTo:
    """What the record at `path` knows by now, for any thread; `stack` closes it."""
    engine = open_reader(path)
    stack.callback(engine.dispose)

    def known(tell: Callable[[str], None]) -> Known:
        def area(name: str, copies: int) -> Sure:
            with engine.connect() as connection:
                kept = parts.newest(connection, name)
            area_dm2 = copies * kept.made.area_dm2
            which = f"{name!r}" if copies == 1 else f"{copies} of {name!r}"
            tell(f"area {area_dm2:.4g} dm² by {which}, kept as part {kept.id}")
            return Sure(area_dm2, min(1.0, kept.made.u95_dm2 / kept.made.area_dm2))

        return Known(area)

    return known
