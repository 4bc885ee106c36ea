"""Several meters on one tank: what is counted, what is lent, and who is told to disagree."""

import math

import pytest

from daemon.chemistry.uncertainty import MeterDoubt
from daemon.control.panel import Correction, MeterFacts, Panel
from drivers.contracts import Mode, Reading

PLAIN = MeterFacts(Correction(), MeterDoubt())
UNSURE = MeterFacts(Correction(), MeterDoubt(gain=0.01, offset_a=0.01))
"""At 2 A: sqrt((20 mA)² + (10 mA)²) = 22.36 mA; of two 31.62 mA, three times that 94.87 mA."""

CC = Mode.CONSTANT_CURRENT


def make(counting="shunt", fresh_s=1.0, facts=PLAIN, names=("supply", "cell", "shunt")):
    return Panel(dict.fromkeys(names, facts), counting, fresh_s)


def test_what_counts_has_to_be_there():
    with pytest.raises(ValueError, match="'tube': one of supply, cell, shunt is wanted"):
        make(counting="tube")


# Corrections.


def test_a_reading_is_corrected_once_and_kept_as_it_came():
    # A meter that shows 1.02 A for each ampere and 50 mA for none: 2.09 A means 2 A.
    panel = Panel({"shunt": MeterFacts(Correction(1.02, 0.05), MeterDoubt())}, "shunt", 1.0)
    counted = panel.take("shunt", Reading(10.0, 2.09, 3.0))
    assert counted == Reading(10.0, pytest.approx(2.0), 3.0)
    assert panel.newest["shunt"].current_a == pytest.approx(2.0)
    assert panel.raw["shunt"].current_a == 2.09


def test_a_missing_current_stays_missing():
    panel = Panel({"shunt": MeterFacts(Correction(1.02, 0.05), MeterDoubt())}, "shunt", 1.0)
    assert panel.take("shunt", Reading(10.0, None, 3.0)) == Reading(10.0, None, 3.0)


def test_a_new_calibration_holds_from_the_next_reading_on():
    panel = make()
    panel.take("shunt", Reading(10.0, 2.1, None))
    facts = MeterFacts(Correction(1.05, 0.0), MeterDoubt(gain=0.001))
    panel.learn("shunt", facts)
    panel.settle()
    assert panel.newest["shunt"].current_a == 2.1
    assert panel.facts is facts
    assert panel.take("shunt", Reading(10.1, 2.1, None)).current_a == pytest.approx(2.0)


def test_steps_are_told_as_the_meter_shows_them():
    # Shown in steps of 10 mA, which are steps of 8 mA once 1.25 A shown means 1 A.
    facts = MeterFacts(Correction(1.25, 0.0), MeterDoubt(step_a=0.008))
    assert Panel({"shunt": facts}, "shunt", 1.0).step_a("shunt") == pytest.approx(0.010)


def test_how_sure_one_reading_is():
    # 2 %, 30 mA, 10 mA at 2 A: sqrt(40² + 30² + 10²) mA; steps of 12 mA add 12/sqrt(12) mA.
    doubt = MeterDoubt(gain=0.02, offset_a=0.03, noise_a=0.01)
    assert MeterFacts(Correction(), doubt).u_a(2.0) == pytest.approx(math.sqrt(0.0026))
    stepped = MeterDoubt(gain=0.02, offset_a=0.03, noise_a=0.01, step_a=0.012)
    assert MeterFacts(Correction(), stepped).u_a(2.0) == pytest.approx(math.sqrt(0.002612))
    # A gain and an offset that go against each other cancel: (0.02·2)² + 0.03² - 2·2·0.0006.
    bound = MeterDoubt(gain=0.02, offset_a=0.03, covariance_a=-0.0006)
    assert MeterFacts(Correction(), bound).u_a(2.0) == pytest.approx(0.01)
    # The class of a calibration's reference, 1 % of 2 A, beside 15 mA of noise.
    held = MeterDoubt(reference=0.01, noise_a=0.015)
    assert MeterFacts(Correction(), held).u_a(2.0) == pytest.approx(0.025)


# What others lend.


