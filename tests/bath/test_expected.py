"""What is expected in a bath by its account: hand sums, and what an analysis changes."""

import pytest

from daemon.bath import account
from daemon.bath.anodes import anodes_left
from daemon.bath.description import Additive, Anodes, Description, Window
from daemon.bath.expected import expected, over_time
from daemon.bath.suggested import suggested
from daemon.record.charge_at import Passed

BATH = Description(
    "bath A",
    volume_l=10.0,
    window={"copper": Window(45.0, 50.0, 60.0), "chloride": Window(50.0, None, 110.0)},
    additives=(Additive("brightener", 150.0, 5.0, 5.0),),
    anodes=Anodes(4.0, 2000.0, 2.0, 500.0),
    evaporation_l_d=0.1,
    drag_out_ml_dm2=1.0,
)
MADE = {"volume": 10.0, "copper": 500.0, "chloride": 0.7, "brightener": 50.0}


DAY_MS = 86_400_000


@pytest.fixture
def see(ledger):
    def see(day, passed=(), bath=BATH):
        found = expected(account.holding(ledger.entries), passed, bath, round(day * DAY_MS))
        return found, {each.name: each for each in (found.components if found else ())}

    return see


def passed(day, charge_ah, area_dm2=0.0):
    return Passed(round(day * DAY_MS), charge_ah, area_dm2)


def test_without_a_make_up_or_an_analysis_nothing_is_expected(see, ledger):
    assert see(1)[0] is None
    ledger.enter("water", {"volume": 1.0})
    assert see(1)[0] is None


def test_a_make_up_is_what_is_expected_right_after_it(see, ledger):
    ledger.enter("make-up", MADE)
    found, by_name = see(0)
    assert found.volume_l == 10.0
    assert by_name["copper"].value == pytest.approx(50.0)
    assert by_name["copper"].unit == "g/L"
    assert by_name["chloride"].value == pytest.approx(70.0)
    assert by_name["chloride"].unit == "mg/L"
    assert by_name["brightener"].value == pytest.approx(5.0)
    # 1 % of the mass, 2 % of the volume, both ± 1.96.
    assert by_name["copper"].half_width == pytest.approx(1.96 * 50 * (0.01**2 + 0.02**2) ** 0.5)


def test_a_topping_up_takes_bath_out_before_it_puts_anything_in(see, ledger):
    ledger.enter("make-up", MADE | {"copper": 600.0})
    amounts, facts = {"copper": 20.0, "brightener": 10.0}, {"taken_out_l": 2.0, "level_l": 10.0}
    ledger.enter("top-up", amounts, facts=facts)
    found, by_name = see(0)
    # 8 of 10 L stay: 480 g and 40 mL of 600 g and 50 mL, and 0.56 g of chloride.
    assert found.volume_l == pytest.approx(10.0)
    assert by_name["copper"].value == pytest.approx(50.0)
    assert by_name["brightener"].value == pytest.approx(5.0)
    assert by_name["chloride"].value == pytest.approx(56.0)


def test_a_topping_up_to_more_or_less_than_there_was(see, ledger):
    ledger.enter("make-up", MADE)
    ledger.enter("top-up", {"volume": 2.0, "copper": 100.0}, facts={"level_l": 12.0})
    assert see(0)[0].volume_l == pytest.approx(12.0)
    assert see(0)[1]["copper"].value == pytest.approx(50.0)
    ledger.enter("top-up", {"volume": -3.0}, facts={"taken_out_l": 3.0, "level_l": 9.0}, day=0.001)
    assert see(0.001)[0].volume_l == pytest.approx(9.0, rel=1e-3)
    assert see(0.001)[1]["copper"].value == pytest.approx(50.0, rel=1e-3)


def test_charge_time_and_parts_change_it_by_their_sums(see, ledger):
    ledger.enter("make-up", MADE)
    found, by_name = see(5, [passed(2, 100.0, 50.0), passed(4, 100.0, 50.0)])
    # 0.1 L a day evaporate, 2 · 50 dm² carry off 1 mL each.
    assert found.volume_l == pytest.approx(10.0 - 0.5 - 0.1)
    # 0.5 % of 200 A·h · 1.1855 g come from the anodes; a hundredth is carried off, a little more
    # as the bath has become less.
    copper_g = by_name["copper"].value * found.volume_l
    assert copper_g == pytest.approx((500 + 0.005 * 200 * 1.1855) * (1 - 0.0102), rel=2e-4)
    brightener_ml = by_name["brightener"].value * found.volume_l
    assert brightener_ml == pytest.approx((50 - 0.15 * 200) * (1 - 0.0102), rel=2e-2)


