"""What is expected in a bath, by its account: concentrations with bands, and when to analyse again.

From the newest make-up on, or from the first entry where there is none, each entry and each charge
goes through `daemon.chemistry.mass_balance` in the order of time. At the same moment charge comes
before entries, and entries come as they were made.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from daemon.bath import kinds
from daemon.bath.account import Standing
from daemon.bath.components import (
    CHLORIDE,
    VOLUME,
    concentration_unit,
)
from daemon.bath.description import Description, Window
from daemon.chemistry import mass_balance as balance_of
from daemon.chemistry.mass_balance import Balance, Doubtful, Finding, Rates
from daemon.record.charge_at import Passed

DAY_MS = 86_400_000

COVERAGE = 1.96
"""Standard uncertainties of a 95 % interval, of the normal distribution (JCGM 100, table G.1)."""

EXCESS = Doubtful(0.005, 0.005)
"""Anode efficiency less cathode efficiency. Both are essentially 100 % (Metal Finishing Guidebook,
acid copper); the anodes' is slightly above, so that copper rises slowly (common practice)."""

EVAPORATION_SHARE = Doubtful(0.003, 0.003)
"""Of the volume, each day, where the settings tell nothing: an open bath at room temperature
(common practice)."""

DRAG_OUT_L_DM2 = 0.001
"""L carried off with each dm², 100 mL/m², where the settings tell nothing (common practice)."""

RATE_U = 0.3
"""How much a rate of the settings may be off, as a fraction of it (common practice)."""

WEIGHED_U, POURED_U, LEVEL_U = 0.01, 0.03, 0.02
"""How much a mass with its purity, a volume from a cylinder, and the bath's volume by its level may
be off, as a fraction, one standard uncertainty (common practice)."""

ANALYSIS_U = 0.02
"""The same of an analysis that tells no doubt of its own (common practice)."""

AFTER_CARBON = Doubtful(0.1, 0.1)
"""What is left of an additive after a treatment with carbon, as a share: it takes nearly all that
is organic (common practice)."""

LOW, FILLED_U = 0.85, 0.05
"""Below this share of its working level a bath is taken to have been filled up by somebody who did
not enter it, for parts would stick out of it; how well the level is known then, as a share."""

NOT_KNOWN = 1e3
"""g/L or mL/L, the standard uncertainty of what is not known at all: more than any bath holds."""

WIDE = 0.15
"""A band that is wider than this share of its value, either way, wants an analysis where no window
is described (common practice)."""

FAR_DAYS = 365
"""How far ahead an analysis is foreseen, days."""

LOOK_BACK_DAYS = 30
"""Days of the past by which the charge of days to come is foreseen."""


@dataclass(frozen=True, slots=True)
class Component:
    """What is expected of a component, in `unit`; `half_width` is that of its 95 % band."""

    name: str
    unit: str
    value: float
    half_width: float
    window: Window | None
    analyse_in_days: float | None = None

    @property
    def lower(self) -> float:
        """The band's lower end, 0 or more."""
        return max(0.0, self.value - self.half_width)

    @property
    def upper(self) -> float:
        """The band's upper end."""
        return self.value + self.half_width


@dataclass(frozen=True, slots=True)
class Told:
    """An analysis that found something else than was expected, ms since 1970 UTC."""

    utc_ms: int
    entry: int
    finding: Finding


@dataclass(frozen=True, slots=True)
class Expected:
    """What is expected at a moment; `unlikely` are the findings that were not believed at once.

    filled_utc_ms: when the bath was last taken to have been filled up though nobody entered water.
    """

    volume_l: float
    volume_half_width_l: float
    components: tuple[Component, ...]
    unlikely: tuple[Told, ...]
    filled_utc_ms: int | None = None

    @property
    def analyse_in_days(self) -> float | None:
        """When the first of the components wants an analysis; None if none does within a year."""
        days = [each.analyse_in_days for each in self.components]
        return min((each for each in days if each is not None), default=None)


def expected(
    holding: Sequence[Standing],
    passed: Iterable[Passed],
    description: Description,
    utc_ms: int,
) -> Expected | None:
    """What is expected at a moment, by what holds in the account; None where nothing tells.

    `passed` is all charge until then. It takes a volume, and a make-up, an addition or an analysis.
    """
    charges = list(passed)
    course, found = _gone_through(holding, charges, description, [utc_ms])
    if course is None:
        return None
    recent = [each for each in charges if 0 <= utc_ms - each.utc_ms < LOOK_BACK_DAYS * DAY_MS]
    due = course.foreseen(recent)
    components = tuple(
        replace(each, analyse_in_days=due.get(each.name)) for each in found[0].components
    )
    return replace(found[0], components=components)


