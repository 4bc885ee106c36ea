"""The heartbeat circuit, simulated as a network: stuck, slow, fast, pauses, worst parts, faults.

The simulation (`heartbeat_simulation`) shares no formula with the module whose figures the
documents show; what they say is held against each other here.
"""

import importlib.util
import math
from pathlib import Path

import pytest

from daemon.service.devices.pin_settings import LEAST_DROP_OUT_S, ContactorTable
from daemon.service.devices.pins import CYCLE_S, LEAST_EDGE_S
from hardware.circuits import heartbeat
from hardware.circuits.netlist import read_sheet
from hardware.circuits.pin_map import box_settings

_spec = importlib.util.spec_from_file_location(
    "heartbeat_simulation", Path(__file__).parent / "heartbeat_simulation.py"
)
simulation = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(simulation)

square = simulation.square
NOMINAL = heartbeat.nominal()
CORNERS = [NOMINAL, *heartbeat.corners(NOMINAL)]
SETTINGS = box_settings().contactor
HARDWARE = Path(__file__).parent.parent.parent / "hardware"


@pytest.fixture(scope="module")
def figures():
    return heartbeat.figures()


def run(values, edges, rest_s=1.5, starts_high=False, **faults):
    """When the coil's current began and ended, each in s after the first and last edge."""
    circuit = simulation.by_values(values, **faults)
    times, coil = simulation.permitted(circuit, edges, edges[-1] + rest_s, starts_high)
    first, last = simulation.first_on_s(times, coil), simulation.last_on_s(times, coil)
    return (None, None) if first is None else (first - edges[0], last - edges[-1])


def worst(of, *, most):
    return (max if most else min)(CORNERS, key=of)


SLOWEST_OFF = worst(heartbeat.circuit_drop_out_s, most=True)
LEAST_BEARING = worst(heartbeat.bears_pause, most=False)
LATEST_ON = worst(heartbeat.slowest_edge_s, most=False)
EAGEREST = worst(lambda v: v.threshold_on_v / v.after_pulse_v(v.rest_v, 1.0), most=False)


@pytest.mark.parametrize("values", [NOMINAL, LATEST_ON], ids=["nominal", "latest to close"])
@pytest.mark.parametrize("edge_s", [LEAST_EDGE_S, CYCLE_S, CYCLE_S + 0.015])
def test_it_closes_at_every_rhythm_of_the_loop_and_stays_closed(values, edge_s, figures):
    edges = square(edge_s, round(1.5 / edge_s))
    times, coil = simulation.permitted(simulation.by_values(values), edges, edges[-1])
    first = simulation.first_on_s(times, coil)
    assert first is not None
    assert first - edges[0] + heartbeat.CLOSING_S < SETTINGS.pull_in
    assert coil[times >= first].all()


@pytest.mark.parametrize("ends_high", [False, True], ids=["stuck low", "stuck high"])
@pytest.mark.parametrize("values", [NOMINAL, SLOWEST_OFF], ids=["nominal", "slowest to open"])
@pytest.mark.parametrize("edge_s", [LEAST_EDGE_S, CYCLE_S])
def test_it_opens_when_the_line_sticks(values, ends_high, edge_s, figures):
    _, off_s = run(values, square(edge_s, 60 + ends_high))
    assert LEAST_DROP_OUT_S < off_s + heartbeat.RELEASE_S < SETTINGS.drop_out
    assert off_s + heartbeat.RELEASE_S <= figures.drop_out_s[1]


def test_the_module_foretells_the_simulation():
    for values in (NOMINAL, SLOWEST_OFF, LATEST_ON):
        _, off_s = run(values, square(LEAST_EDGE_S, 60))
        # The module takes the last pulse's time and leaves out what leaks meanwhile: never less.
        assert off_s <= heartbeat.circuit_drop_out_s(values) <= off_s + 0.06


def test_a_line_that_never_moves_closes_nothing():
    assert run(EAGEREST, [3.0], starts_high=False) == (None, None)
    assert run(EAGEREST, [3.0], starts_high=True) == (None, None)


def test_one_change_closes_nothing():
    # As when a program claims the pin, or the control supply comes up.
    assert run(EAGEREST, [0.5])[0] is None
    assert run(EAGEREST, [0.5, 0.55])[0] is None
    assert EAGEREST.threshold_on_v > 1.3 * EAGEREST.after_pulse_v(EAGEREST.rest_v, 1.0)


def test_too_slow_a_rhythm_closes_nothing(figures):
    eager = worst(heartbeat.slowest_edge_s, most=True)
    assert run(eager, square(figures.slowest_s[1] + 0.02, 12))[0] is None
    assert run(eager, square(0.5, 8))[0] is None  # 1 Hz, as a program's blinking


def test_a_rhythm_that_is_too_fast_is_not_told_from_a_sound_one():
    # Not refused, and the document says so: nothing in tankhand moves the line faster than 20 ms.
    assert run(NOMINAL, square(0.005, 60), rest_s=0.1)[0] is not None


@pytest.mark.parametrize("high", [False, True])
def test_a_pause_of_200_ms_opens_nothing(high):
    edges = square(CYCLE_S, 31 + high)
    after = [edges[-1] + heartbeat.PAUSE_S + CYCLE_S * number for number in range(6)]
    for values in (NOMINAL, LEAST_BEARING):
        circuit = simulation.by_values(values)
        times, coil = simulation.permitted(circuit, [*edges, *after], after[-1])
        first = simulation.first_on_s(times, coil)
        assert coil[times >= first].all()