def test_the_band_widens_until_the_next_analysis(see, ledger):
    ledger.enter("make-up", MADE)
    charges = [passed(day, 20.0, 5.0) for day in range(1, 100)]
    widths = [see(day, charges[:day])[1]["copper"].half_width for day in (1, 30, 60, 99)]
    assert widths == sorted(widths)
    results = {"copper": {"value": 52.0, "u": 0.3}}
    ledger.enter("analysis", facts={"results": results}, day=99.1)
    after = see(99.2, charges)[1]["copper"]
    assert after.half_width < 0.6
    assert after.value == pytest.approx(52.0, abs=0.3)


def test_an_analysis_without_doubt_has_the_usual_one_and_a_bath_may_begin_with_it(see, ledger):
    ledger.enter("analysis", facts={"results": {"copper": {"value": 51.0}}}, day=3)
    found, by_name = see(3)
    assert by_name["copper"].value == pytest.approx(51.0, rel=1e-5)
    assert by_name["copper"].half_width == pytest.approx(1.96 * 0.02 * 51, rel=0.01)
    # Nothing is said of what nobody has measured.
    assert list(by_name) == ["copper"]
    assert found.volume_l == 10.0


def test_one_that_does_not_fit_is_told_with_its_entry(see, ledger):
    ledger.enter("make-up", MADE)
    number = ledger.enter(
        "analysis", facts={"results": {"copper": {"value": 75.0, "u": 0.5}}}, day=1
    )
    found, by_name = see(2)
    (told,) = found.unlikely
    assert told.entry == number
    assert told.finding.found.value == 75.0
    assert by_name["copper"].value < 52


def test_water_a_sample_carbon_and_an_addition(see, ledger):
    ledger.enter("make-up", MADE)
    ledger.enter("sample", {"volume": -1.0}, day=1)
    found, by_name = see(1)
    # A day's evaporation has left 9.9 L.
    copper_g = 500 * (1 - 1 / 9.9)
    assert by_name["copper"].value * found.volume_l == pytest.approx(copper_g)
    ledger.enter("water", {"volume": 1.1}, day=1, facts={"level_l": 10.0})
    found, by_name = see(1)
    assert found.volume_l == pytest.approx(10.0, abs=0.01)
    ledger.enter("addition", {"copper": 50.0}, day=1)
    found, by_name = see(1)
    assert by_name["copper"].value * found.volume_l == pytest.approx(copper_g + 50, rel=1e-3)
    ledger.enter("carbon treatment", day=1)
    assert see(1)[1]["brightener"].value == pytest.approx(0.1 * 45 / 10, rel=0.02)


def test_a_bath_that_nobody_fills_up_is_taken_to_have_been_and_it_is_said(see, ledger):
    ledger.enter("make-up", MADE)
    assert see(14)[0].filled_utc_ms is None
    found, _ = see(100)
    assert 8.5 <= found.volume_l <= 10.0
    assert found.filled_utc_ms == 100 * DAY_MS
    # Somebody enters a level: from then on that holds.
    ledger.enter("water", {"volume": 3.0}, day=16, facts={"level_l": 10.0})
    assert see(20)[0].filled_utc_ms == 16 * DAY_MS
    assert see(15)[0].filled_utc_ms is None


def test_what_was_corrected_or_withdrawn_counts_as_it_holds(see, ledger):
    ledger.enter("make-up", MADE)
    number = ledger.enter("addition", {"copper": 500.0}, day=1)
    ledger.enter("correction", {"copper": -450.0}, day=1, corrects=number)
    found, by_name = see(1)
    assert by_name["copper"].value * found.volume_l == pytest.approx(550.0)


