"""The tank as a load, and its truth about charge, copper and heat."""

from math import exp, inf, isclose

import pytest

from drivers.simulator.electrochemistry import Electrode
from drivers.simulator.parameters import BathParameters, PartParameters
from drivers.simulator.rack import Rack
from drivers.simulator.tank import Tank

BARE = PartParameters(paint_ohm_per_sq=0)


def tank(*parts: PartParameters, **bath: float) -> Tank:
    return Tank(BathParameters.model_validate(bath), parts or (BARE,))


@pytest.mark.parametrize(
    ("current_a", "hours", "copper_g", "tolerance"),
    [
        (5.0, 1.0, 5.928, 2e-4),  # formula page, 5 A for 1 h
        (10.0, 12.0, 142.2598, 1e-4),  # chemlib's documentation, 10.0 A for 12.0 h
    ],
)
def test_copper_of_published_runs(
    current_a: float, hours: float, copper_g: float, tolerance: float
) -> None:
    big = tank(PartParameters(area_dm2=10, paint_ohm_per_sq=0), anode_area_dm2=20)
    for _ in range(int(hours * 360)):
        big.advance(10.0, current_a * 10.0)
    assert big.deposited_g == pytest.approx(copper_g, rel=tolerance)
    assert big.charge_c == pytest.approx(current_a * hours * 3600)


def test_copper_of_a_25_um_panel() -> None:
    # 1 dm² of 25 µm at 8.96 g/cm³ weighs 2.240 g and takes 1.8895 A·h.
    panel = tank(PartParameters(area_dm2=1, paint_ohm_per_sq=0))
    for _ in range(100):
        panel.advance(34.011, 1.8895 * 36.0)
    assert panel.deposited_g == pytest.approx(2.240, rel=1e-3)


def test_cathode_efficiency_takes_its_part() -> None:
    whole, part = tank(), tank(cathode_efficiency=0.95)
    for each in (whole, part):
        each.advance(10.0, 20.0)
    assert part.deposited_g / whole.deposited_g == pytest.approx(0.95)


def test_charge_beyond_the_limiting_current_makes_no_copper() -> None:
    starved = tank(diffusion_layer_um=500, temperature_c=25.0, ambient_c=25.0)
    # i_L of 0.55e-9 m²/s and 0.801 M over 0.5 mm is 1.70 A/dm², so 3.06 A on 1.8 dm².
    starved.advance(1.0, 6.0)
    assert starved.deposited_g == pytest.approx(3.06 * 0.32931e-3, rel=0.02)
    assert starved.charge_c == 6.0


def test_ohmic_part_of_the_voltage() -> None:
    # 10 cm over 180 cm² at 0.2 S/cm is 0.2778 Ω, leads 0.03 Ω; fast kinetics add some mV.
    ohmic = tank(
        conductivity_ms_per_cm=200,
        temperature_c=25,
        exchange_a_per_dm2=100,
        diffusion_layer_um=1,
    )
    assert ohmic.voltage_at(3.0) == pytest.approx(3.0 * 0.3078, rel=2e-3)


def test_bare_tank_voltage_is_that_of_common_practice() -> None:
    # 1 to 4 V on bare metal at some A/dm².
    assert 1.0 < tank().voltage_at(1.8 * 2.0) < 4.0


DRIFTING = "drifting"


def troubled(name: str) -> Tank:
    three = tuple(PartParameters(area_dm2=area) for area in (0.5, 1.0, 2.0))
    plain = {
        "bare": lambda: tank(),
        "painted": lambda: tank(PartParameters()),
        "three parts": lambda: tank(*three),
        "starved": lambda: tank(diffusion_layer_um=800),
        "bare beside painted": lambda: tank(BARE, PartParameters(paint_ohm_per_sq=1000)),
        "three starved": lambda: tank(*three, diffusion_layer_um=800),
    }
    if name in plain:
        return plain[name]()
    trouble = tank(*three)
    if name == "shorted":
        trouble.set_short("whisker", 2.0)
    elif name == "shorted without parts":
        trouble.set_short("short", 50.0)
        for index in range(3):
            trouble.hang(index, hangs=False)
    elif name == DRIFTING:
        trouble.set_anode_drift(v_per_s=0.01, limit_v=2.0)
        trouble.advance(100.0, 100.0)
    return trouble


@pytest.mark.parametrize(
    "name",
    [
        "bare",
        "painted",
        "three parts",
        "bare beside painted",
        "starved",
        "three starved",
        "shorted",
        "shorted without parts",
        DRIFTING,
    ],
)
def test_voltage_rises_with_current_and_current_at_is_its_inverse(name: str) -> None:
    load = troubled(name)
    currents = [0.0, 1e-6, 0.001, 0.1, 0.3, 1.0, 1.9, 2.0, 3.0, 5.0, 20.0]
    volts = [load.voltage_at(current) for current in currents]
    assert volts == sorted(set(volts))
    assert volts[0] == 0.0
    for current, volt in zip(currents, volts, strict=True):
        assert load.current_at(volt) == pytest.approx(current, rel=1e-5, abs=1e-7)


def test_open_load_takes_nothing_at_any_voltage() -> None:
    load = tank()
    load.set_broken(True)
    assert load.is_open
    assert load.current_at(30.0) == 0.0
    assert load.voltage_at(0.001) == inf
    load.set_broken(False)
    assert load.current_at(30.0) > 1.0


def test_alike_parts_share_alike_and_the_lost_one_gets_nothing() -> None:
    load = tank(BARE, BARE, BARE)
    load.advance(10.0, 30.0)
    first = [part.deposited_g for part in load.parts]
    assert first == pytest.approx([30.0 / 3 * 0.32931e-3] * 3, rel=1e-4)
    load.hang(1, hangs=False)
    load.advance(10.0, 30.0)
    gained = [part.deposited_g - was for part, was in zip(load.parts, first, strict=True)]
    assert gained == pytest.approx([30.0 / 2 * 0.32931e-3, 0.0, 30.0 / 2 * 0.32931e-3], rel=1e-4)


