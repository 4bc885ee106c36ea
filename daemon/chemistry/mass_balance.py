"""What is in a bath between two analyses, with its doubt. Pure.

A bath is its volume, L, what is dissolved in it, g of a component or mL of an additive, and the
rates at which things go on by themselves. Rates are not known well, and are the same all year: so
they stand in the balance as unknowns beside the amounts. Their error grows with charge, days and
area, not with the square root of them, and each analysis says something about them too.

Each event changes the expected values by its mass balance, and their covariance by its derivatives
(JCGM 100, 5.2.2, equation 13). A measurement is brought in by the weighted mean of what was
expected and what was found, each by its covariance (R. E. Kalman, J. Basic Eng. 82 (1960) 35; from
memory, not checked).

What the current does, by charge balance: copper comes from the anodes at their efficiency and goes
to the cathodes at theirs, so the bath gains their difference, the excess. Sulfate stays in the
bath, and so each mole of copper that it gains takes the place of a mole of sulfuric acid.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from daemon.chemistry.checks import require_finite, require_not_negative, require_positive
from daemon.chemistry.electrolysis import g_per_ah
from daemon.chemistry.metals import metal_named
from daemon.chemistry.substances import COPPER_G_MOL, SULFURIC_ACID_G_MOL

COPPER, SULFURIC_ACID, VOLUME = "copper", "sulfuric acid", "volume"

COPPER_G_AH = g_per_ah(metal_named("Cu(II)"))
"""g of copper for each A·h, by Faraday's law."""

ACID_G_PER_COPPER_G = SULFURIC_ACID_G_MOL / COPPER_G_MOL
"""g of sulfuric acid for each g of copper, mole for mole."""

FLAGGED = 3.0
"""Standard deviations between what was expected and what was found, beyond which a finding is not
believed at once: one in 370 honest ones is."""

_EXCESS, _EVAPORATION, _DRAG_OUT, _USE = "excess", "evaporation", "drag-out", "use of "

Vector: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Doubtful:
    """A value and its standard uncertainty, 0 or more, in its unit. Raises ValueError."""

    value: float
    u: float = 0.0

    def __post_init__(self) -> None:
        require_finite("value", self.value, "its unit")
        require_not_negative("standard uncertainty", self.u, "its unit")


NOTHING = Doubtful(0.0)


@dataclass(frozen=True, slots=True)
class Rates:
    """What goes on by itself, as far as it is known before any analysis.

    excess: anode efficiency less cathode efficiency, a fraction. evaporation_l_d: L of water in a
    day. drag_out_l_dm2: L of bath that leaves with each dm² plated. use_ml_ah: by additive, mL for
    each A·h. scatter: how much single days and parts differ from the mean, as a fraction of it.
    """

    excess: Doubtful = NOTHING
    evaporation_l_d: Doubtful = NOTHING
    drag_out_l_dm2: Doubtful = NOTHING
    use_ml_ah: Mapping[str, Doubtful] | None = None
    scatter: float = 0.3

    def by_name(self) -> dict[str, Doubtful]:
        """The rates as the balance's unknowns."""
        uses = {_USE + name: rate for name, rate in (self.use_ml_ah or {}).items()}
        return {
            _EXCESS: self.excess,
            _EVAPORATION: self.evaporation_l_d,
            _DRAG_OUT: self.drag_out_l_dm2,
            **uses,
        }


@dataclass(frozen=True, slots=True)
class Finding:
    """What an analysis found of a component against what was expected, in g/L or mL/L.

    deviations: how many standard deviations of their difference lie between both. believed: whether
    it was brought into the balance.
    """

    component: str
    expected: Doubtful
    found: Doubtful
    deviations: float
    believed: bool


@dataclass(frozen=True, slots=True)
class Balance:
    """What is expected: `mean` and `covariance` of the unknowns in the order of `names`.

    suspect: by component what an analysis found that was not believed, until the next one.
    """

    names: tuple[str, ...]
    mean: Vector
    covariance: Vector
    scatter: float
    suspect: tuple[tuple[str, Doubtful], ...] = ()

    @property
    def components(self) -> tuple[str, ...]:
        """What is dissolved, by name."""
        return self.names[1 : self.names.index(_EXCESS)]

    def amount(self, name: str) -> Doubtful:
        """An unknown: the volume, L, or what is dissolved of a component, g or mL."""
        at = self.names.index(name)
        return Doubtful(float(self.mean[at]), float(np.sqrt(self.covariance[at, at])))

    def concentration(self, component: str) -> Doubtful:
        """What is expected of a component, g/L or mL/L."""
        gradient = self._per_litre(component)
        value = float(self.mean[self.names.index(component)] / self.mean[0])
        return Doubtful(value, float(np.sqrt(gradient @ self.covariance @ gradient)))

    def _per_litre(self, component: str) -> Vector:
        """Derivatives of a concentration by the unknowns."""
        at, gradient = self.names.index(component), np.zeros(len(self.names))
        gradient[at] = 1.0 / self.mean[0]
        gradient[0] = -self.mean[at] / self.mean[0] ** 2
        return gradient


