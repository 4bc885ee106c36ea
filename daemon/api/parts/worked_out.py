"""Parts worked out: the area of all that a form names, or what has to be said first."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from daemon.api.errors import InputError
from daemon.api.parts.form import PartForm
from daemon.api.parts.texts import PartText, part_text, read_shape
from daemon.api.unanswered import UnansweredError
from daemon.bath.errors import PartError
from daemon.bath.parts import apart
from daemon.bath.parts.asked import Asked, Found, Question
from daemon.bath.parts.meshed import surface_of
from daemon.bath.parts.surface import CONFIDENCE, Surface, plated, rack, undecided
from daemon.chemistry.uncertainty import Budget, Share, coverage_factor

KEPT = "kept part"
"""The doubt of a part that was kept, all its causes together."""


@dataclass(frozen=True, slots=True)
class KeptArea:
    """The area of a kept part, dm², within ± u95_dm2 with 95 %, and its number."""

    number: int
    area_dm2: float
    u95_dm2: float
    volume_cm3: float | None = None

    def budget(self, copies: int) -> Budget:
        """The area of so many of it: they err alike."""
        u = self.u95_dm2 / coverage_factor(CONFIDENCE)
        return Budget(self.area_dm2, (Share(KEPT, u),) if u else ()).times(copies)


@dataclass(frozen=True, slots=True)
class Item:
    """One of the form's parts: its text, how many there are, and what was found out about it.

    surface: of a shape or a mesh; found and sha256: of a mesh; kept: of a kept part. plated: the
    area of all of them, None while something has to be said first.
    """

    text: PartText
    copies: int
    surface: Surface | None = None
    found: Found | None = None
    sha256: str | None = None
    kept: KeptArea | None = None
    plated: Budget | None = None

    @property
    def volume_cm3(self) -> float | None:
        """The volume of one of it, None where it is not known."""
        if self.kept is not None:
            return self.kept.volume_cm3
        return None if self.surface is None else self.surface.volume_cm3


@dataclass(frozen=True, slots=True)
class Worked:
    """The form's parts and their area together."""

    form: PartForm
    items: tuple[Item, ...]

    @property
    def area(self) -> Budget:
        """The plated area of all parts, dm². Raises PartError while something is undecided."""
        return rack([item.plated for item in self.items if item.plated is not None])

    @property
    def undecided(self) -> tuple[Item, ...]:
        """The parts of which it was not said whether their inner walls are plated."""
        return tuple(item for item in self.items if item.plated is None)


Measure = Callable[[bytes, Asked], Found | Question]


@dataclass(frozen=True, slots=True)
class MeshFile:
    """A mesh file by its name, whose end says its kind; `read` raises PartError."""

    name: str
    there: bool
    read: Callable[[], bytes]


def file_at(path: Path) -> MeshFile:
    """The mesh file at a path."""
    return MeshFile(path.name, path.is_file(), lambda: apart.read_file(path))


@dataclass(frozen=True, slots=True)
class Sources:
    """Where parts come from: mesh files by their text, kept parts by name; None: no such one.

    names: of all kept parts, for the error. measure: what measures a mesh.
    """

    file: Callable[[str], MeshFile | None]
    kept: Callable[[str], KeptArea | None] = lambda _: None
    names: Callable[[], tuple[str, ...]] = tuple
    measure: Measure = field(default=apart.measured)


def worked_out(form: PartForm, sources: Sources) -> Worked:
    """Work out all parts of the form.

    Raises InputError for a part that cannot be, UnansweredError where its unit has to be said.
    Whether inner walls are plated may still be `undecided`.
    """
    return Worked(form, tuple(_item(text, form, sources) for text in form.parts))


def _item(text: str, form: PartForm, sources: Sources) -> Item:
    part = part_text(text)
    file = sources.file(text)
    if file is not None and file.there:  # it may be called "2 x foot.stl"
        part = PartText(1, text)
    else:
        file = None if part.is_shape else sources.file(part.what)
    try:
        if file is not None:
            return _of_mesh(part, file, form, sources)
        if part.is_shape:
            return _of_surface(part, form, read_shape(part.what, form.dimension_limit))
    except PartError as error:
        raise InputError(part.what, (str(error),)) from error
    return _of_kept(part, form, sources)


def _of_mesh(part: PartText, file: MeshFile, form: PartForm, sources: Sources) -> Item:
    kind = apart.kind_of(Path(file.name))
    data = file.read()
    found = sources.measure(data, form.asked(kind))
    if isinstance(found, Question):
        raise UnansweredError(part.what, found)
    sha256 = hashlib.sha256(data).hexdigest()
    return _of_surface(part, form, surface_of(found), found, sha256)


def _of_surface(
    part: PartText,
    form: PartForm,
    surface: Surface,
    found: Found | None = None,
    sha256: str | None = None,
) -> Item:
    treatment = form.treatment(part.copies)
    if not surface.whole.value > 0:
        raise PartError("nothing of it hangs in the liquid")
    area = None if undecided(surface, treatment) else plated(surface, treatment)
    return Item(part, treatment.copies, surface, found, sha256, plated=area)


def _of_kept(part: PartText, form: PartForm, sources: Sources) -> Item:
    kept = sources.kept(part.what)
    if kept is None:
        names = ", ".join(sources.names()) or "none"
        raise InputError(
            part.what,
            (
                "is no mesh file that is there, no shape and no kept part; kept: "
                f'{names}; a shape is written such as "box 60 x 40 x 20 mm"',
            ),
        )
    copies = part.copies * form.copies
    return Item(part, copies, kept=kept, plated=kept.budget(copies))
