"""The daemon's side of kept parts."""

import base64
from dataclasses import replace

from daemon.api.errors import InputError
from daemon.api.socket.parts import PartRequest
from daemon.clock import Clock, to_ms
from daemon.record.entries import Audited, PartKept
from daemon.record.parts import Part
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
