import pytest

from daemon.api.errors import InputError
from daemon.api.plans.file import PlanFile, read_plan
from daemon.api.plans.known import Known, Sure
from daemon.chemistry.metals import Metal
from daemon.control.plan import Plan, Stage, Until
from daemon.record.errors import NoSuchPartError

WHOLE = """
title = "Lamp foot, 25 µm"
metal = "Cu(II)"
density = "8.92 g/cm³"
efficiency = "98 %"
area = "1.8 dm²"
target = "25 µm"
voltage_ceiling = "4 V"

[caps]
charge = "4.5 Ah"
duration = "9 h"

[[stage]]
name = "strike over paint"
current_density = "0.3 A/dm²"
ramp = "5 min"
voltage_ceiling = "2.5 V"
until = { cell_voltage_below = "0.9 V", duration = "40 min", charge = "1 Ah", thickness = "2 µm" }

[[stage]]
name = "cover"
current = "1.5 A"
until = { thickness = "10 µm" }

[[stage]]
name = "build"
current_density = "20 ASF"
"""


def changed(old, new):
    assert WHOLE.count(old) == 1
    return WHOLE.replace(old, new)


def problem(text):
    with pytest.raises(InputError) as caught:
        read_plan(text, "lamp_foot.toml")
    (only,) = caught.value.problems
    assert str(caught.value) == f"lamp_foot.toml: {only}"
    return only


def test_a_plan_file_becomes_a_plan_in_plain_floats():
    plan = read_plan(WHOLE, "lamp_foot.toml")
    assert plan == Plan(
        title="Lamp foot, 25 µm",
        metal=Metal("Cu", 2, 63.546, 8.92),
        area_dm2=1.8,
        efficiency=0.98,
        target_um=25.0,
        charge_cap_ah=4.5,
        duration_cap_s=32_400.0,
        stages=(
            Stage("strike over paint", pytest.approx(0.54), 2.5, 300.0, Until(1.0, 2.0, 2400, 0.9)),
            Stage("cover", 1.5, 4.0, 0.0, Until(thickness_um=10.0)),
            # 20 A/ft² is 2.1528 A/dm² (computed), on 1.8 dm²
            Stage("build", pytest.approx(3.8750, rel=1e-4), 4.0, 0.0, Until()),
        ),
        # k = 1.960 of the normal distribution at 95 % (JCGM 100, table G.1).
        area_u=pytest.approx(0.05 / 1.960, rel=1e-4),
        efficiency_u=pytest.approx(0.01 / 1.960, rel=1e-4),
        confidence=None,
    )


def test_a_plan_says_how_sure_it_wants_to_be():
    text = 'confidence = "95 %"\narea_uncertainty = "2 %"\nefficiency_uncertainty = 0.0\n' + WHOLE
    plan = read_plan(text, "lamp_foot.toml")
    assert plan.confidence == pytest.approx(0.95)
    assert plan.area_u == pytest.approx(0.02 / 1.960, rel=1e-4)
    assert plan.efficiency_u == 0.0


@pytest.mark.parametrize("confidence", ['"50 %"', '"100 %"', '"30 %"'])
def test_a_confidence_is_more_than_even_and_never_certainty(confidence):
    said = problem(f"confidence = {confidence}\n" + WHOLE)
    assert said.startswith("confidence: must be above 50 % and below 100 %, got ")


def test_an_uncertainty_is_a_share():
    assert "must be at most 1" in problem('area_uncertainty = "120 %"\n' + WHOLE)


def test_metal_density_and_efficiency_have_defaults():
    text = changed('metal = "Cu(II)"\n', "")
    text = text.replace('density = "8.92 g/cm³"\n', "").replace('efficiency = "98 %"\n', "")
    plan = read_plan(text, "lamp_foot.toml")
    assert plan.metal == Metal("Cu", 2, 63.546, 8.96)
    assert plan.efficiency == 1.0


def kept(name, copies):
    if name != "lamp foot":
        raise NoSuchPartError(f"no part {name!r} is kept; kept: lamp foot")
    return Sure(0.9 * copies, 0.04)


KNOWN = Known(kept, lambda metal: Sure(0.97, 0.02) if metal.symbol == "Cu" else None)


