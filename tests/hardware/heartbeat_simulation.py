"""The heartbeat circuit as an electrical network, solved as differential equations.

It shares no formula with `hardware.circuits.heartbeat`: the voltages at U1's collector (X), between
C1 and the diodes (A) and at C2 (B) follow from Kirchhoff's current law, with stray capacitors at X
and A, diodes that conduct by their slope, and a phototransistor that sinks so much and no more.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.integrate import solve_ivp

STRAY_F = 3e-9
SLOPE_OHM = 100.0
STEP_S = 0.001


@dataclass(frozen=True)
class Circuit:
    """Values of one board; faults are values too: 1e12 Ω is open, 1 Ω a short."""

    r3_ohm: float = 18e3
    r4_ohm: float = 410e3
    c1_f: float = 0.235e-6
    c2_f: float = 1e-6
    supply_v: float = 24.0
    diode_v: float = 0.6
    sink_a: float = 3e-3
    saturated_v: float = 0.2
    bias_a: float = 0.1e-6
    on_v: float = 8.0
    off_v: float = 4.3
    d1: str = "sound"
    d2: str = "sound"


def by_values(values, **more):
    """The circuit with the values of the module, thresholds included."""
    return Circuit(
        r3_ohm=values.r3_ohm, r4_ohm=values.r4_ohm, c1_f=values.c1_f, c2_f=values.c2_f,
        supply_v=values.supply_v, diode_v=values.diode_v, saturated_v=values.saturated_v,
        bias_a=values.bias_a, on_v=values.threshold_on_v, off_v=values.threshold_off_v, **more,
    )  # fmt: skip


def square(edge_s, edges, first_s=0.1):
    """Moments at which the line changes, from low."""
    return [first_s + edge_s * number for number in range(edges)]


def permitted(circuit, edges_s, until_s, starts_high=False):
    """Times, 1 ms apart, and whether the coil has current at each.

    The line is at `starts_high` until the first of `edges_s`, and changes at each.
    """
    state = np.array([0.0, -circuit.diode_v, 0.0])
    times, volts = [], []
    high, begin = starts_high, 0.0
    for end in (*edges_s, until_s):
        grid = np.linspace(begin, end, max(2, round((end - begin) / STEP_S)), endpoint=False)
        if end > begin:
            solved = solve_ivp(
                _rates, (begin, end), state, method="LSODA", t_eval=[*grid, end],
                args=(circuit, high), rtol=1e-5, atol=1e-5, first_step=1e-8,
            )  # fmt: skip
            assert solved.success, solved.message
            times += list(solved.t[:-1])
            volts += list(solved.y[2][:-1])
            state = solved.y[:, -1]
        high, begin = not high, end
    return np.array(times), _comparator(volts, circuit)


def _comparator(volts, circuit):
    coil, out = False, []
    for v in volts:
        coil = v > (circuit.off_v if coil else circuit.on_v)
        out.append(coil)
    return np.array(out)


def _diode_a(volts, how, drop_v):
    if how == "open":
        return 0.0
    if how == "short":
        return volts / SLOPE_OHM
    return max(0.0, volts - drop_v) / SLOPE_OHM


def _rates(_t, state, c, lit):
    x, a, b = state
    sunk_a = c.sink_a * min(1.0, max(0.0, x / c.saturated_v)) if lit else 0.0
    into_x = (c.supply_v - x) / c.r3_ohm - sunk_a
    d2_a = _diode_a(a - b, c.d2, c.diode_v)
    into_a = _diode_a(-a, c.d1, c.diode_v) - d2_a
    into_b = d2_a - b / c.r4_ohm + c.bias_a
    # C1 couples X and A: (stray + C1)·x' - C1·a' = into_x, and likewise for A.
    own = STRAY_F + c.c1_f
    scale = own**2 - c.c1_f**2
    return [
        (own * into_x + c.c1_f * into_a) / scale,
        (own * into_a + c.c1_f * into_x) / scale,
        into_b / c.c2_f,
    ]


def last_on_s(times, coil):
    """When the coil had current for the last time; None if never."""
    return float(times[coil][-1]) if coil.any() else None


def first_on_s(times, coil):
    """When the coil had current for the first time; None if never."""
    return float(times[coil][0]) if coil.any() else None


__all__ = ["Circuit", "by_values", "first_on_s", "last_on_s", "permitted", "replace", "square"]
