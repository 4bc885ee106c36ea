"""The bath's account, summed up: what stands in it, its balances and its volume on any day.

Pure on entries, which come in the order in which they were made. Nothing is stored but entries, so
a past day is what they say without those that came later: `on_utc_ms`, ms since 1970 UTC, leaves
out what was entered or happened after that moment. None means all there is.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from daemon.bath.components import VOLUME
from daemon.bath.description import Description, from_json
from daemon.bath.kinds import DESCRIPTION, MAKE_UP
from daemon.record.bath_entries import BathEntry, summed
from daemon.record.entries import Facts
from daemon.record.errors import NoSuchBathEntryError


@dataclass(frozen=True, slots=True)
class Standing:
    """An entry with its corrections, oldest first: what it stands for now.

    facts: the newest, None where the entry was withdrawn; its amounts are then 0.
    """

    first: BathEntry
    amounts: dict[str, float]
    facts: Facts | None
    corrections: tuple[BathEntry, ...] = ()

    @property
    def id(self) -> int:
        """The entry's number."""
        return self.first.id

    @property
    def kind(self) -> str:
        """The entry's kind, see `daemon.bath.kinds`."""
        return self.first.made.kind

    @property
    def at_utc_ms(self) -> int:
        """When it happened."""
        return self.first.made.at_utc_ms

    @property
    def run_id(self) -> int | None:
        """The run that it is about, None where it is about none."""
        return self.first.made.run_id

    @property
    def withdrawn(self) -> bool:
        """Whether it holds no more."""
        return self.facts is None

    @property
    def newest(self) -> BathEntry:
        """The last of its corrections, or the entry itself."""
        return self.corrections[-1] if self.corrections else self.first


@dataclass(frozen=True, slots=True)
class Level:
    """The bath's volume, L, and since when it is known: None where only the description tells."""

    volume_l: float
    stated_utc_ms: int | None


def standing(entries: Iterable[BathEntry], on_utc_ms: int | None = None) -> tuple[Standing, ...]:
    """What stands in the account, withdrawn entries too, in the order in which it happened."""
    chains: dict[int, list[BathEntry]] = {}
    first_of: dict[int, int] = {}
    for entry in entries:
        made = entry.made
        if on_utc_ms is not None and max(made.utc_ms, made.at_utc_ms) > on_utc_ms:
            continue
        first = entry.id if made.corrects_id is None else first_of.get(made.corrects_id)
        if first is None:  # a clock that was set back: what it corrects was not known yet
            continue
        first_of[entry.id] = first
        chains.setdefault(first, []).append(entry)
    found = (_of_chain(chain) for chain in chains.values())
    return tuple(sorted(found, key=lambda each: (each.at_utc_ms, each.id)))


def holding(entries: Iterable[BathEntry], on_utc_ms: int | None = None) -> tuple[Standing, ...]:
    """What stands in the account and was not withdrawn, in the order in which it happened."""
    return tuple(each for each in standing(entries, on_utc_ms) if not each.withdrawn)


def one(entries: Iterable[BathEntry], number: int) -> Standing:
    """The entry of this number, or the one that it corrects. Raises NoSuchBathEntryError."""
    for each in standing(entries):
        if number in (each.id, *(correction.id for correction in each.corrections)):
            return each
    raise NoSuchBathEntryError(f"there is no entry {number} in the account of this bath")


def balances(entries: Iterable[BathEntry], on_utc_ms: int | None = None) -> dict[str, float]:
    """By substance what was put into the bath less what was taken out, as entered: g, mL, L.

    A make-up begins anew: what happened before it counts no more. What the current brings and uses
    up, what leaves with drag-out and samples and what evaporates is in no entry: the balance of
    "volume" is not the level, and that of an additive not what is left of it.
    """
    found: dict[str, list[float]] = {}
    for each in _since_make_up(holding(entries, on_utc_ms)):
        for substance, amount in each.amounts.items():
            found.setdefault(substance, []).append(amount)
    return {substance: summed(amounts) for substance, amounts in sorted(found.items())}


def level(
    entries: Iterable[BathEntry], description: Description, on_utc_ms: int | None = None
) -> Level | None:
    """The bath's volume: as it was last stated, with what went in and out since then.

    It is stated by a make-up and by entries with the fact `level_l`, which is the volume after
    them; before any is, it is what the description says. None where nothing tells.
    """
    stated: Level | None = None
    since: list[float] = []
    for each in holding(entries, on_utc_ms):
        facts = each.facts or {}
        if (level_l := facts.get("level_l")) is not None:
            stated, since = Level(level_l, each.at_utc_ms), []
        elif each.kind == MAKE_UP:
            stated, since = Level(each.amounts[VOLUME], each.at_utc_ms), []
        else:
            since.append(each.amounts.get(VOLUME, 0.0))
    if stated is None:
        return None if description.volume_l is None else Level(description.volume_l, None)
    return Level(summed([stated.volume_l, *since]), stated.stated_utc_ms)


def description_on(
    entries: Iterable[BathEntry], on_utc_ms: int | None = None
) -> Description | None:
    """How the bath was described last; None before it was.

    By the order of entry: a clock that was wrong once leaves no description that lasts.
    """
    found = [each for each in holding(entries, on_utc_ms) if each.kind == DESCRIPTION]
    newest = max(found, key=lambda each: each.id, default=None)
    return None if newest is None else from_json(newest.facts or {})


def additives_ever(entries: Iterable[BathEntry]) -> tuple[str, ...]:
    """The names of all additives that the bath was ever described with, the newest first."""
    names: dict[str, None] = {}
    for each in reversed(holding(entries)):
        if each.kind == DESCRIPTION:
            names.update(dict.fromkeys(from_json(each.facts or {}).additive_names))
    return tuple(names)


def _of_chain(chain: list[BathEntry]) -> Standing:
    first, *corrections = chain
    newest = chain[-1].made
    substances = {substance for entry in chain for substance in entry.made.amounts}
    amounts = {
        substance: summed(entry.made.amounts.get(substance, 0.0) for entry in chain)
        for substance in sorted(substances)
    }
    kept = {substance: amount for substance, amount in amounts.items() if amount != 0}
    return Standing(first, kept, newest.facts, tuple(corrections))


def _since_make_up(found: tuple[Standing, ...]) -> tuple[Standing, ...]:
    """The newest make-up and what happened at its moment or later, but for earlier make-ups."""
    made_up = [each for each in found if each.kind == MAKE_UP]
    if not made_up:
        return found
    newest = made_up[-1]
    return tuple(
        each
        for each in found
        if each is newest or (each.at_utc_ms >= newest.at_utc_ms and each.kind != MAKE_UP)
    )