def test_three_painted_parts_share_all_of_the_charge_from_the_first_moment() -> None:
    load = tank(*(PartParameters(area_dm2=area) for area in (0.5, 1.0, 2.0)))
    for _ in range(600):
        load.advance(2.0, 2.0)
    grams = [part.deposited_g for part in load.parts]
    assert sum(grams) == pytest.approx(1200 * 0.32931e-3, rel=1e-4)
    assert grams == sorted(grams)


def test_parts_side_by_side_share_one_voltage_and_all_of_the_current() -> None:
    painted = PartParameters(area_dm2=1.0, paint_ohm_per_sq=1000)
    both = tank(PartParameters(area_dm2=0.5, paint_ohm_per_sq=0), painted)
    for current_a in (0.001, 0.5, 4.0):
        shares = [share.current_a for share in both.point_at(current_a).shares]
        assert sum(shares) == pytest.approx(current_a, rel=1e-8)
        # Paint of 1000 Ω/sq, three squares to two contacts, lets next to nothing through.
        assert 0.0 < shares[1] < current_a / 50.0


def test_short_leads_charge_past_the_parts() -> None:
    load = tank()
    load.set_short("whisker", 0.5)
    load.advance(10.0, 36.0)
    bath_v = load.point_at(3.6).bath_v
    assert load.shunted_c == pytest.approx(0.5 * bath_v * 10.0, rel=1e-3)
    assert load.charge_c + load.shunted_c == pytest.approx(36.0)
    assert load.deposited_g == pytest.approx(load.charge_c * 0.32931e-3, rel=1e-4)


def test_painted_part_collapses_as_copper_covers_it() -> None:
    load = tank(PartParameters(area_dm2=1.8, paint_ohm_per_sq=10, paint_squares=3, contacts=2))
    part = load.parts[0]
    # Almost all paint: a strip of three squares, fed at two contacts, acts as a third of 15 Ω.
    assert part.resistance_ohm == pytest.approx(10 * 3 / (3 * 2), rel=0.15)
    seen = [load.voltage_at(0.4)]
    for _ in range(20):
        for _ in range(60):
            load.advance(1.0, 0.4)
        seen.append(load.voltage_at(0.4))
    assert seen == sorted(seen, reverse=True)
    assert seen[0] > 4 * seen[10] > 0.0
    # 20 min at 0.4 A is 0.98 µm of copper, whose sheet has 0.0168 Ω/sq at 1 µm.
    assert part.coverage > 0.95
    assert part.resistance_ohm == pytest.approx(0.0168 / 0.98 * 3 / (3 * 2), rel=0.05)


def test_unpainted_and_covered_parts_keep_their_coverage_at_one() -> None:
    bare = tank()
    bare.advance(100.0, 100.0)
    assert bare.parts[0].coverage == 1.0
    assert bare.parts[0].resistance_ohm == 0.0


def test_bath_warms_as_the_closed_form_says() -> None:
    # A tank that is only a resistor: 4 A through 1 Ω is 16 W into 12 L of 4 kJ/(L·K), 3 W/K lost.
    load = tank(temperature_c=20.0, ambient_c=20.0)
    load.set_short("short", 1.0)
    load.hang(0, hangs=False)
    for _ in range(1000):
        load.advance(10.0, 40.0)
    expected = 20.0 + 16.0 / 3.0 * (1.0 - exp(-10_000 * 3.0 / 48_000.0))
    assert load.temperature_c == pytest.approx(expected, abs=1e-9)


def test_idle_bath_cools_to_ambient() -> None:
    load = tank(temperature_c=40.0, ambient_c=20.0)
    load.advance(16_000.0, 0.0)
    assert load.temperature_c == pytest.approx(20.0 + 20.0 * exp(-1.0), abs=1e-9)


def test_warmer_bath_needs_less_voltage() -> None:
    assert tank(temperature_c=40.0).voltage_at(3.0) < tank(temperature_c=20.0).voltage_at(3.0)


def test_shorter_steps_change_the_state_little_and_the_charge_not_at_all() -> None:
    def run(step_s: float) -> Tank:
        load = tank(PartParameters())
        for _ in range(round(600 / step_s)):
            load.advance(step_s, 0.4 * step_s)
        return load

    coarse, fine = run(10.0), run(1.0)
    assert isclose(coarse.charge_c, fine.charge_c)
    assert isclose(coarse.deposited_g, fine.deposited_g, rel_tol=1e-5)
    assert coarse.voltage_at(0.4) == pytest.approx(fine.voltage_at(0.4), rel=1e-3)
    assert coarse.temperature_c == pytest.approx(fine.temperature_c, abs=1e-3)


def test_after_no_current_at_all_the_parts_share_the_next_one_as_ever() -> None:
    """A search may ask for the cell at 0 A, which tells nothing of the shares of the next."""
    parts = (PartParameters(area_dm2=0.5), PartParameters(area_dm2=1.5))
    asked, fresh = (Rack(parts) for _ in range(2))
    electrode = Electrode(0.1, 20.0, 0.3, 25.0)
    asked.voltage_at(0.0, electrode, 0.1)
    volts, _, shares = asked.voltage_at(1.0, electrode, 0.1)
    wanted, _, wanted_shares = fresh.voltage_at(1.0, electrode, 0.1)
    assert volts == pytest.approx(wanted, abs=1e-6)
    assert [each.current_a for each in shares] == pytest.approx(
        [each.current_a for each in wanted_shares], abs=1e-6
    )