def test_a_kept_part_stands_for_its_area():
    text = changed('area = "1.8 dm²"', 'part = "lamp foot"\ncopies = 2')
    plan = read_plan(text, "plan", KNOWN)
    assert plan.area_dm2 == pytest.approx(1.8)
    assert plan.area_u == pytest.approx(0.04 / 1.960, rel=1e-4)
    # Current densities go by it: 0.3 A/dm² on 1.8 dm².
    assert plan.stages[0].current_a == pytest.approx(0.54)
    assert read_plan(text.replace("copies = 2\n", ""), "plan", KNOWN).area_dm2 == 0.9


def test_what_a_plan_says_of_a_kept_part_goes_first():
    text = changed('area = "1.8 dm²"', 'part = "lamp foot"\narea_uncertainty = "10 %"')
    assert read_plan(text, "plan", KNOWN).area_u == pytest.approx(0.1 / 1.960, rel=1e-4)


def test_an_efficiency_that_was_learned_stands_in_for_none():
    text = changed('efficiency = "98 %"\n', "")
    plan = read_plan(text, "plan", KNOWN)
    assert plan.efficiency == 0.97
    assert plan.efficiency_u == pytest.approx(0.02 / 1.960, rel=1e-4)
    own = read_plan('efficiency_uncertainty = "3 %"\n' + text, "plan", KNOWN)
    assert own.efficiency_u == pytest.approx(0.03 / 1.960, rel=1e-4)
    # What the plan says is not overruled, and of another metal nothing was learned.
    assert read_plan(WHOLE, "plan", KNOWN).efficiency == 0.98
    other = text.replace('density = "8.92 g/cm³"\n', "").replace('"Cu(II)"', '"Ni"')
    assert read_plan(other, "plan", KNOWN).efficiency == 1.0


def test_a_learned_efficiency_above_all_of_it_counts_as_all():
    known = Known(kept, lambda _: Sure(1.004, 0.02))
    assert read_plan(changed('efficiency = "98 %"\n', ""), "plan", known).efficiency == 1.0


@pytest.mark.parametrize(
    ("new", "said"),
    [
        ('part = "lamp foot"\narea = "1 dm²"', "needs either area or part; both are given"),
        ('area = "1.8 dm²"\ncopies = 2', "copies: goes with part"),
        ('part = "lamp foot"\ncopies = 0', "copies: "),
        ('part = "lamp foot"\ncopies = 1.5', "copies: "),
        ('part = "lamp foot"\ncopies = "2"', "copies: "),
        ('part = "lamp foot"\ncopies = true', "copies: "),
        ('part = ""', "part: "),
        ('part = "foot"', "part: no part 'foot' is kept; kept: lamp foot"),
    ],
)
def test_a_part_that_cannot_be(new, said):
    with pytest.raises(InputError) as caught:
        read_plan(changed('area = "1.8 dm²"', new), "plan", KNOWN)
    assert said in str(caught.value)


def test_without_a_record_a_part_cannot_be_known():
    text = changed('area = "1.8 dm²"', 'part = "lamp foot"')
    assert "'lamp foot' is known to a daemon alone" in problem(text)


def test_the_api_takes_the_same_shape():
    stage = {"name": "build", "current": "2 A", "voltage_ceiling": "4 V"}
    plan = PlanFile.model_validate(
        {
            "title": "Bracket",
            "area": "1 dm²",
            "target": "10 µm",
            "caps": {"charge": "1 Ah", "duration": "1 h"},
            "stage": [stage],
        }
    ).plan()
    assert plan.stages == (Stage("build", 2.0, 4.0),)


