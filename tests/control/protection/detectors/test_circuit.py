"""Shorts, open circuits, dropped outputs and the ceiling, by hand-made readings."""

import pytest

from daemon.control.protection.detectors.circuit import NoCurrent, Short, VoltageCeiling
from daemon.control.protection.detectors.thresholds import Thresholds
from drivers.contracts import Mode

T = Thresholds()


@pytest.fixture
def short():
    return Short(T)


@pytest.fixture
def no_current():
    return NoCurrent(T)


@pytest.fixture
def ceiling():
    return VoltageCeiling(T)


def sound(detector, observe, seconds=10.0, **more):
    """A sound cell until `seconds`, ten readings a second."""
    for n in range(round(10 * seconds)):
        assert detector.look(observe(0.1 * n, **more)) == ()


# Shorts.


def test_a_voltage_that_collapses_at_the_same_current(short, observe):
    sound(short, observe, current_a=1.5, voltage_v=0.92, set_current_a=1.5)
    fallen = {"current_a": 1.5, "voltage_v": 0.11, "set_current_a": 1.5}
    assert short.look(observe(10.0, **fallen)) == ()
    assert short.look(observe(10.2, **fallen)) == ()
    (sign,) = short.look(observe(10.3, **fallen))
    assert sign.seen.startswith("0.11 V at 1.50 A; 0.92 V at 1.50 A ")
    assert sign.figures["voltage_v"] == 0.11


def test_one_that_touches_for_a_moment_is_none(short, observe):
    sound(short, observe)
    for n in range(100, 200):
        assert short.look(observe(0.1 * n, 1.0, 0.03 if n % 5 < 2 else 0.9)) == ()


def test_the_reference_is_kept_while_the_voltage_is_gone(short, observe, named):
    sound(short, observe)
    for n in range(104, 2000):
        signs = short.look(observe(0.1 * n, 1.0, 0.1))
    assert named(signs) == ["short"]
    assert short.look(observe(200.0)) != ()
    assert short.look(observe(201.1)) == ()


def test_a_third_less_or_a_fall_that_no_lead_explains_is_no_short(short, observe):
    sound(short, observe)
    for n in range(100, 200):
        assert short.look(observe(0.1 * n, 1.0, 0.56)) == ()
    short.forget()
    sound(short, observe, voltage_v=3.5)
    for n in range(100, 200):
        assert short.look(observe(0.1 * n, 1.0, 0.9)) == ()


def test_less_current_has_less_voltage(short, observe):
    # 0.9 V at 1 A; at a fifth of it never less than a fifth of that, 0.18 V.
    sound(short, observe)
    for n in range(100, 400):
        seen = observe(0.1 * n, 0.2, 0.18, set_current_a=0.2, before_a=1.0)
        assert short.look(seen) == ()


def test_a_voltage_that_is_read_later_than_its_current_is_no_short(short, observe):
    # A stage from 2 A down to 0.2 A; the voltage follows two seconds after the current.
    for n in range(300):
        at_s = 0.1 * n
        current_a = 2.0 if at_s < 10.0 else 0.2
        voltage_v = 1.0 if at_s < 12.0 else 0.15
        assert short.look(observe(at_s, current_a, voltage_v, set_current_a=current_a)) == ()


def test_a_voltage_that_was_never_there(short, observe, named):
    # 60 mΩ at the most, 0.06 V at 1 A; judged from 3 s after output on.
    found = [n for n in range(1, 100) if short.look(observe(0.1 * n, 1.0, 0.05, started_s=0.0))]
    assert 0.1 * found[0] == pytest.approx(3.3)


def test_a_large_cell_has_less_resistance_than_that(short, observe):
    # 0.15 Ω·dm² on 10 dm²: 15 mΩ, and 0.03 V at 2 A.
    sound(short, observe, current_a=2.0, voltage_v=0.04, set_current_a=2.0, area_dm2=10.0)
    for n in range(100, 104):
        signs = short.look(observe(0.1 * n, 2.0, 0.025, set_current_a=2.0, area_dm2=10.0))
    assert signs != ()


def test_an_unknown_area_is_taken_for_a_small_one(short, observe):
    found = [short.look(observe(0.1 * n, 1.0, 0.05, area_dm2=None)) for n in range(10)]
    assert found[-1] != ()


