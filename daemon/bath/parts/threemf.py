"""A look at a 3MF file before anything reads it: what it unpacks to, and that it is harmless.

A 3MF file is a ZIP archive (ECMA-376 part 2) of XML. Sizes are the archive's own words, beyond
which nothing is unpacked. Document types are forbidden there (ECMA-376 part 2, from memory, not
checked), and with them entities that grow or reach out. Objects may be made of objects; how many
triangles that comes to is counted first.
"""

import io
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from xml.parsers import expat

from daemon.bath.errors import PartError

MOST_UNPACKED_BYTES = 64 * 2**20
MOST_ENTRIES = 1000
_ROOT_MODEL = "3d/3dmodel.model"
_CHUNK_BYTES = 2**20


@dataclass(slots=True)
class _Object:
    triangles: int = 0
    components: list[tuple[str, str]] = field(default_factory=list)


def triangles_in(data: bytes) -> int:
    """How many triangles the file's build comes to. Raises PartError for what is not to be read."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _triangles(archive)
    except (PartError, MemoryError):
        raise
    except Exception as error:  # whatever a damaged archive makes it raise
        raise PartError(f"not a 3MF file: {error}") from error


def _triangles(archive: zipfile.ZipFile) -> int:
    entries = archive.infolist()
    unpacked = sum(entry.file_size for entry in entries)
    if unpacked > MOST_UNPACKED_BYTES or len(entries) > MOST_ENTRIES:
        raise PartError(
            f"unpacks to {unpacked / 2**20:.0f} MB in {len(entries)} files, at most "
            f"{MOST_UNPACKED_BYTES / 2**20:.0f} MB in {MOST_ENTRIES} are taken"
        )
    objects: dict[tuple[str, str], _Object] = {}
    build: list[tuple[str, str]] = []
    roots = [entry for entry in entries if _ROOT_MODEL in entry.filename.lower()]
    if not roots:
        raise PartError("not a 3MF file: there is no 3D/3dmodel.model in it")
    for entry in entries:
        if entry.filename.lower().endswith((".model", ".rels", ".xml")):
            looked_at = _Model(entry.filename, objects, build if entry is roots[0] else [])
            with archive.open(entry) as stream:
                while chunk := stream.read(_CHUNK_BYTES):
                    looked_at.feed(chunk)
            looked_at.feed(b"", last=True)
    counted: dict[tuple[str, str], int] = {}
    return sum(_counted(name, objects, counted, ()) for name in build)


def _counted(
    name: tuple[str, str],
    objects: Mapping[tuple[str, str], _Object],
    counted: dict[tuple[str, str], int],
    within: tuple[tuple[str, str], ...],
) -> int:
    """The triangles of an object and of all that it is made of."""
    if name in within:
        raise PartError(f"object {name[1]} is made of itself")
    if name not in counted:
        this = objects.get(name, _Object())
        inside = (*within, name)
        counted[name] = this.triangles + sum(
            _counted(each, objects, counted, inside) for each in this.components
        )
    return counted[name]


class _Model:
    """Reads one XML file of the archive as it comes, into `objects` and `build`."""

    def __init__(
        self,
        path: str,
        objects: dict[tuple[str, str], _Object],
        build: list[tuple[str, str]],
    ) -> None:
        self._path = path
        self._objects = objects
        self._build = build
        self._object = _Object()
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.StartDoctypeDeclHandler = self._document_type
        self._parser.StartElementHandler = self._element

    def feed(self, chunk: bytes, *, last: bool = False) -> None:
        try:
            self._parser.Parse(chunk, last)
        except expat.ExpatError as error:
            raise PartError(f"{self._path}: not XML: {error}") from error

    def _document_type(self, *_: object) -> None:
        raise PartError(f"{self._path}: has a document type, which a 3MF file must not have")

    def _element(self, tag: str, attributes: dict[str, str]) -> None:
        match tag.rpartition(" ")[2]:
            case "triangle":
                self._object.triangles += 1
            case "object":
                self._object = _Object()
                self._objects[self._path.lower(), attributes.get("id", "")] = self._object
            case "component":
                elsewhere = [v for name, v in attributes.items() if name.endswith("path")]
                path = elsewhere[0].strip("/") if elsewhere else self._path
                self._object.components.append((path.lower(), attributes.get("objectid", "")))
            case "item":
                self._build.append((self._path.lower(), attributes.get("objectid", "")))
