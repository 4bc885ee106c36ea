"""The tank: anode, bath and parts as one non-linear load, and the truth about what it plated.

V = I·(leads + contact) + anode + [bath and parts in parallel] at the supply's terminals. Anode and
cathode are copper in the same bath, so that their rest potentials cancel; what the current does
to the concentration at their faces is in the overpotentials.

Integrator. Charge is handed in exactly by whoever drives the tank, and is what the truth counts.
Over one step of `advance` the current's shares between parts are held at those of the step's mean
current, and the temperature follows the exact exponential for constant heat: both first order in
the step for the state, exact for the total charge. Painted parts change over minutes, the
temperature over hours; the supply's steps are 2 s at most.
"""

from collections.abc import Sequence
from math import exp, inf
from typing import NamedTuple

from drivers.simulator.bath import Bath
from drivers.simulator.electrochemistry import COPPER_G_PER_C
from drivers.simulator.parameters import BathParameters, PartParameters
from drivers.simulator.part import Part
from drivers.simulator.rack import CURRENT_TOLERANCE_A, VOLTAGE_TOLERANCE_V, Rack, Share
from drivers.simulator.solver import solve_increasing

REFRESH_K = 0.01
"""The bath's properties are computed anew when it is this much warmer or colder: 2 % per K at
most, so 0.02 % of a voltage."""
DRIFT_HALF_A_PER_DM2 = 0.2
"""Anode density at which a polarised anode shows half of its extra voltage (a chosen value)."""


class Point(NamedTuple):
    """Where the tank works: at its terminals, between its electrodes, and part by part."""

    terminal_a: float
    terminal_v: float
    bath_v: float
    cell_a: float
    shares: tuple[Share, ...]