def test_where_little_flows_or_nothing_is_read_there_is_nothing_to_tell(short, observe):
    for n in range(100):
        assert short.look(observe(0.1 * n, 0.03, 0.0)) == ()
        assert short.look(observe(0.1 * n + 0.05, 1.0, None)) == ()
        # 0.3 A on 60 mΩ are 18 mV: less than a voltmeter's offset.
        assert short.look(observe(0.1 * n + 0.07, 0.3, 0.0, set_current_a=0.3)) == ()


def test_a_short_where_voltage_was_held_drives_the_current_up(short, observe, named):
    at_limit = {"set_current_a": 5.0, "mode": Mode.CONSTANT_VOLTAGE}
    sound(short, observe, current_a=1.8, voltage_v=1.0, ceiling_v=1.0, **at_limit)
    for n in range(100, 104):
        signs = short.look(observe(0.1 * n, 5.0, 0.25, set_current_a=5.0, ceiling_v=1.0))
    assert named(signs) == ["short"]


AT_4_V = {"mode": Mode.CONSTANT_VOLTAGE, "set_current_a": 3.84}
"""A painted part that the ceiling of 4 V holds far below its current."""


def first_found(detector, observe, *pieces, period_s=0.1, **more):
    """Seconds since the last piece's begin at which something was found first, None if never.

    A piece is (seconds, current, voltage, what else is different); current and voltage in A and V,
    as values or as functions of the seconds since its begin.
    """
    began_s = 0.0
    for seconds, current_a, voltage_v, other in pieces:
        for n in range(round(seconds / period_s)):
            t = n * period_s
            amps, volts = (x(t) if callable(x) else x for x in (current_a, voltage_v))
            if detector.look(observe(began_s + t, amps, volts, **(more | other))):
                return began_s + t - sum(piece[0] for piece in pieces[:-1])
        began_s += seconds
    return None


@pytest.mark.parametrize("period_s", [0.1, 1.0])
def test_a_short_across_a_part_that_is_held_at_the_ceiling(short, observe, period_s):
    # 0.26 A at 4 V are 15 ohms. Half an ohm across them takes all that is asked for, 3.84 A, and
    # leaves 1.95 V: far more than leads have.
    found_s = first_found(
        short,
        observe,
        (20.0, 0.26, 4.0, AT_4_V),
        (5.0, 3.84, 1.95, {"set_current_a": 3.84}),
        period_s=period_s,
    )
    assert found_s == pytest.approx(max(0.3, period_s))
    (sign,) = short.look(observe(26.0, 3.84, 1.95, set_current_a=3.84))
    assert sign.seen.startswith("1.95 V at 3.84 A; 4.00 V at 0.26 A ")


def test_a_short_that_leaves_the_part_at_the_ceiling(short, observe):
    # 2.5 ohms beside 40: 1.7 A, and the voltage stays where it is held.
    pieces = (20.0, 0.1, 4.0, AT_4_V), (5.0, 1.7, 4.0, AT_4_V)
    assert first_found(short, observe, *pieces) == pytest.approx(0.3)


def test_a_short_across_a_part_whose_current_hardly_shows(observe):
    # Below 0.2 A this meter shows nothing for sure; 0.3 A might be less than twice that.
    pieces = (20.0, 0.3, 4.0, AT_4_V), (5.0, 3.84, 2.3, {"set_current_a": 3.84})
    coarse = T.of_meter(0.2)
    assert first_found(Short(coarse), observe, *pieces) == pytest.approx(0.3)


def test_a_short_at_the_same_current_that_leaves_a_volt(short, observe):
    # 10 V at 1 A to half an ohm, 0.5 V: leads of 0.15 ohms and 0.2 V have 0.35 V.
    pieces = (20.0, 1.0, 10.0, {}), (5.0, 1.0, 0.5, {})
    assert first_found(short, observe, *pieces, ceiling_v=12.0) == pytest.approx(0.3)


def test_a_contact_that_closes_leads_back_to_what_was_before(short, observe):
    dry = (20.0, 0.1, 4.0, {"mode": Mode.CONSTANT_VOLTAGE})
    better = (20.0, 1.0, 0.75, {})
    assert first_found(short, observe, (20.0, 1.0, 0.9, {}), dry, better) is None


def test_parts_that_are_hung_with_the_current_on_are_no_short(short, observe):
    # Live entry, with a reading a second: from a corner in the bath to all of it within three.
    corner, half, whole = (3.0, 0.05, 4.0, AT_4_V), (1.0, 0.6, 3.0, AT_4_V), (20.0, 3.84, 2.0, {})
    pieces = (5.0, 0.0, 4.0, AT_4_V), corner, half, whole
    assert first_found(short, observe, *pieces, period_s=1.0, set_current_a=3.84) is None