def test_only_the_counting_meter_s_readings_are_counted():
    panel = make()
    assert panel.take("supply", Reading(10.0, 2.0, 3.0)) is None
    assert panel.take("shunt", Reading(10.05, 2.0, None)).current_a == 2.0


def test_a_shunt_is_lent_voltage_mode_and_output_by_the_supply():
    panel = make()
    panel.take("supply", Reading(10.0, 2.5, 3.0, CC, True))
    assert panel.take("shunt", Reading(10.05, 2.0, None)) == Reading(10.05, 2.0, 3.0, CC, True)


def test_what_the_counting_meter_knows_itself_stands():
    panel = make()
    panel.take("supply", Reading(10.0, 2.5, 3.0, CC, True))
    own = Reading(10.05, 2.0, 2.8, Mode.CONSTANT_VOLTAGE, False)
    assert panel.take("shunt", own) == own


def test_a_voltage_at_the_cell_comes_before_the_supply_s_whoever_read_last():
    panel = make()
    panel.take("cell", Reading(10.0, None, 2.7))
    panel.take("supply", Reading(10.02, 2.0, 3.0, CC, True))
    assert panel.take("shunt", Reading(10.05, 2.0, None)) == Reading(10.05, 2.0, 2.7, CC, True)


def test_the_supply_steps_in_for_a_voltage_that_was_not_read():
    panel = make()
    panel.take("supply", Reading(10.0, 2.0, 3.0))
    panel.take("cell", Reading(10.0, None, None))
    assert panel.take("shunt", Reading(10.05, 2.0, None)).voltage_v == 3.0


@pytest.mark.parametrize(("age_s", "voltage_v"), [(1.0, 3.0), (1.25, None), (-1.25, None)])
def test_an_old_reading_lends_nothing(age_s, voltage_v):
    panel = make(fresh_s=1.0)
    panel.take("supply", Reading(100.0, 2.0, 3.0, CC, True))
    counted = panel.take("shunt", Reading(100.0 + age_s, 2.0, None))
    assert counted.voltage_v == voltage_v
    assert counted.output_on == (True if voltage_v else None)


def test_a_voltage_that_fails_is_not_made_up_of_an_older_one():
    panel = make()
    panel.take("supply", Reading(10.0, 2.0, 3.0))
    panel.take("supply", Reading(10.1, 2.0, None))
    assert panel.take("shunt", Reading(10.15, 2.0, None)).voltage_v is None


def test_an_output_told_of_in_one_reading_out_of_ten_reaches_a_slower_meter():
    """A shunt read once a second beside a supply read ten times, which says its output once."""
    panel = make()
    panel.take("shunt", Reading(10.0, 0.0, None))
    panel.take("supply", Reading(10.1, 0.0, 3.0, CC, True))
    for tenth in range(2, 10):
        panel.take("supply", Reading(10.0 + tenth / 10, 0.0, 3.0))
    counted = panel.take("shunt", Reading(11.0, 0.0, None))
    assert (counted.output_on, counted.mode) == (True, CC)
    # Heard once, it is not heard for ever.
    panel.take("supply", Reading(11.05, 0.0, 3.0))
    assert panel.take("shunt", Reading(12.0, 0.0, None)).output_on is None
    # What is told next goes the same way.
    panel.take("supply", Reading(12.1, 0.0, 3.0, CC, False))
    panel.take("supply", Reading(12.2, 0.0, 3.0))
    assert panel.take("shunt", Reading(13.0, 0.0, None)).output_on is False


def test_the_newer_word_about_the_output_counts():
    panel = make()
    panel.take("supply", Reading(10.0, 0.0, 3.0, CC, True))
    panel.take("supply", Reading(10.1, 0.0, 3.0, None, False))
    panel.take("supply", Reading(10.2, 0.0, 3.0))
    assert panel.take("shunt", Reading(10.25, 0.0, None)).output_on is False


# Meters that disagree.


def look(panel, at_s, supply_a, shunt_a=2.0):
    """Both read, then who disagrees is asked for."""
    panel.take("supply", Reading(at_s, supply_a, 3.0))
    panel.take("shunt", Reading(at_s, shunt_a, None))
    return panel.disagreeing()


