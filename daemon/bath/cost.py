"""What a run has cost: copper, additives, electricity. Pure.

The copper is what lies on the parts. Additives are counted by their rate, not by the doses that
happened to fall into the run. The energy is what the cell took, the integral of voltage times
current between readings; what the supply takes from the mains is more, by its efficiency.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from daemon.bath.description import Description
from daemon.chemistry.checks import require_not_negative
from daemon.chemistry.electrolysis import g_per_ah
from daemon.chemistry.metals import metal_named
from daemon.record.entries import Sample
from daemon.record.queries import Run
from daemon.record.series import Series
from daemon.record.summary import GAP_LIMIT_S

SUPPLY_EFFICIENCY = 0.8
"""Of a bench supply at part load, where nobody has measured it (common practice)."""

_J_PER_KWH = 3.6e6


@dataclass(frozen=True, slots=True)
class Energy:
    """What the cell took, kW·h, and for how long, s, no readings told of it."""

    cell_kwh: float
    unread_s: float


@dataclass(frozen=True, slots=True)
class Item:
    """Something that a run has used: so much of it in `unit`; price None where none is known."""

    name: str
    amount: float
    unit: str
    price: float | None


@dataclass(frozen=True, slots=True)
class Cost:
    """What a run has used. `total` is of what has a price, `unpriced` is what has none."""

    currency: str
    items: tuple[Item, ...]

    @property
    def total(self) -> float:
        """The sum of what has a price."""
        return sum(item.price for item in self.items if item.price is not None)

    @property
    def unpriced(self) -> tuple[str, ...]:
        """What has no price in the settings, by name."""
        return tuple(item.name for item in self.items if item.price is None)


def deposited_g(run: Run) -> float:
    """What lies on a run's parts, g; of one under way by its charge so far (Faraday's law)."""
    if run.mass_g is not None:
        return run.mass_g
    efficiency = 1.0 if run.reckoning is None else run.reckoning.efficiency
    return g_per_ah(metal_named(run.metal), efficiency) * run.charge_ah


def energy(samples: Iterable[Sample]) -> Energy:
    """The cell's energy by the trapezoids of its power between readings.

    Readings further apart than the record's gap limit, or without current or voltage, are not
    joined: that time is told apart, and nothing is made up for it.
    """
    joules = unread_s = 0.0
    last: tuple[float, float | None] | None = None
    for sample in samples:
        power_w = None
        if sample.current_a is not None and sample.voltage_v is not None:
            power_w = sample.current_a * sample.voltage_v
        if last is not None:
            step_s, before_w = sample.elapsed_s - last[0], last[1]
            if before_w is not None and power_w is not None and step_s <= GAP_LIMIT_S:
                joules += 0.5 * (before_w + power_w) * step_s
            else:
                unread_s += step_s
        last = sample.elapsed_s, power_w
    return Energy(joules / _J_PER_KWH, unread_s)


def energy_by_means(seen: Series) -> Energy:
    """The same by the means of a run's points: far less to read, and as good where it is steady.

    Within a point, current and voltage that change together are taken for their means.
    """
    joules = unread_s = 0.0
    before_s: float | None = None
    for place, (first_s, last_s) in enumerate(zip(seen.first_s, seen.last_s, strict=True)):
        current_a, voltage_v = seen.current_a.mean[place], seen.voltage_v.mean[place]
        from_s = first_s
        if before_s is not None and first_s - before_s <= GAP_LIMIT_S:
            from_s = before_s
        elif before_s is not None:
            unread_s += first_s - before_s
        if current_a is not None and voltage_v is not None:
            joules += current_a * voltage_v * (last_s - from_s)
        else:
            unread_s += last_s - from_s
        before_s = last_s
    return Energy(joules / _J_PER_KWH, unread_s)


def cost(
    copper_g: float,
    charge_ah: float,
    cell: Energy,
    description: Description,
    supply_efficiency: float = SUPPLY_EFFICIENCY,
) -> Cost:
    """What was used and what it cost.

    Raises ValueError for less than nothing, and for an efficiency outside 0 to 1.
    """
    require_not_negative("copper", copper_g, "g")
    require_not_negative("charge", charge_ah, "A·h")
    if not 0 < supply_efficiency <= 1:
        raise ValueError(
            f"the supply's efficiency must be above 0 and at most 1, got {supply_efficiency:g}"
        )
    prices = description.prices
    mains_kwh = cell.cell_kwh / supply_efficiency
    return Cost(
        prices.currency,
        (
            Item("copper", copper_g, "g", _price(copper_g / 1000, prices.copper_kg)),
            *_additives(charge_ah, description),
            Item("electricity", mains_kwh, "kWh", _price(mains_kwh, prices.electricity_kwh)),
        ),
    )


def _additives(charge_ah: float, description: Description) -> Iterator[Item]:
    for each in description.additives:
        if each.rate_ml_kah is not None:
            used_ml = each.rate_ml_kah * charge_ah / 1000
            price = _price(used_ml / 1000, description.prices.additive_l.get(each.name))
            yield Item(each.name, used_ml, "mL", price)


def _price(amount: float, each: float | None) -> float | None:
    return None if each is None else amount * each
