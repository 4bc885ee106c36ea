import pytest
from pydantic import TypeAdapter, ValidationError

from daemon.api import quantities


def read(name, value):
    return TypeAdapter(getattr(quantities, name)).validate_python(value)


@pytest.mark.parametrize(
    ("name", "text", "expected"),
    [
        ("CurrentA", "500 mA", 0.5),
        ("CurrentDensityADm2", "9.290304 ASF", 1.0),
        ("VoltageV", "2500 mV", 2.5),
        ("ChargeAh", "30 A·min", 0.5),
        ("DurationS", "1 h 30 min", 5400.0),
        ("RampS", "5 min", 300.0),
        ("RampS", "0 s", 0.0),
        ("AreaDm2", "180 cm²", 1.8),
        ("ThicknessUm", "1 mil", 25.4),
        ("DensityGCm3", "8920 kg/m³", 8.92),
        ("Fraction", "95 %", 0.95),
        ("Fraction", 0.95, 0.95),
        ("Fraction", 1, 1.0),
    ],
)
def test_a_field_holds_a_float_in_the_unit_of_its_name(name, text, expected):
    assert read(name, text) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "came", "complaint"),
    [
        ("CurrentA", "0 A", "must be above 0 A, got 0 A"),
        ("CurrentDensityADm2", "-1 A/dm²", "must be above 0 A/dm², got -1 A/dm²"),
        ("VoltageV", "-4 V", "must be above 0 V, got -4 V"),
        ("ChargeAh", "0 Ah", "must be above 0 A·h, got 0 Ah"),
        ("DurationS", "0 min", "must be above 0 s, got 0 min"),
        ("RampS", "-1 min", "must be at least 0 s, got -1 min"),
        ("AreaDm2", "0 cm²", "must be above 0 dm², got 0 cm²"),
        ("ThicknessUm", "-1 mil", "must be above 0 µm, got -1 mil"),
        ("DensityGCm3", "0 g/cm³", "must be above 0 g/cm³, got 0 g/cm³"),
        ("Fraction", "101 %", "must be at most 1 (100 %), got 101 %"),
        ("Fraction", 95, "must be at most 1 (100 %), got 95"),
        ("Fraction", "0 %", "must be above 0, got 0 %"),
        ("CurrentA", 2.5, 'expected a current such as "2.5 A", got 2.5'),
        ("CurrentA", "4 V", 'expected a current such as "2.5 A", got "4 V"'),
        ("ThicknessUm", "25", 'expected a length such as "25 µm", got "25"'),
    ],
)
def test_a_value_out_of_range_or_of_another_kind_is_refused(name, came, complaint):
    with pytest.raises(ValidationError) as refused:
        read(name, came)
    assert complaint in str(refused.value)