class Tank:
    """The load on the supply, and what has happened in it.

    `charge_c` is what passed through the parts and `shunted_c` what a short led past them, in C;
    `is_open` tells that no current can pass at all.
    """

    def __init__(self, bath: BathParameters, parts: Sequence[PartParameters]) -> None:
        self._bath = Bath(bath)
        self._rack = Rack(parts)
        self.temperature_c = bath.temperature_c
        self.charge_c = 0.0
        self.shunted_c = 0.0
        self._shorts_siemens: dict[str, float] = {}
        self._contact_ohm = 0.0
        self._broken = False
        self._drift_v = 0.0
        self._drift_v_per_s = 0.0
        self._drift_limit_v = 0.0
        self._ambient_c = bath.ambient_c
        self._loss_w_per_k = bath.heat_loss_w_per_k
        self._cooling_per_s = bath.heat_loss_w_per_k / (bath.heat_j_per_l_k * bath.volume_l)
        self._copper_g_per_c = COPPER_G_PER_C * bath.cathode_efficiency
        self._anode_dm2 = bath.anode_area_dm2
        self._lead_ohm = bath.lead_resistance_ohm
        self._cell_guess_a = 0.0
        self._refresh()

    def _refresh(self) -> None:
        self._refreshed_c = self.temperature_c
        self._electrode = self._bath.electrode(self.temperature_c)
        self._gap_ohm_dm2 = self._bath.gap_ohm_dm2(self.temperature_c)
        self._changed()

    def _changed(self) -> None:
        self._short_siemens = sum(self._shorts_siemens.values())
        self._series_ohm = self._lead_ohm + self._contact_ohm
        self.is_open = self._broken or not (self._rack.hanging or self._short_siemens)
        self._point: Point | None = None

    # What can go wrong with it.

    def set_short(self, name: str, siemens: float) -> None:
        """Join anode and cathode by this conductance in S; 0 takes the short of this name away."""
        self._shorts_siemens.pop(name, None)
        if siemens > 0.0:
            self._shorts_siemens[name] = siemens
        self._changed()

    def set_contact_ohm(self, ohm: float) -> None:
        """Resistance of a bad contact in series, on top of the leads', Ω."""
        self._contact_ohm = ohm
        self._changed()

    def set_broken(self, broken: bool) -> None:
        """Open or close the circuit of the whole load."""
        self._broken = broken
        self._changed()

    def hang(self, index: int, hangs: bool) -> None:
        """Let a part fall off its hook, or hang it up again."""
        self._rack.hang(index, hangs)
        self._changed()

    def set_anode_drift(self, v_per_s: float, limit_v: float) -> None:
        """Let the anode polarise at this rate up to `limit_v`; a rate of 0 ends it at once."""
        self._drift_v_per_s = v_per_s
        self._drift_limit_v = limit_v
        if v_per_s == 0.0:
            self._drift_v = 0.0
        self._changed()

    # What it is.

    @property
    def parts(self) -> tuple[Part, ...]:
        """All parts, the lost ones included."""
        return self._rack.parts

    @property
    def deposited_g(self) -> float:
        """Copper on all parts, the lost ones included, g."""
        return sum(part.deposited_g for part in self.parts)

    def voltage_at(self, current_a: float) -> float:
        """Terminal voltage in V that drives `current_a` >= 0; infinite when the load is open."""
        return self.point_at(current_a).terminal_v

    def current_at(self, voltage_v: float) -> float:
        """Terminal current in A that `voltage_v` >= 0 drives; 0 when the load is open."""
        if voltage_v <= 0.0 or self.is_open:
            return 0.0
        if not self._rack.hanging:
            return voltage_v / (self._series_ohm + 1.0 / self._short_siemens)
        series, short = self._series_ohm, self._short_siemens

        def terminal_v(cell_a: float) -> tuple[float, float]:
            bath_v, slope, _ = self._cell(cell_a)
            return (
                bath_v + series * (cell_a + short * bath_v),
                slope * (1.0 + series * short) + series,
            )

        # Overpotentials only lower the current, so that the ohmic part alone bounds it.
        most_a = voltage_v / (series + 1.0 / self._rack.siemens(self._gap_ohm_dm2))
        guess = min(self._cell_guess_a, most_a) or 0.5 * most_a
        cell_a = solve_increasing(terminal_v, voltage_v, 0.0, most_a, guess, VOLTAGE_TOLERANCE_V)
        self._cell_guess_a = cell_a
        bath_v, _, _ = self._cell(cell_a)
        return cell_a + short * bath_v

    def point_at(self, current_a: float) -> Point:
        """Where the tank works at this terminal current, >= 0 A; the newest answer is kept."""
        point = self._point
        if point is None or point.terminal_a != current_a:
            point = self._point = self._solve(current_a)
        return point

    def _solve(self, current_a: float) -> Point:
        if current_a <= 0.0:
            return Point(0.0, 0.0, 0.0, 0.0, ())
        if self.is_open:
            return Point(current_a, inf, inf, 0.0, ())
        short = self._short_siemens
        if not self._rack.hanging:
            bath_v = current_a / short
            return Point(current_a, bath_v + current_a * self._series_ohm, bath_v, 0.0, ())
        cell_a = current_a
        if short > 0.0:

            def total_a(cell_a: float) -> tuple[float, float]:
                bath_v, slope, _ = self._cell(cell_a)
                return cell_a + short * bath_v, 1.0 + short * slope

            cell_a = solve_increasing(
                total_a, current_a, 0.0, current_a, 0.5 * current_a, CURRENT_TOLERANCE_A
            )
        bath_v, _, shares = self._cell(cell_a)
        return Point(current_a, bath_v + current_a * self._series_ohm, bath_v, cell_a, shares)

    def _cell(self, cell_a: float) -> tuple[float, float, tuple[Share, ...]]:
        """(bath voltage V, its slope Ω, the parts' shares) with `cell_a` through the parts."""
        anode_dm2 = self._anode_dm2
        anode_v, anode_slope = self._electrode.anode(cell_a / anode_dm2)
        block_v, block_slope, shares = self._rack.voltage_at(
            cell_a, self._electrode, self._gap_ohm_dm2
        )
        bath_v = anode_v + block_v
        slope = anode_slope / anode_dm2 + block_slope
        if self._drift_v > 0.0:
            half_a = DRIFT_HALF_A_PER_DM2 * anode_dm2
            bath_v += self._drift_v * cell_a / (cell_a + half_a)
            slope += self._drift_v * half_a / (cell_a + half_a) ** 2
        return bath_v, slope, shares

    # What happens in it.

    def advance(self, dt_s: float, charge_c: float) -> None:
        """Let `charge_c` >= 0 through the terminals within `dt_s` > 0, and time pass."""
        point = self.point_at(charge_c / dt_s)
        terminal_a, _, bath_v, cell_a, shares = point
        cell_c = cell_a * dt_s
        self.charge_c += cell_c
        self.shunted_c += charge_c - cell_c
        copper_g_per_a = self._copper_g_per_c * dt_s
        for part, current_a, copper_share in shares:
            part.deposit(current_a * copper_share * copper_g_per_a)
        settled_c = self._ambient_c + terminal_a * bath_v / self._loss_w_per_k
        temperature_c = settled_c + (self.temperature_c - settled_c) * exp(
            -dt_s * self._cooling_per_s
        )
        self.temperature_c = temperature_c
        if self._drift_v_per_s > 0.0 and cell_a > 0.0:
            self._drift_v = min(self._drift_limit_v, self._drift_v + self._drift_v_per_s * dt_s)
        self._point = None
        if abs(temperature_c - self._refreshed_c) > REFRESH_K:
            self._refresh()