def looks(panel, from_s, to_s, supply_a, **more):
    return [
        found for second in range(from_s, to_s) for found in look(panel, second, supply_a, **more)
    ]


def test_meters_within_their_joint_doubt_agree():
    assert looks(make(facts=UNSURE), 0, 60, 2.09) == []


def test_meters_beyond_it_for_ten_seconds_disagree():
    panel = make(facts=UNSURE)
    assert looks(panel, 0, 10, 2.10) == []
    apart, *more = looks(panel, 10, 600, 2.10)
    assert more == [apart] * 589
    assert (apart.counting, apart.other) == ("shunt", "supply")
    assert (apart.counting_a, apart.other_a) == (2.0, 2.1)
    # The supply's own gain counts at its own reading: sqrt(0.02² + 0.01² + 0.021² + 0.01²) A.
    assert apart.u_a == pytest.approx(math.sqrt(0.001041))
    assert str(apart) == (
        "shunt reads 2.000 A, supply 2.100 A: 0.100 A apart, 0.097 A can be explained"
    )


def test_how_far_apart_two_meters_may_be():
    panel = make(facts=UNSURE)
    assert panel.explained_a("supply") is None
    look(panel, 0.0, 2.0)
    assert panel.explained_a("supply") == pytest.approx(0.09487, abs=1e-5)
    # The counting meter is not held against itself, and the cell's reads no current.
    panel.take("cell", Reading(0.0, None, 2.7))
    assert panel.explained_a("shunt") is panel.explained_a("cell") is None
    # Both rise by 0.5 A from one reading to the next: 1 A, and 3·√(2·(25² + 10²)) mA.
    look(panel, 1.0, 2.5, 2.5)
    assert panel.explained_a("supply") == pytest.approx(1.0 + 0.11424, abs=1e-5)


def test_they_disagree_until_they_agree_and_then_begin_anew():
    panel = make(facts=UNSURE)
    assert len(looks(panel, 0, 30, 2.2)) == 20
    assert looks(panel, 30, 32, 2.0) == []
    assert looks(panel, 32, 42, 2.2) == []
    # The jump at 32 s explains that second's reading by itself.
    assert len(looks(panel, 42, 60, 2.2)) == 17


def test_a_disagreement_with_a_break_is_none():
    panel = make(facts=UNSURE)
    for from_s in range(0, 90, 9):
        assert looks(panel, from_s, from_s + 8, 2.2) == []
        assert looks(panel, from_s + 8, from_s + 9, 2.0) == []


def test_a_ramp_between_two_readings_is_no_disagreement():
    """0.1 A/s for a minute, and the supply's newest reading is always a second older."""
    panel = make(facts=UNSURE, fresh_s=3.0)
    for second in range(60):
        panel.take("supply", Reading(second, 0.1 * second, 3.0))
        panel.take("shunt", Reading(second + 1, 0.1 * (second + 1), None))
        assert panel.disagreeing() == []


def test_a_frozen_meter_is_told_of_even_while_the_current_rises():
    panel = make(facts=UNSURE)
    told = [(s, apart) for s in range(60) for apart in look(panel, s, 0.5, min(s, 20) / 10)]
    at_s, apart = told[0]
    assert len(told) == 60 - at_s
    # From 0.6 A at 6 s on they are apart by more than doubt and the ramp's 0.1 A a second explain.
    assert 16 <= at_s <= 18
    assert apart.other_a == 0.5


def test_a_current_that_swings_about_what_the_other_reads_is_no_disagreement():
    """Two readings at the top of a ripple, then two at its foot: no movement explains a pair."""
    panel = make(facts=UNSURE)
    for second in range(120):
        side = 1 if second // 4 % 2 else -1
        panel.take("shunt", Reading(second - 0.5, 2.0 * (1 + 0.12 * side), None))
        assert look(panel, second, 2.0, 2.0 * (1 + 0.12 * side)) == []