def over_time(
    holding: Sequence[Standing],
    passed: Iterable[Passed],
    description: Description,
    moments_utc_ms: Sequence[int],
) -> tuple[Expected, ...]:
    """What was expected at each of these moments, which rise, by what had happened until then.

    Those before the bath's first entry are left out; when to analyse again is not foreseen.
    """
    return tuple(_gone_through(holding, list(passed), description, moments_utc_ms)[1])


def _gone_through(
    holding: Sequence[Standing],
    charges: Sequence[Passed],
    description: Description,
    moments_utc_ms: Sequence[int],
) -> tuple["_Course | None", list[Expected]]:
    """The bath at the last of the moments, and what is expected at each."""
    course = _Course(description)
    if not course.begin(holding, moments_utc_ms[-1]):
        return None, []
    begun_ms, last_ms = course.at_ms, moments_utc_ms[-1]
    steps: list[tuple[int, int, Passed | Standing | None]] = [
        (each.utc_ms, 0, each) for each in charges if begun_ms < each.utc_ms <= last_ms
    ]
    steps += [(each.at_utc_ms, 1, each) for each in course.to_come]
    steps += [(moment, 2, None) for moment in moments_utc_ms if moment >= begun_ms]
    found = []
    for at_ms, _, step in sorted(steps, key=lambda each: each[:2]):
        course.rest(at_ms)
        if step is None:
            found.append(course.seen())
        elif isinstance(step, Passed):
            course.pass_charge(step)
        else:
            course.enter(step)
    return course, found