def test_the_settings_allow_for_the_circuit(figures):
    assert figures.drop_out_s[0] > LEAST_DROP_OUT_S
    assert figures.drop_out_s[1] < SETTINGS.drop_out == ContactorTable(heartbeat_pin=17).drop_out
    assert figures.pick_up_s[1] < SETTINGS.pull_in == ContactorTable(heartbeat_pin=17).pull_in
    assert figures.slowest_s[0] > CYCLE_S
    assert figures.pulses[0] >= 2
    assert figures.pause[0] > 1
    assert figures.single[0] > 1.3


def test_the_pin_drives_what_it_may_and_the_light_gives_enough(figures):
    # By hand: (3.45 V - 1.0 V)/(0.98·390 Ω) = 6.41 mA; (3.0 - 1.4)/(1.02·390) = 4.02 mA.
    assert figures.light_a == pytest.approx((4.02e-3, 6.41e-3), rel=1e-3)
    assert figures.light_a[1] < heartbeat.PIN_LIMIT_A
    # 26.4 V/(0.98·18 kΩ) is 1.50 mA, and half of 4.02 mA is 2.01 mA.
    assert figures.collector[0] == pytest.approx(2.01 / 1.497, rel=0.02)


def test_thresholds_by_hand():
    # R5 is 340 kΩ. Off: R9 to 0 V beside R6, 82.46 kΩ: 24·82.46/422.46 = 4.684 V, and the bias's
    # 0.1 µA through 66.4 kΩ, 6.6 mV. On: R9, R7 and R8 in series, 491 kΩ, beside R5: 200.9 kΩ;
    # 24·100/300.9 = 7.976 V, and 6.7 mV.
    assert NOMINAL.threshold_off_v == pytest.approx(4.684 + 0.0066, abs=0.002)
    assert NOMINAL.threshold_on_v == pytest.approx(7.976 + 0.0067, abs=0.003)


OPEN, SHORT = 1e12, 1.0

FAULTS = {
    "R1 open": None,  # U1 stays dark: a line that never moves
    "R2 open": {},
    "U1 open": None,
    "U1 short": None,
    "R3 open": {"r3_ohm": OPEN},
    "C1a short": {"c1_f": 0.47e-6},
    "C1a open": {"c1_f": 1e-11},
    "D1 open": {"d1": "open"},
    "D1 short": {"d1": "short"},
    "D2 open": {"d2": "open"},
    "D2 short": {"d2": "short"},
    "C2 open": {"c2_f": 1e-9},
    "C2 short": {"r4_ohm": SHORT},
    "R4a open": {"r4_ohm": 820e3},
    "R4a short": {"r4_ohm": SHORT},
    "R5a open": {"r5_ohm": 680e3},
    "R6 open": {"r6_ohm": OPEN},
    "R9 open": {"r9_ohm": OPEN},
}
"""A fault, and the values with it. Thresholds follow from the resistors that make them."""


def with_fault(change):
    resistors = {key: change[key] for key in change if key in ("r5_ohm", "r6_ohm", "r9_ohm")}
    faulty = heartbeat.replace(NOMINAL, **resistors)
    rest = {key: value for key, value in change.items() if key not in resistors}
    return simulation.replace(simulation.by_values(faulty), **rest)


@pytest.mark.parametrize("ends_high", [False, True], ids=["stuck low", "stuck high"])
@pytest.mark.parametrize("fault", [name for name, change in FAULTS.items() if change])
def test_one_failed_part_still_lets_the_contactor_open(fault, ends_high):
    edges = square(CYCLE_S, 24 + ends_high)
    times, coil = simulation.permitted(with_fault(FAULTS[fault]), edges, edges[-1] + 2.2)
    off_s = (simulation.last_on_s(times, coil) or edges[-1]) - edges[-1]
    assert off_s < 2.0, "does not open"
    # Slower than it may be: the proof test finds it.
    if fault not in ("R4a open", "R5a open"):
        assert off_s + heartbeat.RELEASE_S < SETTINGS.drop_out


def test_the_checklist_expects_what_the_circuit_does(figures):
    text = (HARDWARE / "commissioning.md").read_text("utf-8")
    rows = {row.split("|")[1].strip(): row for row in text.splitlines() if row.startswith("| ")}
    # Rounded outwards, in steps of half a volt; a voltmeter of 10 MΩ takes 4 % away.
    least, most = 0.96 * figures.slow_v[0], figures.fast_v[1]
    assert f"{math.floor(2 * least) / 2:g} to {math.ceil(2 * most) / 2:g} V" in rows["E4"]
    assert f"below {math.ceil(10 * figures.rest_v[1]) / 10:g} V" in rows["B3"]
    low, high = (heartbeat.SUPPLY_V * (1 + sign * heartbeat.SUPPLY_LIMIT) for sign in (-1, 1))
    assert f"{low:.1f} to {high:.1f} V behind F2" in rows["B1"]
    for number in ("E6", "E8", "E9"):
        assert f"K1 opens within {SETTINGS.drop_out:g} s" in rows[number]


def test_the_document_says_of_every_part_what_its_failing_does():
    text = (HARDWARE / "heartbeat.md").read_text("utf-8")
    table = text.split("## One part fails")[1].split("\n## ")[0]
    parts = {part.device for part in read_sheet("3-heartbeat").part} - {"Pi", "K1"}
    rows = [row.split("|")[1] for row in table.splitlines() if row.startswith("|")]
    named = {mark for row in rows for mark in row.replace(",", " ").split()}
    assert parts <= named