def test_when_to_analyse_again_is_when_the_band_leaves_the_window(see, ledger):
    ledger.enter("make-up", MADE)
    ledger.enter("water", {"volume": 1.5}, day=14, facts={"level_l": 10.0})
    ledger.enter("water", {"volume": 1.5}, day=28, facts={"level_l": 10.0})
    ledger.enter("analysis", facts={"results": {"copper": {"value": 52.0, "u": 0.4}}}, day=29)
    busy = [passed(day, 40.0, 8.0) for day in range(1, 31)]
    idle = [passed(day, 2.0, 1.0) for day in range(1, 31)]
    soon, late = (see(30, charges)[1]["copper"] for charges in (busy, idle))
    assert soon.lower > 45.0
    assert soon.upper < 60.0
    assert soon.analyse_in_days > 0
    assert late.analyse_in_days is None or late.analyse_in_days > soon.analyse_in_days
    # Lived through with as much charge a day as before, and filled up, the band is about there.
    until = 30 + round(soon.analyse_in_days)
    for day in range(31, until + 1):
        ledger.enter("water", {"volume": 0.12}, day=day - 0.01, facts={"level_l": 10.0})
    ahead = [*busy, *(passed(day - 0.5, 40.0, 8.0) for day in range(31, until + 1))]
    then = see(until, ahead)[1]["copper"]
    assert min(then.lower - 45.0, 60.0 - then.upper) == pytest.approx(0, abs=1.0)


def test_many_moments_are_seen_as_each_alone(ledger):
    ledger.enter("make-up", MADE)
    ledger.enter("analysis", facts={"results": {"copper": {"value": 49.0, "u": 0.4}}}, day=5)
    charges = [passed(day, 20.0, 5.0) for day in range(1, 9)]
    holding = account.holding(ledger.entries)
    days = over_time(holding, charges, BATH, [day * DAY_MS for day in range(9)])
    for day, seen in enumerate(days):
        alone = expected(
            account.holding(ledger.entries, day * DAY_MS),
            [each for each in charges if each.utc_ms <= day * DAY_MS],
            BATH,
            day * DAY_MS,
        )
        assert seen.volume_l == pytest.approx(alone.volume_l)
        for each, other in zip(seen.components, alone.components, strict=True):
            assert each.value == pytest.approx(other.value)
            assert each.half_width == pytest.approx(other.half_width)


def test_what_is_suggested_leads_into_the_window_and_never_beyond_it(see, ledger):
    ledger.enter("make-up", MADE | {"copper": 420.0})
    found, _ = see(0)
    (low,) = suggested(found)
    assert low.component == "copper"
    # 42 g/L to 50 g/L in 10 L.
    assert low.addition.amount == pytest.approx(80.0)
    ledger.enter("make-up", MADE | {"copper": 700.0}, day=1)
    (high,) = suggested(see(1)[0])
    # 70 g/L to 50 g/L: two sevenths of the bath.
    assert high.dilution.take_out_l == pytest.approx(10 * 2 / 7, rel=0.02)
    ledger.enter("make-up", MADE, day=2)
    assert suggested(see(2)[0]) == ()


def test_anodes_lose_what_faraday_takes_and_a_little_more(ledger):
    found = anodes_left((), [passed(1, 500.0)], BATH)
    # 1.186 g/A·h (handbook table of electrochemical equivalents), 2 % beyond.
    assert found.mass_g == pytest.approx(2000 - 500 * 1.186 * 1.02, rel=1e-3)
    assert (found.greatest_a, found.worn) == (8.0, False)
    assert anodes_left((), [passed(1, 1300.0)], BATH).worn
    ledger.enter("anodes", facts={"mass_g": 1500.0, "area_dm2": 3.0}, day=2)
    found = anodes_left(account.holding(ledger.entries), [passed(1, 500.0), passed(3, 100.0)], BATH)
    assert found.mass_g == pytest.approx(1500 - 100 * 1.186 * 1.02, rel=1e-3)
    assert found.greatest_a == 6.0
    ledger.enter("weighing", facts={"what": "anodes", "after_g": 1400.0}, day=4)
    found = anodes_left(account.holding(ledger.entries), [passed(3, 100.0)], BATH)
    assert found.mass_g == 1400.0


def test_nothing_is_said_of_anodes_that_nobody_has_described():
    found = anodes_left((), [passed(1, 500.0)], Description("bath A"))
    assert (found.mass_g, found.greatest_a, found.worn) == (None, None, False)
