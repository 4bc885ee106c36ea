"""A run counted again with another correction, against counting its raw readings anew."""

import math
import random
from dataclasses import replace

import pytest

from daemon.control.charge import Count
from daemon.control.panel import Correction
from daemon.control.recorrect import Change, counted

GAP_S = 1.0
SET_A = 3.0
EMPTY = Count(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def raw_run(seed):
    """Stamps and uncorrected readings of a night's hour, with a ramp, noise and three gaps."""
    rng = random.Random(seed)
    readings, now_s = [], 0.0
    while now_s < 600:
        true_a = min(SET_A, now_s / 60)
        readings.append((now_s, 1.02 * true_a + 0.013 + rng.gauss(0, 0.003)))
        now_s += rng.choice([0.1, 0.1, 0.2]) if rng.random() > 0.002 else rng.uniform(2, 9)
    return readings


def daemon_count(raw, correction):
    """Count as the daemon does, reading by reading; also its samples."""
    currents = [(t, (r - correction.offset_a) / correction.gain) for t, r in raw]
    count = Count.from_reading(*currents[0])
    samples = []
    for t, a in currents[1:]:
        count = count.add(t, a, GAP_S, SET_A)
        samples.append((t, a, count.charge_ah))
    return count, samples


CORRECTIONS = [
    Correction(),
    Correction(1.0, 0.013),
    Correction(1.02, 0.013),
    Correction(0.97, -0.004),
]


@pytest.mark.parametrize("was", CORRECTIONS)
@pytest.mark.parametrize("now", CORRECTIONS)
def test_it_is_what_counting_the_raw_readings_anew_gives(was, now):
    raw = raw_run(3)
    before, samples = daemon_count(raw, was)
    afresh, _ = daemon_count(raw, now)
    known = replace(EMPTY, charge_ah=before.charge_ah, gap_greatest_ah=before.gap_greatest_ah)
    again = Change.between(was, now).of(counted(samples, GAP_S, known))

    assert before.gap_s > 2
    assert again.charge_ah == pytest.approx(afresh.charge_ah, rel=1e-12)
    assert (again.covered_s, again.gap_s) == (
        pytest.approx(afresh.covered_s),
        pytest.approx(afresh.gap_s),
    )
    # The first interval's change of current is not in the record.
    assert again.squares_s2 == pytest.approx(afresh.squares_s2)
    assert again.steps_a2s2 == pytest.approx(afresh.steps_a2s2, rel=1e-2)
    assert again.steps_as == pytest.approx(afresh.steps_as, rel=1e-2, abs=0.05)
    assert again.gap_greatest_ah == before.gap_greatest_ah


def test_the_right_correction_finds_the_true_charge():
    """600 s: a ramp to 3 A in 180 s, then 3 A, all of it read 2 % and 13 mA too high."""
    raw = [(k / 10, 1.02 * min(SET_A, k / 600) + 0.013) for k in range(6001)]
    before, samples = daemon_count(raw, Correction())
    again = Change.between(Correction(), Correction(1.02, 0.013)).of(
        counted(samples, GAP_S, replace(EMPTY, charge_ah=before.charge_ah))
    )
    true_ah = (3.0 * 180 / 2 + 3.0 * 420) / 3600
    assert again.charge_ah == pytest.approx(true_ah, rel=1e-9)
    assert before.charge_ah == pytest.approx(1.02 * true_ah + 0.013 * 600 / 3600)


def test_readings_that_only_the_record_has_lost_still_count():
    raw = raw_run(5)
    before, samples = daemon_count(raw, Correction())
    thinned = [s for s in samples if not 100 < s[0] < 130]
    whole, holed = (counted(s, GAP_S, EMPTY) for s in (samples, thinned))

    assert holed.covered_s + holed.gap_s == pytest.approx(whole.covered_s + whole.gap_s)
    assert holed.covered_s >= whole.covered_s
    assert math.isclose(before.covered_s, whole.covered_s)


def test_a_correction_and_its_return_change_nothing():
    there = Change.between(Correction(), Correction(1.02, 0.013))
    back = Change.between(Correction(1.02, 0.013), Correction())
    count = Count(4.5, 0.0, 0.1, 5400.0, 3.0, 5403.0, 3.0, 3.0, 540.0, 1.0)
    again = back.of(there.of(count))

    assert again.charge_ah == pytest.approx(4.5)
    assert again.last_a == pytest.approx(3.0)


def test_a_run_without_a_reading_has_no_time():
    assert counted([], GAP_S, EMPTY) == EMPTY
