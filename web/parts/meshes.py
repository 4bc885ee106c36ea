"""The mesh that was uploaded last, until the next one comes, and what was measured of it.

A page works a form out several times: an answer may have to be given first. So the file has to be
uploaded once only. It has no name in any folder, and is gone with the process.
"""

import hashlib
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO
from weakref import finalize

from werkzeug.datastructures import FileStorage

from daemon.api.parts.worked_out import MeshFile
from daemon.bath.errors import PartError
from daemon.bath.parts import apart
from daemon.bath.parts.asked import Asked, Found, Question
from web.language import gettext as _

LONGEST_NAME = 80
_MOST_MEASURED = 8


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Held:
    """An uploaded file: the SHA-256 that its forms name it by, and the name it had.

    The file is closed once nobody holds it.
    """

    sha256: str
    name: str
    file: IO[bytes]


class Meshes:
    """Holds the newest upload and its pictures. Safe to share between threads."""

    def __init__(
        self, measure: Callable[[bytes, Asked], Found | Question] = apart.measured
    ) -> None:
        self._measure = measure
        self._lock = threading.Lock()
        self._measuring = threading.Lock()
        self._held: Held | None = None
        self._known: dict[tuple[str, Asked], Found | Question] = {}

    def take(self, upload: FileStorage) -> Held:
        """Hold an upload in place of the one before. Raises PartError for what is no mesh file."""
        name = _name(upload.filename or "")
        apart.kind_of(Path(name))
        file = TemporaryFile()  # noqa: SIM115 - it is held beyond this call
        upload.save(file)
        file.seek(0)
        held = Held(hashlib.file_digest(file, "sha256").hexdigest(), name, file)
        finalize(held, file.close)
        with self._lock:
            before, self._held = self._held, held
            if before is None or before.sha256 != held.sha256:
                self._known.clear()
        return held

    def held(self, sha256: str) -> Held | None:
        """Give the upload of this SHA-256; None once another one has come."""
        with self._lock:
            return self._held if self._held and self._held.sha256 == sha256 else None

    def source(self, held: Held) -> MeshFile:
        """The upload as a part's mesh file."""
        return MeshFile(held.name, there=True, read=lambda: self._read(held))

    def measured(self, data: bytes, asked: Asked) -> Found | Question:
        """Measure a mesh, once for each question, and one at a time. Raises PartError."""
        key = hashlib.sha256(data).hexdigest(), asked
        with self._lock:
            if key in self._known:
                return self._known[key]
        if not self._measuring.acquire(blocking=False):
            raise PartError(_("another mesh is being measured: try again in a moment"))
        try:
            found = self._measure(data, asked)
        finally:
            self._measuring.release()
        with self._lock:
            if len(self._known) == _MOST_MEASURED:
                self._known.pop(next(iter(self._known)))
            self._known[key] = found
        return found

    def picture(self, sha256: str) -> bytes | None:
        """The picture of a mesh as it was measured last; None where it is not held any more."""
        with self._lock:
            pictures = [
                found.picture
                for (of, _), found in self._known.items()
                if of == sha256 and isinstance(found, Found)
            ]
        return pictures[-1] if pictures else None

    def _read(self, held: Held) -> bytes:
        with self._lock:
            held.file.seek(0)
            return held.file.read()


def _name(text: str) -> str:
    """The name that a browser tells, without its folders and what is not to be printed."""
    last = text.replace("\\", "/").rpartition("/")[2]
    shown = "".join(each for each in last if each.isprintable()).strip()
    stem, dot, kind = shown.rpartition(".")
    return f"{stem[:LONGEST_NAME]}{dot}{kind}"
