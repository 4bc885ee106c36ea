"""The root finder, where Newton alone would fail."""

from math import atan, exp

import pytest

from drivers.simulator.solver import solve_increasing


def test_far_guess_on_an_exponential() -> None:
    root = solve_increasing(lambda x: (exp(x), exp(x)), 5.0, -20.0, 100.0, -15.0, 1e-12)
    assert root == pytest.approx(1.6094379, abs=1e-7)


def test_newton_would_diverge_on_an_arctangent() -> None:
    root = solve_increasing(lambda x: (atan(x), 1.0 / (1.0 + x * x)), 0.5, -50.0, 60.0, 30.0, 1e-12)
    assert root == pytest.approx(0.5463025, abs=1e-7)


def test_a_step_is_found_to_a_floats_resolution() -> None:
    root = solve_increasing(lambda x: (1.0 if x > 0.3 else -1.0, 1e-9), 0.0, 0.0, 1.0, 0.5, 1e-12)
    assert root == pytest.approx(0.3, abs=1e-15)