def test_a_voltage_that_is_read_later_than_a_greater_current_is_no_short(short, observe):
    # 0.1 A to 2 A with the next stage, and the old voltage for two seconds more.
    later = (10.0, 2.0, lambda t: 0.3 if t < 2.0 else 1.4, {"set_current_a": 2.0})
    assert first_found(short, observe, (20.0, 0.1, 0.3, {"set_current_a": 0.1}), later) is None
    short.forget()
    # The same where the voltage was held before, and a higher ceiling lets go of the current.
    held = (20.0, 0.1, 0.3, {"mode": Mode.CONSTANT_VOLTAGE, "ceiling_v": 0.3})
    assert first_found(short, observe, held, later) is None


def test_a_voltage_that_is_read_later_than_short_stages_is_no_short(short, observe):
    # 2 A at 1.4 V, 0.2 A for two seconds, and again 2 A, with 0.2 V read for a second more.
    much, little = {"set_current_a": 2.0}, {"set_current_a": 0.2}
    pieces = (20.0, 2.0, 1.4, much), (2.0, 0.2, lambda t: 1.4 if t < 1.0 else 0.2, little)
    again = (10.0, 2.0, lambda t: 0.2 if t < 1.0 else 1.4, much)
    assert first_found(short, observe, *pieces, again) is None


# No current.


def test_an_open_circuit_is_at_the_ceiling(no_current, observe):
    sound(no_current, observe)
    assert no_current.look(observe(10.0, 0.002, 3.99)) == ()
    (sign,) = no_current.look(observe(10.5, 0.002, 3.99))
    assert (sign.cause, sign.seen) == (
        "open circuit",
        "0.002 A at 3.99 V where 1.000 A is asked for, up to 4.00 V",
    )


@pytest.mark.parametrize(
    "shown", [{"mode": Mode.CONSTANT_VOLTAGE}, {"voltage_v": None, "mode": None}]
)
def test_it_is_told_by_the_mode_or_by_the_current_alone(no_current, observe, named, shown):
    sound(no_current, observe)
    for n in range(100, 106):
        signs = no_current.look(observe(0.1 * n, 0.0, **shown))
    assert named(signs) == ["open circuit"]


def test_a_small_current_on_a_coarse_meter_has_closed_the_circuit(observe, named):
    # Below 0.2 A nothing shows for sure, above 0.4 A one reading does. 0.34 A do in the mean, and
    # 0.2 A do not: their readings are as often below what shows as above.
    at_limit = {"mode": Mode.CONSTANT_VOLTAGE, "ceiling_v": 4.0, "set_current_a": 1.5}
    for small_a, found in ((0.34, ["open circuit"]), (0.2, [])):
        detector = NoCurrent(T.of_meter(0.2))
        for n in range(30):
            flicker_a = 0.03 if n % 2 else -0.03
            assert detector.look(observe(n, small_a + flicker_a, 4.0, **at_limit)) == ()
        for n in range(30, 34):
            signs = detector.look(observe(n, 0.01, 4.0, **at_limit))
        assert named(signs) == found


def test_a_second_of_a_small_current_has_not_closed_it(observe):
    # 0.35 A for one second of the mean's five are 0.07 A, however many readings there are.
    detector = NoCurrent(T.of_meter(0.2))
    at_limit = {"mode": Mode.CONSTANT_VOLTAGE, "ceiling_v": 4.0, "set_current_a": 1.5}
    for n in range(400):
        current_a = 0.35 if n < 10 else 0.01
        assert detector.look(observe(0.1 * n, current_a, 4.0, **at_limit)) == ()


def test_a_contact_that_flickers_is_not_open(no_current, observe):
    for n in range(600):
        current_a, voltage_v = (0.0, 4.0) if n % 8 < 4 else (1.0, 0.9)
        assert no_current.look(observe(0.1 * n, current_a, voltage_v)) == ()


def test_paint_that_lets_nothing_through_has_a_minute(no_current, observe, named):
    found = [s for s in range(100) if no_current.look(observe(float(s), 0.01, 4.0))]
    assert found[0] == 60


def test_the_foot_of_a_ramp_asks_for_too_little_to_tell(no_current, observe):
    for n in range(1000):
        assert no_current.look(observe(0.1 * n, 0.0, 4.0, set_current_a=0.03)) == ()


