"""A value that cannot be is refused by its name: what came, what is allowed, and in which unit."""

import math

import pytest

from daemon.chemistry.bath_limits import Container
from daemon.chemistry.calibration import Point, ReferenceClass
from daemon.chemistry.dilution_heat import acid_heat_kj, acid_kj_mol, rise_k
from daemon.chemistry.drag_out import Tracer, by_tracer, carried_l
from daemon.chemistry.electrolysis import (
    charge_ah_for_mass,
    charge_ah_for_thickness,
    duration_s_for_thickness,
    mass_g,
    ramp_charge_ah,
    thickness_um,
    um_per_ah,
)
from daemon.chemistry.filtering import share_taken_out, through_filter_l, turnovers_h
from daemon.chemistry.make_up import Composition
from daemon.chemistry.mass_balance import Doubtful
from daemon.chemistry.metals import metal_named
from daemon.chemistry.restoring import Found, Source
from daemon.chemistry.titration import Burette, delivered
from daemon.chemistry.trend import TrendPoint

CU = metal_named("Cu(II)")
NOT_NEGATIVE = "must be at least 0 {unit} and finite, got -1 {unit}"
POSITIVE = "must be above 0 {unit} and finite, got 0 {unit}"
FINITE = "must be a finite number of {unit}, got inf"

NEGATIVES = [
    (lambda: Container(10.0, anodes_l=-1.0), "anodes", "L"),
    (lambda: Container(10.0, parts_l=-1.0), "parts", "L"),
    (lambda: Container(10.0, free_board_l=-1.0), "free board", "L"),
    (lambda: Point(1.0, -1.0, 1.0), "uncertainty of the meter reading", "A"),
    (lambda: Point(1.0, 0.1, 1.0, -1.0), "uncertainty of the reference", "A"),
    (lambda: ReferenceClass(offset_a=-1.0), "the reference's class", "A"),
    (lambda: acid_kj_mol(-1.0), "water for each acid", "mol/mol"),
    (lambda: acid_heat_kj(-1.0, 1.0, 1.0), "acid", "g"),
    (lambda: acid_heat_kj(1.0, -1.0, 1.0), "water of the acid", "g"),
    (lambda: acid_heat_kj(1.0, 1.0, -1.0), "water", "g"),
    (lambda: carried_l(1.0, -1.0), "drag-out", "mL/dm²"),
    (lambda: by_tracer(Tracer(-1.0, 1.0, 1.0, 1.0)), "tracer that was added", "g"),
    (lambda: charge_ah_for_mass(CU, -1.0), "mass", "g"),
    (lambda: charge_ah_for_thickness(CU, -1.0, 1.0), "thickness", "µm"),
    (lambda: ramp_charge_ah(0.0, 1.0, -1.0), "duration", "s"),
    (lambda: turnovers_h(1.0, -1.0), "flow", "L/h"),
    (lambda: through_filter_l(-1.0, 1.0), "flow", "L/h"),
    (lambda: through_filter_l(1.0, -1.0), "time", "h"),
    (lambda: Composition(copper_g_l=-1.0), "copper", "g/L"),
    (lambda: Composition(acid_g_l=-1.0), "sulfuric acid", "g/L"),
    (lambda: Composition(chloride_mg_l=-1.0), "chloride", "mg/L"),
    (lambda: Found(-1.0), "concentration", "g/L"),
    (lambda: Found(1.0, -1.0), "uncertainty of the concentration", "g/L"),
    (lambda: Source(1.0, grows_ml=-1.0), "volume of what is added", "mL"),
    (lambda: Burette(limit_ml=-1.0), "limit of the burette", "mL"),
    (lambda: Burette(step_ml=-1.0), "step of the readings", "mL"),
    (lambda: Burette(end_point_ml=-1.0), "limit of the end point", "mL"),
    (lambda: delivered(-1.0, 1.0), "start of the burette", "mL"),
]

NONE = [
    (lambda: Container(0.0), "brim", "L"),
    (lambda: rise_k(1.0, 0.0), "water", "g"),
    (lambda: carried_l(0.0), "area", "dm²"),
    (lambda: by_tracer(Tracer(1.0, 1.0, 1.0, 0.0)), "volume of the bath", "L"),
    (lambda: by_tracer(Tracer(1.0, 0.0, 1.0, 1.0)), "concentration of the tracer", "g/L"),
    (lambda: by_tracer(Tracer(1.0, 1.0, 0.0, 1.0)), "concentration of the tracer", "g/L"),
    (lambda: um_per_ah(CU, 0.0), "area", "dm²"),
    (lambda: duration_s_for_thickness(CU, 1.0, 0.0), "current density", "A/dm²"),
    (lambda: turnovers_h(0.0, 1.0), "volume of the bath", "L"),
    (lambda: Source(0.0), "content of what is added", "g"),
]

INFINITIES = [
    (lambda: Point(math.inf, 0.1, 1.0), "meter reading", "A"),
    (lambda: Point(1.0, 0.1, math.inf), "reference", "A"),
    (lambda: mass_g(CU, math.inf), "charge", "A·h"),
    (lambda: thickness_um(CU, math.inf, 1.0), "charge", "A·h"),
    (lambda: ramp_charge_ah(math.inf, 1.0, 1.0), "start current", "A"),
    (lambda: ramp_charge_ah(0.0, math.inf, 1.0), "end current", "A"),
    (lambda: delivered(0.0, math.inf), "end of the burette", "mL"),
    (lambda: Doubtful(math.inf), "value", "its unit"),
]

PLAIN = [
    (lambda: share_taken_out(-1.0), "turnovers must be at least 0 and finite, got -1"),
    (lambda: ReferenceClass(gain=-1.0), "the reference's class must be at least 0 and finite, got"),
    (lambda: TrendPoint(math.inf, 1.0, 1.0), "moment of an analysis must be a finite number, got"),
    (lambda: TrendPoint(1.0, math.inf, 1.0), "concentration must be a finite number, got inf"),
    (lambda: TrendPoint(1.0, 1.0, 0.0), "uncertainty of a concentration must be above 0 and"),
]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        *((w, f"{name} {NOT_NEGATIVE.format(unit=unit)}") for w, name, unit in NEGATIVES),
        *((w, f"{name} {POSITIVE.format(unit=unit)}") for w, name, unit in NONE),
        *((w, f"{name} {FINITE.format(unit=unit)}") for w, name, unit in INFINITIES),
        *PLAIN,
    ],
)
def test_it_is_told_which_value_cannot_be_and_what_can(wrong, said):
    with pytest.raises(ValueError, match="must be") as refused:
        wrong()
    assert str(refused.value).startswith(said)
