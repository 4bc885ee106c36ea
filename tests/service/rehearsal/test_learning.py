"""What runs teach: figures that lead back to the voltage that was seen."""

from math import exp, log

import numpy as np
import pytest

from daemon.service.rehearsal.learning import Past, Seen, learn
from daemon.service.rehearsal.supposed import (
    EXCHANGE,
    GAP,
    USUAL,
    USUAL_SD,
    Cell,
    Facts,
    usual_loss_w_k,
)

FACTS = Facts(volume_l=12.0, copper_g_l=50.9, acid_g_l=60.0, anode_dm2=4.0)
TRUTH = tuple(log(each) for each in (9.0, 0.4, 0.02, 1.0, 0.25, 45.0))
G_AH = 1.185495  # 3600 * 63.546 / (2 * 96485.33212)


def run(currents, area_dm2=2.0, gap=1.0, given=1.0, warm=None):
    """A run whose voltages are a known cell's, 10 min at each current."""
    figures = list(TRUTH)
    figures[GAP] += log(gap)
    cell = Cell(FACTS, tuple(figures), area_dm2)
    seen, charge_ah = [], 0.0
    for place, current_a in enumerate(currents):
        charge_ah += current_a / 6.0
        cell.deposit_to(charge_ah * G_AH)
        temperature_c = 22.0 if warm is None else warm(600.0 * (place + 1))
        seen.append(
            Seen(
                600.0 * (place + 1), current_a, cell.voltage_v(current_a, temperature_c),
                charge_ah * G_AH, current_a / given, None if warm is None else temperature_c,
            )
        )  # fmt: skip
    um = tuple(each.deposited_g / 8.96 / area_dm2 * 100.0 for each in seen)
    return Past(1, area_dm2, tuple(seen), um)


STEPS = (0.3, 0.6, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 6.0, 5.0, 4.0, 2.0)


def test_without_runs_it_is_what_is_usual():
    learned = learn(FACTS, ())
    assert learned.runs == 0
    assert tuple(learned.mean) == USUAL
    assert np.sqrt(np.diag(learned.covariance)) == pytest.approx(USUAL_SD)
    assert learned.given == 1.0


def test_runs_lead_back_to_the_voltage_of_currents_that_were_not_run():
    """The fitted cell at 8 A on 3 dm², against the known one: within 3 %."""
    learned = learn(FACTS, [run(STEPS), run(STEPS[:8], area_dm2=1.5), run(STEPS[4:])])
    fitted = Cell(FACTS, tuple(float(each) for each in learned.mean), 3.0)
    known = Cell(FACTS, TRUTH, 3.0)
    for cell in (fitted, known):
        cell.deposit_to(20.0)
    for current_a in (1.0, 3.0, 8.0):
        expected_v = known.voltage_v(current_a, 22.0)
        assert fitted.voltage_v(current_a, 22.0) == pytest.approx(expected_v, rel=0.03)


def test_the_figures_that_matter_are_surer_than_before_and_near_the_truth():
    learned = learn(FACTS, [run(STEPS) for _ in range(3)])
    sd = np.sqrt(np.diag(learned.covariance))
    for figure in (GAP, EXCHANGE):
        assert sd[figure] < 0.5 * USUAL_SD[figure]
        assert abs(learned.mean[figure] - TRUTH[figure]) < 3.0 * sd[figure]


def test_runs_that_differ_leave_more_open_than_runs_that_agree():
    alike = learn(FACTS, [run(STEPS) for _ in range(5)])
    unlike = learn(FACTS, [run(STEPS, gap=gap) for gap in (0.7, 0.85, 1.0, 1.2, 1.4)])
    assert unlike.varies_sd[0] > 3.0 * alike.varies_sd[0]


def test_current_for_each_ampere_asked_for():
    learned = learn(FACTS, [run(STEPS, given=1.01) for _ in range(3)])
    assert learned.given == pytest.approx(1.01)
    assert learned.given_sd < 0.004


def test_a_thermometer_teaches_the_loss_of_heat():
    """A bath in a 20 °C room, with a time constant of 12 L * 4000 J/(L·K) / 6 W/K = 8000 s.

    Its own heat is left out: it is a watt or two here.
    """
    cold = [0.2] * 40
    past = [run(cold, warm=lambda s: round(20.0 + 8.0 * exp(-s / 8000.0), 2)) for _ in range(4)]
    learned = learn(FACTS, past)
    assert learned.warm_runs == 4
    assert exp(learned.log_loss) == pytest.approx(6.0, rel=0.15)
    assert exp(learned.log_loss) > usual_loss_w_k(12.0) * 1.5
    assert learned.ambient_c == pytest.approx(20.0, abs=0.7)
    assert learned.start_c == pytest.approx(20.0 + 8.0 * exp(-3.0), abs=0.1)


def test_a_run_full_of_outliers_does_not_lead_it_astray():
    """One reading in six is a tenth of what it was: a meter that was read too late."""
    good = [run(STEPS) for _ in range(3)]
    seen = tuple(
        Seen(s.at_s, s.current_a, s.voltage_v / 10.0 if k % 6 == 5 else s.voltage_v, s.deposited_g)
        for k, s in enumerate(good[0].seen)
    )
    learned = learn(FACTS, [Past(9, 2.0, seen, good[0].deposited_um), *good[1:]])
    assert abs(learned.mean[GAP] - TRUTH[GAP]) < 0.25
