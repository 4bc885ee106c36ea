"""What a bath is, as its owner describes it: plain values, kept in the record as JSON.

The settings' table `[bath]` becomes one by `daemon.api.bath.table`. What is not told is None. As
the record keeps each description that ever held, any past day can be shown with the rates and
windows of that day.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import Any, TypeVar


@dataclass(frozen=True, slots=True)
class Window:
    """Within which a component shall be, in the unit of `components.concentration_unit`."""

    least: float | None = None
    target: float | None = None
    greatest: float | None = None


@dataclass(frozen=True, slots=True)
class Additive:
    """Something that is used up by charge.

    rate_ml_kah: how much each kA·h uses, mL. dose_ml: how much is added at a time, mL.
    make_up_ml_l: how much a new bath gets, mL in each L.
    """

    name: str
    rate_ml_kah: float | None = None
    dose_ml: float | None = None
    make_up_ml_l: float | None = None


@dataclass(frozen=True, slots=True)
class Anodes:
    """The anodes.

    area_dm2: what faces the parts, dm². mass_g: when new, g. greatest_a_dm2: the most that they
    bear, A/dm². least_mass_g: at which they want to be replaced, g.
    """

    area_dm2: float | None = None
    mass_g: float | None = None
    greatest_a_dm2: float | None = None
    least_mass_g: float | None = None


@dataclass(frozen=True, slots=True)
class Interval:
    """How often something is due: after so much charge, A·h, or time, s, whichever comes first."""

    every_ah: float | None = None
    every_s: float | None = None


@dataclass(frozen=True, slots=True)
class Prices:
    """What things cost, in `currency`: 1 kg of copper anode, 1 kW·h, 1 L of each additive."""

    currency: str = ""
    copper_kg: float | None = None
    electricity_kwh: float | None = None
    additive_l: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Description:
    """A bath. volume_l: at its working level, L; brim_l: up to the tank's brim, L.

    window: by component. evaporation_l_d: water that it loses by itself, L a day. drag_out_ml_dm2:
    bath that a part carries away, mL for each dm² of it.
    """

    name: str
    volume_l: float | None = None
    brim_l: float | None = None
    window: dict[str, Window] = field(default_factory=dict)
    additives: tuple[Additive, ...] = ()
    anodes: Anodes = Anodes()
    filtration: Interval = Interval()
    carbon: Interval = Interval()
    evaporation_l_d: float | None = None
    drag_out_ml_dm2: float | None = None
    prices: Prices = Prices()

    @property
    def additive_names(self) -> tuple[str, ...]:
        """The additives' names, in the order of the description."""
        return tuple(each.name for each in self.additives)

    def additive(self, name: str) -> Additive | None:
        """The additive of this name, None where there is none."""
        return next((each for each in self.additives if each.name == name), None)

    def to_json(self) -> dict[str, Any]:
        """The description as JSON has it: objects, lists, texts, numbers and nulls."""
        tree = asdict(self)
        return {**tree, "additives": list(tree["additives"])}


def from_json(tree: Mapping[str, Any]) -> Description:
    """The description that `to_json` made, by this program or an earlier one.

    What it does not tell is as if it had not been described; keys unknown here are passed over.
    Raises KeyError where it has no name.
    """
    return Description(
        name=tree["name"],
        window={name: _read(Window, each) for name, each in tree.get("window", {}).items()},
        additives=tuple(_read(Additive, each) for each in tree.get("additives", ())),
        anodes=_read(Anodes, tree.get("anodes", {})),
        filtration=_read(Interval, tree.get("filtration", {})),
        carbon=_read(Interval, tree.get("carbon", {})),
        prices=_read(Prices, tree.get("prices", {})),
        **{name: tree.get(name) for name in _FIGURES},
    )


_FIGURES = ("volume_l", "brim_l", "evaporation_l_d", "drag_out_ml_dm2")


Part = TypeVar("Part", Window, Additive, Anodes, Interval, Prices)


def _read(kind: type[Part], tree: Mapping[str, Any]) -> Part:
    known = {each.name for each in fields(kind)}
    return kind(**{name: value for name, value in tree.items() if name in known})