def test_an_output_that_is_off_is_dropped(no_current, observe):
    sound(no_current, observe)
    for n in range(100, 106):
        signs = no_current.look(observe(0.1 * n, 0.0, 0.0, mode=None, output_on=False))
    assert signs[0].cause == "output dropped"
    assert signs[0].seen == (
        "0.000 A at 0.00 V where 1.000 A is asked for, up to 4.00 V; "
        "the supply says that its output is off"
    )


def test_a_supply_that_does_not_say_so_is_told_by_its_voltage(no_current, observe, named):
    sound(no_current, observe)
    for n in range(100, 106):
        signs = no_current.look(observe(0.1 * n, 0.0, 0.03, mode=None, output_on=None))
    assert named(signs) == ["output dropped"]


def test_a_voltage_in_between_says_neither(no_current, observe):
    # As with a broken wire at the shunt: the cell has its voltage, the meter reads nothing.
    sound(no_current, observe)
    for n in range(100, 2000):
        assert no_current.look(observe(0.1 * n, 0.0, 0.9)) == ()


def test_an_output_may_take_its_time_to_come_on(no_current, observe):
    for n in range(1, 30):
        off = observe(0.1 * n, 0.0, 0.0, output_on=False, started_s=0.0)
        assert no_current.look(off) == ()
    for n in range(30, 100):
        assert no_current.look(observe(0.1 * n, started_s=0.0)) == ()


def test_at_slow_readings_a_supply_may_be_behind_a_ramp(no_current, observe):
    # It shows what was asked for before: of a reading every 50 s, at the foot of a ramp.
    for n in range(1, 20):
        seen = observe(50.0 * n, 0.01 * n, 0.06, set_current_a=0.02 * n, least_a=0.01 * (n - 1))
        assert no_current.look(seen) == ()


def test_where_the_current_is_too_small_to_tell_the_supply_is_believed(no_current, observe, named):
    found = [
        n
        for n in range(100)
        if no_current.look(observe(0.1 * n, 0.0, 0.0, set_current_a=0.03, output_on=False))
    ]
    assert found[0] == 30


def test_current_that_is_back_is_believed_after_two_seconds(no_current, observe):
    sound(no_current, observe)
    for n in range(100, 110):
        no_current.look(observe(0.1 * n, 0.0, 4.0))
    assert no_current.look(observe(11.0)) != ()
    assert no_current.look(observe(12.9)) != ()
    assert no_current.look(observe(13.0)) == ()


# The ceiling.


def test_minutes_at_the_ceiling_without_growth(ceiling, observe):
    found = [s for s in range(400) if (signs := ceiling.look(observe(float(s), 0.2, 3.99)))]
    assert found[0] == 300
    assert signs[0].cause == "voltage ceiling"
    assert signs[0].seen == (
        "0.200 A where 1.000 A is asked for: 4.00 V allow no more, "
        "and it grew by less than 5% in 5 min"
    )


def test_a_current_that_grows_is_on_its_way(ceiling, observe):
    # 5 % and 10 mA each four minutes: paint that is being covered, slowly.
    current_a = 0.1
    for s in range(3600):
        if s % 240 == 239:
            current_a = current_a * 1.05 + 0.011
        assert ceiling.look(observe(float(s), current_a, 4.0)) == ()


def test_the_full_current_at_the_ceiling_is_as_planned(ceiling, observe):
    for s in range(3600):
        assert ceiling.look(observe(float(s), 0.97, 3.99, mode=Mode.CONSTANT_VOLTAGE)) == ()


def test_it_is_over_half_a_minute_after_it_was_left(ceiling, observe):
    for s in range(400):
        ceiling.look(observe(float(s), 0.2, 3.99))
    left = [s for s in range(400, 500) if ceiling.look(observe(float(s), 1.0, 2.0)) == ()]
    assert left[0] == 430


def test_what_was_forgotten_is_told_no_more_and_takes_its_whole_time_again(
    short, no_current, ceiling, observe
):
    faults = (
        (short, {"current_a": 1.0, "voltage_v": 0.03}, 0.3),
        (no_current, {"current_a": 0.0, "voltage_v": 4.0}, 60.0),
        (ceiling, {"current_a": 0.2, "voltage_v": 4.0}, 300.0),
    )
    for detector, shown, after_s in faults:
        sound(detector, observe)
        found_s = first_found(detector, observe, (400.0, *shown.values(), {}))
        assert found_s is not None
        detector.forget()
        # Nothing is read, or nothing flows that says more of it.
        assert detector.look(observe(500.0, 1.0, None)) == ()
        detector.forget()
        found_s = first_found(detector, observe, (400.0, *shown.values(), {}))
        assert found_s == pytest.approx(after_s)
