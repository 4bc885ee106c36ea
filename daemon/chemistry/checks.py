"""Range checks that say what came, what is allowed, and in which unit."""

import math


def require_finite(name: str, value: float, unit: str) -> float:
    """Give `value` back; raise ValueError when it is not a finite number."""
    if not math.isfinite(value):
        raise ValueError(f"{name} must be a finite number{unit and f' of {unit}'}, got {value}")
    return value


def require_positive(name: str, value: float, unit: str) -> float:
    """Give `value` back; raise ValueError unless it is finite and above 0."""
    if not (math.isfinite(value) and value > 0):
        unit = f" {unit}" if unit else ""
        raise ValueError(f"{name} must be above 0{unit} and finite, got {value:g}{unit}")
    return value


def require_not_negative(name: str, value: float, unit: str) -> float:
    """Give `value` back; raise ValueError unless it is finite and at least 0."""
    if not (math.isfinite(value) and value >= 0):
        unit = f" {unit}" if unit else ""
        raise ValueError(f"{name} must be at least 0{unit} and finite, got {value:g}{unit}")
    return value


def require_efficiency(value: float) -> float:
    """Give a cathode efficiency back; raise ValueError unless it lies in 0 < efficiency <= 1."""
    if not 0 < value <= 1:
        raise ValueError(
            f"efficiency must be a fraction above 0 and at most 1 (100 %), got {value:g}"
        )
    return value