class _Course:
    """A bath's way through its account, from the entry with which it begins."""

    def __init__(self, description: Description) -> None:
        self._description = description
        self._additives = description.additive_names
        self._unlikely: list[Told] = []
        self._full_l = 0.0
        self._filled_ms: int | None = None
        self.to_come: list[Standing] = []
        self.at_ms = 0

    def begin(self, holding: Sequence[Standing], utc_ms: int) -> bool:
        """Begin with the newest make-up, or the first that tells of a component; False without."""
        known = [each for each in holding if each.at_utc_ms <= utc_ms]
        tell = [each for each in known if _components(each)]
        made_up = [each for each in known if each.kind == kinds.MAKE_UP]
        first = made_up[-1] if made_up else tell[0] if tell else None
        if first is None:
            return False
        amounts = first.amounts if made_up else {}
        volume_l = amounts.get(VOLUME, self._description.volume_l)
        if volume_l is None:
            return False
        self._full_l = self._description.volume_l or volume_l
        self.at_ms = first.at_utc_ms
        self.to_come = [
            each
            for each in known
            if each.at_utc_ms >= self.at_ms
            and each.kind != kinds.MAKE_UP
            and (made_up or each.at_utc_ms > self.at_ms or known.index(each) >= known.index(first))
        ]
        names = dict.fromkeys(amounts)
        for each in self.to_come:
            names.update(dict.fromkeys(_components(each)))
        # A make-up tells all that is in the bath; without one nothing is known of it.
        unknown = Doubtful(0.0, 0.0 if made_up else NOT_KNOWN * volume_l)
        contents = {
            name: self._measured(name, amounts[name]) if name in amounts else unknown
            for name in names
            if name != VOLUME
        }
        for name in self._used() - contents.keys():
            contents[name] = unknown
        self._balance = balance_of.made_up(
            Doubtful(volume_l, LEVEL_U * volume_l), contents, self._rates(volume_l)
        )
        return True

    def rest(self, until_ms: int) -> None:
        """Time goes by until a moment."""
        self._balance = balance_of.rested(self._balance, max(0, until_ms - self.at_ms) / DAY_MS)
        self.at_ms = max(self.at_ms, until_ms)
        full_l = self._full_l
        if self._balance.amount(VOLUME).value < LOW * full_l:
            self._balance = balance_of.filled_up(self._balance, Doubtful(full_l, FILLED_U * full_l))
            self._filled_ms = self.at_ms

    def pass_charge(self, passed: Passed) -> None:
        """Charge has passed, and its parts are taken out."""
        self._balance = balance_of.charged(self._balance, passed.charge_ah)
        self._balance = balance_of.carried_off(self._balance, passed.area_dm2)

    def enter(self, entry: Standing) -> None:
        """An entry of the account."""
        facts = entry.facts or {}
        volume_l = entry.amounts.get(VOLUME, 0.0)
        taken_l = facts.get("taken_out_l", max(0.0, -volume_l))
        if taken_l > 0:
            self._balance = balance_of.taken_out(
                self._balance, Doubtful(taken_l, POURED_U * taken_l)
            )
        put_in = {**entry.amounts, VOLUME: volume_l + taken_l}
        self._balance = balance_of.put_in(
            self._balance,
            {name: self._measured(name, amount) for name, amount in put_in.items() if amount > 0},
        )
        if (level_l := facts.get("level_l")) is not None:
            self._balance = balance_of.levelled(self._balance, Doubtful(level_l, LEVEL_U * level_l))
        if entry.kind == kinds.ANALYSIS:
            self._analyse(entry)
        if entry.kind == kinds.CARBON:
            for name in self._additives:
                self._balance = balance_of.left_over(self._balance, name, AFTER_CARBON)

    def seen(self) -> Expected:
        """What is expected now."""
        volume = self._balance.amount(VOLUME)
        return Expected(
            volume.value,
            COVERAGE * volume.u,
            tuple(
                self._component(name)
                for name in self._balance.components
                if self._is_known(self._balance, name)
            ),
            tuple(self._unlikely),
            self._filled_ms,
        )

    def foreseen(self, recent: Sequence[Passed]) -> dict[str, float]:
        """By component in how many days its band leaves the window, or is too wide.

        `recent` is the charge of the last `LOOK_BACK_DAYS`, which foretells that of days to come.
        """
        a_day_ah = sum(each.charge_ah for each in recent) / LOOK_BACK_DAYS
        area_dm2 = sum(each.area_dm2 for each in recent) / LOOK_BACK_DAYS
        due: dict[str, float] = {}
        ahead = self._balance
        names = [name for name in ahead.components if self._is_known(ahead, name)]
        for day in range(FAR_DAYS + 1):
            for name in names:
                if name not in due and self._wants_analysis(ahead, name):
                    due[name] = float(day)
            ahead = balance_of.rested(balance_of.charged(ahead, a_day_ah), 1.0)
            # Filled up with water to where it is now, as somebody will who looks after it.
            ahead = balance_of.filled_up(
                balance_of.carried_off(ahead, area_dm2), self._balance.amount(VOLUME)
            )
        return due

    def _analyse(self, entry: Standing) -> None:
        found = {}
        for name, result in (entry.facts or {})["results"].items():
            scale = self._scale(name)
            value, u = result["value"] / scale, result.get("u")
            found[name] = Doubtful(value, ANALYSIS_U * value if u is None else u / scale)
        self._balance, findings = balance_of.analysed(self._balance, found)
        self._unlikely += [
            Told(entry.at_utc_ms, entry.id, each) for each in findings if not each.believed
        ]

    def _component(self, name: str) -> Component:
        found, scale = self._balance.concentration(name), self._scale(name)
        return Component(
            name,
            concentration_unit(name, self._additives),
            found.value * scale,
            COVERAGE * found.u * scale,
            self._description.window.get(name),
        )

    def _wants_analysis(self, balance: Balance, name: str) -> bool:
        found, scale = balance.concentration(name), self._scale(name)
        value, half = found.value * scale, COVERAGE * found.u * scale
        window = self._description.window.get(name)
        if window is None or (window.least is None and window.greatest is None):
            return half > WIDE * value
        least, greatest = window.least or 0.0, window.greatest or math.inf
        return value - half < least or value + half > greatest

    def _is_known(self, balance: Balance, name: str) -> bool:
        return balance.concentration(name).u < NOT_KNOWN / 10

    def _scale(self, name: str) -> float:
        """From g/L or mL/L to the unit that is shown."""
        return 1e3 if name == CHLORIDE else 1.0

    def _measured(self, name: str, amount: float) -> Doubtful:
        poured = name == VOLUME or name in self._additives
        return Doubtful(amount, (POURED_U if poured else WEIGHED_U) * abs(amount))

    def _used(self) -> set[str]:
        return {each.name for each in self._description.additives if each.rate_ml_kah is not None}

    def _rates(self, volume_l: float) -> Rates:
        told = self._description
        evaporation = Doubtful(EVAPORATION_SHARE.value * volume_l, EVAPORATION_SHARE.u * volume_l)
        if told.evaporation_l_d is not None:
            evaporation = _off(told.evaporation_l_d)
        drag_out = Doubtful(DRAG_OUT_L_DM2, DRAG_OUT_L_DM2 / 2)
        if told.drag_out_ml_dm2 is not None:
            drag_out = _off(told.drag_out_ml_dm2 / 1000)
        return Rates(
            EXCESS,
            evaporation,
            drag_out,
            {
                each.name: _off(each.rate_ml_kah / 1000)
                for each in told.additives
                if each.rate_ml_kah is not None
            },
        )


def _off(rate: float) -> Doubtful:
    return Doubtful(rate, RATE_U * rate)


def _components(entry: Standing) -> list[str]:
    """The components that an entry tells of."""
    results = (entry.facts or {}).get("results", {}) if entry.kind == kinds.ANALYSIS else {}
    return [*(name for name in entry.amounts if name != VOLUME), *results]
