"""The sheets beside this file: parts, what each of their pins hangs on, and where they are drawn.

A net is known by its name, on all sheets of a level. A device that is drawn in several places, such
as a relay's coil and contact, is one by `of`.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from daemon.api.errors import InputError
from daemon.api.explain import read_toml
from hardware.circuits.symbols import KINDS, Point

FOLDER = Path(__file__).parent

LEVELS: Mapping[int, Sequence[str]] = {
    1: ("1-power",),
    2: ("2-power", "2-loops"),
    3: ("3-power", "2-loops", "3-chain", "3-heartbeat", "3-signals"),
}
"""The sheets of each level: supply alone; with shunt and interlocks; the full box."""

SHEETS: Sequence[str] = tuple(dict.fromkeys(name for each in LEVELS.values() for name in each))

GROUNDS = ("0 V", "Pi GND", "PE")
"""Nets that are drawn as a ground, each with its name."""


class BoxPin(BaseModel):
    """A pin of a box: at which side, how far from its lower or left corner, and on which net.

    `role` names a pin of the Pi by what the settings give a pin for.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str
    side: Literal["left", "right", "top", "bottom"]
    at: float
    net: str
    role: str = ""


class Part(BaseModel):
    """A part: its mark, kind, what it is for, its value, and what has to be looked for in it.

    nets: those of its pins, in the order of its kind; `pins` instead for a box. of: the device
    whose coil, head or hand moves it.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str
    kind: str
    at: Point
    turn: Literal["right", "up", "left", "down"] = "right"
    what: str = ""
    value: str = ""
    needs: str = ""
    of: str = ""
    nets: tuple[str, ...] = ()
    size: Point | None = None
    pins: tuple[BoxPin, ...] = ()

    @model_validator(mode="after")
    def _has_the_pins_of_its_kind(self) -> "Part":
        if self.kind == "box":
            if self.size is None or not self.pins or self.nets:
                raise ValueError(f"{self.id}: a box needs size and pins, and no nets")
        elif self.kind not in KINDS:
            raise ValueError(
                f"{self.id}: unknown kind {self.kind!r}; known: box, {', '.join(KINDS)}"
            )
        elif len(self.nets) != len(KINDS[self.kind].pins) or self.pins:
            raise ValueError(f"{self.id}: needs {len(KINDS[self.kind].pins)} nets, and no pins")
        return self

    @property
    def device(self) -> str:
        """The mark of the whole device that this belongs to."""
        return self.of or self.id

    @property
    def net_of(self) -> Mapping[str, str]:
        """The net of each pin, by the pin's name."""
        if self.kind == "box":
            return {pin.name: pin.net for pin in self.pins}
        return dict(zip(KINDS[self.kind].pins, self.nets, strict=True))


class Sheet(BaseModel):
    """A drawing: its parts, its wires from pin to pin, and pins that are joined by name.

    wires: `A.1 - B.2` straight, `-|` first level and then plumb, `|-` the other way round; a place
    such as `4,7` may stand between. flags: `A.1 up`, drawn with the net's name.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    title: str
    wires: tuple[str, ...]
    flags: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    notes_at: Point = (0.0, 0.0)
    part: tuple[Part, ...] = Field(min_length=1)

    def named(self, mark: str) -> Part:
        """The part of this mark. Raises KeyError."""
        return _named(self.part, mark)


@dataclass(frozen=True)
class Netlist:
    """All parts of a level. A part that stands on several sheets is there once."""

    parts: tuple[Part, ...]

    def named(self, mark: str) -> Part:
        """The part of this mark. Raises KeyError."""
        return _named(self.parts, mark)

    def of_device(self, mark: str) -> Iterator[Part]:
        """The parts of the device of this mark."""
        return (each for each in self.parts if each.device == mark)


def _named(parts: Iterable[Part], mark: str) -> Part:
    for each in parts:
        if each.id == mark:
            return each
    raise KeyError(f"no part is called {mark!r}")


def read_sheet(name: str) -> Sheet:
    """The sheet in the file of this name. Raises InputError."""
    path = FOLDER / f"{name}.toml"
    return read_toml(path.read_text(encoding="utf-8"), path.name, Sheet)


def read_level(level: int) -> Netlist:
    """All parts of a level. Raises InputError where sheets say different things of one part."""
    found: dict[str, Part] = {}
    for name in LEVELS[level]:
        for part in read_sheet(name).part:
            before = found.setdefault(part.id, part)
            same = ("kind", "what", "value", "needs", "of")
            said = [(key, getattr(before, key), getattr(part, key)) for key in same]
            differing = [key for key, one, other in said if one and other and one != other]
            if differing:
                raise InputError(name, (f"{part.id} is said otherwise elsewhere: {differing}",))
            if before is not part:
                found[part.id] = _joined(before, part)
    return Netlist(tuple(found.values()))


def _joined(one: Part, other: Part) -> Part:
    """A box that shows some of its pins on one sheet and some on another."""
    more = [pin for pin in other.pins if pin.name not in one.net_of]
    said = {key: getattr(one, key) or getattr(other, key) for key in ("what", "needs")}
    return one.model_copy(update={"pins": (*one.pins, *more), **said})