def made_up(volume_l: Doubtful, contents: Mapping[str, Doubtful], rates: Rates) -> Balance:
    """A bath of this volume, above 0 L, with so much, g or mL, of each component."""
    require_positive("volume", volume_l.value, "L")
    unknowns = {VOLUME: volume_l, **contents, **rates.by_name()}
    for name in rates.use_ml_ah or {}:
        if name not in contents:
            raise ValueError(
                f"{name}: is used up by charge, and its amount is not among the contents"
            )
    return Balance(
        tuple(unknowns),
        np.array([each.value for each in unknowns.values()]),
        np.diag([each.u**2 for each in unknowns.values()]),
        rates.scatter,
    )


def charged(balance: Balance, charge_ah: float) -> Balance:
    """After so much charge through the bath, A·h."""
    index = {name: at for at, name in enumerate(balance.names)}
    excess = index[_EXCESS]
    step: list[tuple[int, int, float]] = []
    if COPPER in index:
        step.append((index[COPPER], excess, COPPER_G_AH * charge_ah))
    if SULFURIC_ACID in index:
        step.append((index[SULFURIC_ACID], excess, -ACID_G_PER_COPPER_G * COPPER_G_AH * charge_ah))
    for name in balance.components:
        if _USE + name in index:
            step.append((index[name], index[_USE + name], -charge_ah))
    return _linear(balance, step)


def rested(balance: Balance, days: float) -> Balance:
    """After so many days, 0 or more, in which water evaporated."""
    require_not_negative("time", days, "d")
    rate = balance.names.index(_EVAPORATION)
    after = _linear(balance, [(0, rate, -days)])
    # Days differ from each other: their scatter adds up by its square.
    own_l = balance.scatter * float(balance.mean[rate]) * np.sqrt(days)
    return _noisier(after, 0, own_l)


def carried_off(balance: Balance, area_dm2: float) -> Balance:
    """After parts of this area, 0 dm² or more, have carried bath away."""
    require_not_negative("area", area_dm2, "dm²")
    rate = balance.names.index(_DRAG_OUT)
    volume_l = area_dm2 * float(balance.mean[rate])
    gradient = np.zeros(len(balance.names))
    gradient[rate] = area_dm2
    return _taken_out(balance, volume_l, gradient, balance.scatter * volume_l)


def taken_out(balance: Balance, volume_l: Doubtful) -> Balance:
    """After so much bath, L, was taken out."""
    return _taken_out(balance, volume_l.value, np.zeros(len(balance.names)), volume_l.u)


def put_in(balance: Balance, amounts: Mapping[str, Doubtful]) -> Balance:
    """After so much was put in by name: L of "volume", g or mL of a component that is known."""
    mean, covariance = balance.mean.copy(), balance.covariance.copy()
    for name, amount in amounts.items():
        at = balance.names.index(name)
        mean[at] += amount.value
        covariance[at, at] += amount.u**2
    return replace(balance, mean=mean, covariance=covariance)


def left_over(balance: Balance, component: str, share: Doubtful) -> Balance:
    """After something took a component out of the bath but for this share of it."""
    if component not in balance.components:
        return balance
    at = balance.names.index(component)
    mean, covariance = balance.mean.copy(), balance.covariance.copy()
    own_u = share.u * mean[at]
    mean[at] *= share.value
    covariance[at, :] *= share.value
    covariance[:, at] *= share.value
    covariance[at, at] += own_u**2
    return replace(balance, mean=mean, covariance=covariance)


def levelled(balance: Balance, volume_l: Doubtful) -> Balance:
    """After the level was read: the volume is this, L, which is weighed with what was expected."""
    gradient = np.zeros(len(balance.names))
    gradient[0] = 1.0
    return _measured(balance, gradient, float(balance.mean[0]), volume_l)


def filled_up(balance: Balance, volume_l: Doubtful) -> Balance:
    """After water was added up to a mark: the volume is this, L, whatever it was before."""
    mean, covariance = balance.mean.copy(), balance.covariance.copy()
    mean[0] = volume_l.value
    covariance[0, :] = covariance[:, 0] = 0.0
    covariance[0, 0] = volume_l.u**2
    return replace(balance, mean=mean, covariance=covariance)