def test_a_ripple_explains_what_single_readings_are_apart_by():
    """Read ten times a second, 100 Hz may show the same side of itself for minutes."""
    panel = make(facts=UNSURE)
    panel.saw_ripple("shunt", 0.12)
    # 3·√((2.24 % of 2 A)² + … + (12 % of 2.24 A)²) = 0.81 A.
    assert panel.explained_a("supply") is None
    assert looks(panel, 0, 60, 2.0, shunt_a=2.24) == []
    assert panel.explained_a("supply") == pytest.approx(0.813, abs=0.001)
    panel.saw_ripple("shunt", 0.0)
    assert len(looks(panel, 60, 80, 2.0, shunt_a=2.24)) == 10


@pytest.mark.parametrize(
    ("supply", "shunt"),
    [
        (Reading(0.0, None, 3.0), Reading(0.0, 2.0, None)),
        (Reading(0.0, 2.0, 3.0), Reading(0.0, None, None)),
        (Reading(-1.25, 0.0, 3.0), Reading(0.0, 2.0, None)),
    ],
)
def test_what_was_not_read_or_is_old_disagrees_with_nothing(supply, shunt):
    panel = make(facts=UNSURE)
    for second in range(60):
        panel.take("supply", Reading(supply.monotonic_s + second, supply.current_a, 3.0))
        panel.take("shunt", Reading(shunt.monotonic_s + second, shunt.current_a, None))
        assert panel.disagreeing() == []


def test_a_current_that_was_not_read_for_once_is_held_against_the_other_again():
    panel = make(facts=UNSURE)
    panel.take("supply", Reading(0.0, None, 3.0))
    panel.take("supply", Reading(1.0, 9.0, 3.0))
    panel.take("supply", Reading(2.0, None, 3.0))
    # Ten seconds, of which the first begins with the third second.
    assert len(looks(panel, 3, 60, 9.0)) == 47


def test_nothing_disagrees_before_anything_was_read():
    panel = make()
    panel.take("supply", Reading(0.0, 2.0, 3.0))
    assert panel.disagreeing() == []


def test_two_others_are_told_of_each_by_its_name():
    panel = make(facts=UNSURE)
    told = []
    for second in range(30):
        panel.take("cell", Reading(second, 1.0, 3.0))
        told += look(panel, second, 3.0)
    assert sorted(apart.other for apart in told) == ["cell"] * 20 + ["supply"] * 20


def test_corrected_currents_are_compared():
    """5 % off by itself, and known to be: no disagreement."""
    facts = {
        "supply": UNSURE,
        "shunt": MeterFacts(Correction(1.05, 0.0), MeterDoubt(gain=0.001)),
    }
    assert looks(Panel(facts, "shunt", 1.0), 0, 60, 2.0, shunt_a=2.1) == []
    assert (
        len(looks(Panel({**facts, "shunt": UNSURE}, "shunt", 1.0), 0, 60, 2.0, shunt_a=2.1)) == 50
    )


# How far apart two meters may be.


def test_what_can_be_explained_is_three_joint_uncertainties_and_the_last_change():
    panel = make(facts=UNSURE)
    panel.take("shunt", Reading(10.0, 2.0, None))
    panel.take("supply", Reading(10.0, 2.0, None))
    assert panel.explained_a("supply") == pytest.approx(0.09487, abs=1e-5)
    panel.take("shunt", Reading(10.1, 2.0, None))
    panel.take("supply", Reading(10.1, 2.0, None))
    assert panel.explained_a("supply") == pytest.approx(0.09487, abs=1e-5)
    panel.take("supply", Reading(10.2, 1.9, None))
    # 2 A and 1.9 A: sqrt((20 mA)² + (19 mA)² + 2·(10 mA)²), three times, and 100 mA of change.
    assert panel.explained_a("supply") == pytest.approx(0.093 + 0.1)


def test_what_cannot_be_compared_is_not_explained():
    panel = make(facts=UNSURE)
    panel.take("supply", Reading(10.0, 2.0, None))
    assert panel.explained_a("supply") is None
    panel.take("shunt", Reading(10.0, 2.0, None))
    panel.take("cell", Reading(10.0, None, 1.0))
    assert panel.explained_a("shunt") is None
    assert panel.explained_a("cell") is None
