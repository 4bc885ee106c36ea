"""Bringing a component back: by hand, and with every error at its worst."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.chemistry.restoring import (
    Found,
    Source,
    Verdict,
    Window,
    addition,
    dilution,
    verdict,
)

CRYSTALS = Source(0.254505)
"""1 g of CuSO4·5H2O; CRC Handbook, 249.685 g/mol."""

BATTERY_ACID = Source(0.4733, 1.0)
"""1 mL of specific gravity 1.280, 473.3 g/L (Myhre 1998)."""

COPPER = Window(50, 55, 60)


@pytest.mark.parametrize(("found", "told"), [
    (Found(45, 2), (Verdict.BELOW, True)),
    (Found(49, 2), (Verdict.BELOW, False)),
    (Found(50, 0), (Verdict.INSIDE, True)),
    (Found(51, 2), (Verdict.INSIDE, False)),
    (Found(55, 2), (Verdict.INSIDE, True)),
    (Found(59, 2), (Verdict.INSIDE, False)),
    (Found(61, 2), (Verdict.ABOVE, False)),
    (Found(65, 2), (Verdict.ABOVE, True)),
])  # fmt: skip
def test_where_it_stands(found: Found, told: tuple[Verdict, bool]) -> None:
    assert verdict(found, COPPER) == told


@pytest.mark.parametrize(("window", "aim"), [
    (Window(50, 55, 60), 55), (Window(50, None, 60), 55), (Window(least_g_l=50), 50),
    (Window(greatest_g_l=60), 60), (Window(target_g_l=0), 0),
])  # fmt: skip
def test_what_is_aimed_at(window: Window, aim: float) -> None:
    assert window.aim_g_l == aim


@pytest.mark.parametrize("limits", [(60, None, 50), (50, 45, 60), (50, 70, 60), (None, 70, 60)])
def test_limits_rise(limits: tuple[float | None, ...]) -> None:
    came = ", ".join(str(limit) for limit in limits if limit is not None)
    with pytest.raises(ValueError, match=f"must rise, got {came} g/L"):
        Window(*limits)


def test_a_window_says_something() -> None:
    with pytest.raises(ValueError, match="needs least, target or greatest"):
        Window()
    with pytest.raises(ValueError, match="at least 0 g/L"):
        Window(least_g_l=-1)


def test_crystals_by_hand() -> None:
    # 10 L from 45 to 55 g/L of copper: 100 g of copper, 392.9 g of crystals.
    made = addition(Found(45), COPPER, 10, CRYSTALS)
    assert made is not None
    assert made.amount == pytest.approx(392.92, abs=0.01)
    assert made.reaches_g_l == pytest.approx(55)
    assert (made.grows_l, made.held_back) == (0, False)


def test_acid_makes_the_bath_more() -> None:
    # 10 L from 50 to 60 g/L with 473.3 g/L: (50·10 + 473.3·v)/(10 + v) = 60, v = 100/413.3 L.
    made = addition(Found(50), Window(55, 60, 70), 10, BATTERY_ACID)
    assert made is not None
    assert made.amount == pytest.approx(241.95, abs=0.05)
    assert made.grows_l == pytest.approx(0.24195, abs=5e-5)
    assert made.reaches_g_l == pytest.approx(60)


@pytest.mark.parametrize("found", [Found(50), Found(55, 1), Found(60), Found(65, 1)])
def test_nothing_is_added_inside_or_above(found: Found) -> None:
    assert addition(found, COPPER, 10, CRYSTALS) is None


def test_an_addition_is_held_back_where_it_might_overshoot() -> None:
    # At the upper end 53 g/L in 9.5 L: 7 g/L are left to 60, 66.5 g of copper, 261.3 g of crystals.
    made = addition(Found(45, 8), COPPER, 10, CRYSTALS)
    assert made is not None
    assert made.held_back
    assert made.amount == pytest.approx(261.3, abs=0.05)
    assert made.reaches_g_l == pytest.approx(51.65)
    assert made.at_most_g_l == pytest.approx(60)


def test_nothing_is_added_where_the_upper_end_is_beyond_the_window() -> None:
    assert addition(Found(45, 16), COPPER, 10, CRYSTALS) is None


def test_a_source_that_is_too_weak_says_so() -> None:
    with pytest.raises(ValueError, match="holds 50 g/L: with it a bath never reaches 60 g/L"):
        addition(Found(40), Window(45, 60), 10, Source(0.05, 1.0))


def test_a_dilution_by_hand() -> None:
    # 10 L at 66 g/L to 55: a sixth, 1.667 L, of the bath goes; 60 g/L of acid become 50.
    made = dilution(Found(66), COPPER, 10)
    assert made is not None
    assert made.take_out_l == pytest.approx(10 / 6)
    assert made.reaches_g_l == pytest.approx(55)
    assert made.stays * 60 == pytest.approx(50)
    assert not made.held_back


@pytest.mark.parametrize("found", [Found(45, 1), Found(50), Found(55, 1), Found(60)])
def test_nothing_is_diluted_inside_or_below(found: Found) -> None:
    assert dilution(found, COPPER, 10) is None


def test_a_dilution_is_held_back_where_it_might_fall_short() -> None:
    # At the lower end 52 g/L in 9.5 L: 2/52 of it may go, 0.365 L.
    made = dilution(Found(62, 10), COPPER, 10)
    assert made is not None
    assert made.held_back
    assert made.take_out_l == pytest.approx(0.3654, abs=1e-4)
    assert made.at_least_g_l == pytest.approx(50)


def test_nothing_is_diluted_where_the_lower_end_is_below_the_window() -> None:
    assert dilution(Found(62, 13), COPPER, 10) is None


def test_nothing_thins_a_bath_to_nothing() -> None:
    assert dilution(Found(62), Window(target_g_l=0, greatest_g_l=1), 10) is None


@pytest.mark.parametrize(("volume_l", "limit", "why"), [
    (0, 0.05, "volume of the bath must be above 0 L"), (-1, 0.05, "above 0 L"),
    (10, 1, "from 0 to below 1"), (10, -0.1, "from 0 to below 1"),
])  # fmt: skip
def test_volumes_that_cannot_be(volume_l: float, limit: float, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        addition(Found(45), COPPER, volume_l, CRYSTALS, limit)
    with pytest.raises(ValueError, match=why):
        dilution(Found(65), COPPER, volume_l, limit)


@pytest.mark.parametrize("make", [
    lambda: Found(-1), lambda: Found(1, -1), lambda: Source(0), lambda: Source(1, -1),
])  # fmt: skip
def test_figures_below_nothing(make: object) -> None:
    with pytest.raises(ValueError, match="must be"):
        make()


amounts = st.floats(0.1, 200)
shares = st.floats(0, 1)


@given(least=amounts, more=amounts, value=shares, half=amounts, off=st.floats(-1, 1),
       volume_l=st.floats(1, 500), volume_off=st.floats(-0.05, 0.05),
       grows=st.booleans())  # fmt: skip
def test_no_addition_overshoots_whatever_is_true(
    least: float, more: float, value: float, half: float, off: float, volume_l: float,
    volume_off: float, grows: bool,
) -> None:  # fmt: skip
    """The true bath anywhere within its interval and volume: it never ends beyond the window."""
    window = Window(least, None, least + more)
    found = Found(value * least, half)
    source = Source(0.9, 0.5) if grows else Source(0.25)
    made = addition(found, window, volume_l, source)
    if made is None:
        return
    true_g_l = max(0.0, found.value_g_l + off * half)
    true_l = volume_l * (1 + volume_off)
    after = (true_g_l * true_l + made.amount * source.holds_g) / (true_l + made.grows_l)
    assert after <= (least + more) * (1 + 1e-9)
    assert made.amount > 0


@given(least=amounts, more=amounts, above=amounts, half=amounts, off=st.floats(-1, 1),
       volume_l=st.floats(1, 500), volume_off=st.floats(-0.05, 0.05))  # fmt: skip
def test_no_dilution_falls_short_whatever_is_true(
    least: float, more: float, above: float, half: float, off: float, volume_l: float,
    volume_off: float,
) -> None:  # fmt: skip
    found = Found(least + more + above, half)
    made = dilution(found, Window(least, None, least + more), volume_l)
    if made is None:
        return
    true_g_l = max(0.0, found.value_g_l + off * half)
    true_l = volume_l * (1 + volume_off)
    assert true_g_l * (1 - made.take_out_l / true_l) >= least * (1 - 1e-9)