def analysed(
    balance: Balance, found: Mapping[str, Doubtful]
) -> tuple[Balance, tuple[Finding, ...]]:
    """After an analysis found these concentrations, g/L or mL/L.

    One that lies further from what was expected than both explain is told and not believed, until
    the next analysis of the component finds the same: then what was expected was wrong.
    """
    findings = []
    for component, value in found.items():
        balance, finding = _found(balance, component, value)
        findings.append(finding)
    return balance, tuple(findings)


def _found(balance: Balance, component: str, found: Doubtful) -> tuple[Balance, Finding]:
    expected = balance.concentration(component)
    apart = float(np.hypot(expected.u, found.u))
    deviations = (found.value - expected.value) / apart if apart > 0 else 0.0
    suspect = dict(balance.suspect)
    before = suspect.pop(component, None)
    believed = abs(deviations) <= FLAGGED
    if expected.u > found.value:
        # Nothing was known of it: what is found is all there is, and no derivative tells more.
        after = _begun_anew(balance, component, found)
    elif believed:
        gradient = balance._per_litre(component)
        after = _measured(balance, gradient, expected.value, found)
    elif before is not None and abs(found.value - before.value) <= FLAGGED * np.hypot(
        found.u, before.u
    ):
        after, believed = _begun_anew(balance, component, found), True
    else:
        after, suspect[component] = balance, found
    finding = Finding(component, expected, found, deviations, believed)
    return replace(after, suspect=tuple(suspect.items())), finding


def _begun_anew(balance: Balance, component: str, found: Doubtful) -> Balance:
    """With what was found of a component, and nothing of what was expected of it."""
    at, volume_l = balance.names.index(component), float(balance.mean[0])
    mean, covariance = balance.mean.copy(), balance.covariance.copy()
    mean[at] = found.value * volume_l
    covariance[at, :] = covariance[:, at] = 0.0
    # The concentration is what is known; the amount goes with the volume.
    covariance[at, :] = covariance[:, at] = found.value * covariance[0, :]
    covariance[at, at] = found.value**2 * covariance[0, 0] + (found.u * volume_l) ** 2
    return replace(balance, mean=mean, covariance=covariance)


def _linear(balance: Balance, step: Sequence[tuple[int, int, float]]) -> Balance:
    """Each (to, from, factor) adds the factor times one unknown to another."""
    change = np.eye(len(balance.names))
    for to, of, factor in step:
        require_finite("factor", factor, "its unit")
        change[to, of] += factor
    return replace(
        balance, mean=change @ balance.mean, covariance=change @ balance.covariance @ change.T
    )


def _taken_out(balance: Balance, volume_l: float, gradient: Vector, own_u_l: float) -> Balance:
    """Bath of the volume taken out, whose derivatives are `gradient`, with a doubt of its own.

    Raises ValueError for more than there is.
    """
    if not 0 <= volume_l < balance.mean[0]:
        raise ValueError(
            f"what leaves the bath must be from 0 to {balance.mean[0]:g} L, got {volume_l:g} L"
        )
    size, share = len(balance.names), volume_l / balance.mean[0]
    # The share that leaves, by the unknowns: of the volume, and of what sets the volume taken.
    of_share = gradient / balance.mean[0]
    of_share[0] -= share / balance.mean[0]
    change, own = np.eye(size), np.zeros(size)
    dissolved = range(1, 1 + len(balance.components))
    for at in (0, *dissolved):
        change[at, at] -= share
        change[at] -= balance.mean[at] * of_share
        own[at] = -balance.mean[at] * own_u_l / balance.mean[0]
    mean = balance.mean.copy()
    mean[: 1 + len(balance.components)] *= 1.0 - share
    covariance = change @ balance.covariance @ change.T + np.outer(own, own)
    return replace(balance, mean=mean, covariance=covariance)


def _noisier(balance: Balance, at: int, u: float) -> Balance:
    covariance = balance.covariance.copy()
    covariance[at, at] += u**2
    return replace(balance, covariance=covariance)


def _measured(balance: Balance, gradient: Vector, expected: float, found: Doubtful) -> Balance:
    """A measurement brought in; the form that keeps a covariance symmetric and above 0."""
    spread = balance.covariance @ gradient
    total = float(gradient @ spread) + found.u**2
    if total == 0:
        return balance
    gain = spread / total
    left = np.eye(len(gain)) - np.outer(gain, gradient)
    covariance = left @ balance.covariance @ left.T + np.outer(gain, gain) * found.u**2
    return replace(
        balance, mean=balance.mean + gain * (found.value - expected), covariance=covariance
    )
