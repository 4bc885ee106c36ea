"""How far each measuring chain counts from the tank's truth, before and after its calibration.

Drivers, workers, panel and loop are the daemon's, on the virtual clock; a simulated ammeter that is
1 % high stands at the other end of the line, or behind the kernel's file.
"""

import importlib
import sys
from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"

TARGET_UM = 1.0
"""Some six minutes at up to 2 A."""

CLIMB_AH = 1.0 / 3600
"""A·h. On its way to 2 A the current rises right after each reading, and the next, a second later,
is taken for the end of a straight line: half a second of 2 A goes uncounted. A run of hours knows
nothing of it."""

OFFSETS_A = {
    "SCPI supply's readback": 5e-3,
    "Modbus RTU supply's readback": 8e-3,
    "INA226, 60 mV shunt": 8e-6 / 2e-3,
    "INA219, 60 mV shunt": 12e-6 / 2e-3,
    "INA228, 60 mV shunt": 1e-6 / 2e-3,
    "ADS1115, 75 mV shunt": 15e-6 / 2.5e-3,
}
"""What each shows for no current, A: of a chip what its offset is over 60 or 75 mV at 30 A."""

STEPS_A = {"INA219, 60 mV shunt": 10e-6 / 2e-3, "ADS1115, 75 mV shunt": 7.8125e-6 / 2.5e-3}
"""Steps that are coarse against 2 A: a steady current is rounded by up to half of one."""


@pytest.fixture(scope="module")
def accuracy():
    """The benchmark that prints the whole table; it says what the chains are made of."""
    sys.path.insert(0, str(BENCHMARKS))
    try:
        yield importlib.import_module("accuracy")
    finally:
        sys.path.remove(str(BENCHMARKS))
        for name in ("accuracy", "chains", "harness"):
            sys.modules.pop(name, None)


@pytest.mark.parametrize("name", OFFSETS_A)
def test_a_chain_errs_by_its_meter_and_after_calibration_by_its_reference(accuracy, tmp_path, name):
    (kind,) = (kind for kind in accuracy.KINDS if kind.name == name)
    pair = accuracy.measure(kind, tmp_path, 1, TARGET_UM, "0.2 % + 2 mA")
    before, after = pair.before, pair.after
    # 1 µm on 1.8 dm² of copper of 8.96 g/cm³, 63.546 g/mol, two electrons: 0.1361 A·h.
    assert before.counted_ah == pytest.approx(0.1361, rel=2e-3)
    # What is wrong with the meter, over the run, and no more than half a step besides.
    hours = before.lasted_s / 3600
    expected_ah = 1.01 * before.true_ah + OFFSETS_A[name] * hours
    step_ah = STEPS_A.get(name, 0.0) / 2 * hours
    assert before.counted_ah == pytest.approx(expected_ah, abs=step_ah + CLIMB_AH)
    assert before.inside
    # What is left: the reference's class, half its last digit of 1 mA, and half a step.
    left_a = 2e-3 + 0.5e-3
    left_ah = 0.002 * after.true_ah + left_a * after.lasted_s / 3600 + step_ah + CLIMB_AH
    assert abs(after.counted_ah - after.true_ah) < left_ah
    assert abs(after.error) < abs(before.error) / 2
    # Surer than before, and rightly so.
    assert after.half_width < before.half_width / 3
    assert abs(after.counted_ah - after.true_ah) < after.half_width_ah + CLIMB_AH