def test_an_end_by_voltage_alone_will_do_in_the_last_stage():
    text = WHOLE + 'until = { cell_voltage_below = "0.5 V" }\n'
    assert read_plan(text, "lamp_foot.toml").stages[-1].until == Until(cell_voltage_below_v=0.5)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('area = "1.8 dm²"\n', "", "area is missing: plated area of all parts together, such as"),
        ('target = "25 µm"\n', "", "target is missing: mean thickness at which the run is"),
        ('charge = "4.5 Ah"\n', "", "caps.charge is missing: charge that the run never passes"),
        ('duration = "9 h"\n', "", "caps.duration is missing: running time that the run never"),
        ('name = "cover"\n', "", "stage[2].name is missing: what the stage is called, such as"),
        ('"1.8 dm²"', '"1.8 dm"', 'area: expected an area such as "1.8 dm²", got "1.8 dm"'),
        ('"1.8 dm²"', "1.8", 'area: expected an area such as "1.8 dm²", got 1.8: a number without'),
        (
            '= "25 µm"',
            '= "25 g"',
            'target: expected a length such as "25 µm", got "25 g": of another',
        ),
        ('= "25 µm"', '= "0 µm"', "target: must be above 0 µm, got 0 µm"),
        ('"4.5 Ah"', '"4.5 A"', 'caps.charge: expected a charge such as "4.5 Ah", got "4.5 A"'),
        ('"98 %"', '"980 %"', "efficiency: must be at most 1 (100 %), got 980 %"),
        ('"1.5 A"', '"1.5 V"', 'stage[2].current: expected a current such as "2.5 A", got "1.5 V"'),
        ('"1.5 A"', '"1,5 A"', 'stage[2].current: expected a current such as "2.5 A", got "1,5 A"'),
        (
            '"0.3 A/dm²"',
            '"0.3 A"',
            'stage[1].current_density: expected a current density such as "2.5 A/dm²"',
        ),
        ('"2 µm"', '"2 V"', 'stage[1].until.thickness: expected a length such as "25 µm"'),
        ('"5 min"', '"-5 min"', "stage[1].ramp: must be at least 0 s, got -5 min"),
        ('"Cu(II)"', '"Cu(III)"', "metal: metal and valence must be one of Cu(II), Cu(I); got"),
        ('"Cu(II)"', "29", 'metal: must be a text such as "Cu(II)", got 29'),
        (
            'current = "1.5 A"',
            'current = "1.5 A"\ncurrent_density = "1 A/dm²"',
            'stage[2]: needs either current, such as "0.5 A", or current_density, such as'
            ' "0.3 A/dm²"; both are given',
        ),
        ('current = "1.5 A"\n', "", "stage[2]: needs either current"),
        ('current = "1.5 A"', 'curent = "1.5 A"', "stage[2].curent is an unknown key (did you"),
        ("[caps]", "[caps]\nvoltage = 4", "caps.voltage is an unknown key; allowed: charge, dura"),
        (
            'voltage_ceiling = "4 V"\n',
            "",
            "stage[2].voltage_ceiling is missing: give it there or once for the whole plan",
        ),
        (
            'cell_voltage_below = "0.9 V"',
            'cell_voltage_below = "2.5 V"',
            "stage[1].until.cell_voltage_below: must be below the stage's voltage_ceiling of"
            " 2.5 V, got 2.5 V",
        ),
        (
            '{ thickness = "10 µm" }',
            '{ cell_voltage_below = "0.9 V" }',
            "stage[2].until: needs a charge, thickness or duration, since stages follow it",
        ),
        ('until = { thickness = "10 µm" }\n', "", "stage[2].until: needs a charge, thickness or"),
        (
            '"10 µm"',
            '"2 µm"',
            "stage[2].until.thickness: must be above the 2 µm at which an earlier stage ends,"
            " got 2 µm",
        ),
        (
            '"10 µm"',
            '"25 µm" ',
            "stage[2].until.thickness: must be below the target of 25 µm, got 25 µm; stage[3]",
        ),
        ('"cover"', '""', "stage[2].name: should have at least 1 character"),
        ('"cover"', '"co\\u001bver"', "stage[2].name: must be one line without control characters"),
        ('"cover"', '"a\\nb"', "stage[2].name: must be one line without control characters"),
        ('"Cu(II)"', '"Cu(II)', "not TOML: "),
    ],
)
def test_a_plan_that_makes_no_sense_is_refused(old, new, told):
    assert problem(changed(old, new)).startswith(told)


def test_a_plan_without_stages_is_refused():
    without = WHOLE[: WHOLE.index("[[stage]]")]
    assert problem(without).startswith("stage is missing: the stages in their order, such as")
    assert problem("stage = []\n" + without).startswith("stage: needs at least 1, got 0")


def test_one_stage_written_as_a_single_table_is_told_to_be_a_list():
    text = WHOLE[: WHOLE.index("[[stage]]")] + '[stage]\nname = "build"\ncurrent = "2 A"\n'
    assert problem(text).startswith("stage: must be a list, got a table: the stages in their")
    assert problem(text).endswith("such as [[stage]] tables")


def test_an_empty_file_is_told_all_that_is_missing():
    with pytest.raises(InputError) as caught:
        read_plan("", "empty.toml")
    assert [told.split()[0] for told in caught.value.problems] == [
        "title",
        "area",
        "target",
        "caps",
        "stage",
    ]
