"""The weighings in a bath's account, and the efficiency that they teach of each metal."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from daemon.bath import account, kinds
from daemon.bath.weighing import Efficiency, Learned, learned
from daemon.chemistry.uncertainty import Budget, Share
from daemon.record.bath_entries import BathEntry

OWN, METER = "weighing", "meter"
"""The two doubts that are kept of an efficiency: new in each weighing, and the same in all."""


@dataclass(frozen=True, slots=True)
class KeptWeighing:
    """A weighing of a part that holds, as the account has it.

    metal: its name with the valence. counts: whether it is averaged in.
    """

    number: int
    at_utc_ms: int
    run_id: int | None
    who: str
    metal: str
    before_g: float
    after_g: float
    found: Efficiency
    counts: bool


def details_of(metal: str, found: Efficiency, charge_ah: float, *, counts: bool) -> dict[str, Any]:
    """What the account keeps of an efficiency besides the masses."""
    return {
        "metal": metal,
        "charge_ah": charge_ah,
        "efficiency": found.value,
        "u_own": found.own,
        "u_common": found.common,
        "counts": counts,
    }


def kept(entries: Iterable[BathEntry]) -> tuple[KeptWeighing, ...]:
    """The weighings of parts that hold and say an efficiency, as they happened."""
    found = []
    for each in account.holding(entries):
        facts = each.facts or {}
        said = facts.get("details") or {}
        if each.kind != kinds.WEIGHING or "efficiency" not in said:
            continue
        own, common = said["u_own"], said["u_common"]
        budget = Budget(said["efficiency"], (Share(OWN, own), Share(METER, common)))
        found.append(
            KeptWeighing(
                number=each.id,
                at_utc_ms=each.at_utc_ms,
                run_id=each.run_id,
                who=each.first.made.who,
                metal=said["metal"],
                before_g=facts["before_g"],
                after_g=facts["after_g"],
                found=Efficiency(said["efficiency"], own, common, budget),
                counts=said["counts"],
            )
        )
    return tuple(found)


def counting(weighings: Iterable[KeptWeighing], metal: str) -> list[Efficiency]:
    """The efficiencies of a metal that are averaged in."""
    return [each.found for each in weighings if each.counts and each.metal == metal]


def learned_of(entries: Iterable[BathEntry], metal: str) -> Learned | None:
    """What the weighings teach of a metal, by its name with the valence; None from too few."""
    return learned(counting(kept(entries), metal))
