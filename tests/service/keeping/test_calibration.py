"""What the daemon makes of a request to calibrate."""

import math
import threading

import pytest

from daemon.api.errors import InputError
from daemon.api.socket.messages import CalibrateRequest
from daemon.chemistry.calibration import MeterLine, Point
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.control.panel import Correction, MeterFacts
from daemon.record.calibrations import Calibration
from daemon.record.writer import Writer
from daemon.service.keeping.calibration import Calibrator, known_meters

PROMISED = MeterDoubt(gain=0.006, offset_a=0.005, noise_a=0.002, clock=5e-5)
COARSE = MeterDoubt(gain=0.006, offset_a=0.005, step_a=0.01)
DESCRIBED = {"supply": PROMISED, "shunt": PROMISED, "coarse": COARSE}
POINTS = (Point(0.010, 1e-4, 0.0), Point(3.040, 3e-4, 3.0, 3e-4))


def a_request(**changes):
    fields = {
        "meter": "shunt",
        "who": "anna",
        "reference": "handheld, serial 4711",
        "reference_class": "0.5 % + 3 mA",
        "points": POINTS,
        "note": "after the new shunt",
    }
    return CalibrateRequest(**(fields | changes))


class Bench:
    """A calibrator on a real record."""

    def __init__(self, path, clock):
        self.writer = Writer(path, clock=clock, threaded=False)
        self.clock = clock
        self.learned = {}
        self.run_is_open = False
        self.calibrator = self.new()

    def known(self):
        return known_meters(DESCRIBED, self.writer.calibrations())

    def new(self):
        return Calibrator(
            DESCRIBED,
            self.writer.calibrations(),
            self.writer.keep_calibration,
            self.learned.__setitem__,
            lambda: self.run_is_open,
            self.clock,
        )


@pytest.fixture
def bench(tmp_path, clock):
    made = Bench(tmp_path / "record.sqlite", clock)
    yield made
    made.writer.close()


def test_a_meter_that_was_never_calibrated_is_as_good_as_its_maker_says(bench):
    assert bench.known() == {
        "supply": MeterFacts(Correction(), PROMISED, None),
        "shunt": MeterFacts(Correction(), PROMISED, None),
        "coarse": MeterFacts(Correction(), COARSE, None),
    }


def test_a_mean_is_no_finer_than_the_meters_step(bench):
    """Ten readings of 0.01 A without any spread: the current is anywhere from 0.005 to 0.015 A."""
    bench.calibrator.calibrate(a_request(meter="coarse", points=(Point(0.01, 0.0, 0.0),)))

    facts = bench.learned["coarse"]
    assert facts.correction.offset_a == 0.01
    assert facts.doubt.offset_a == pytest.approx(0.01 / math.sqrt(12))
    assert facts.doubt.step_a == 0.01


def test_a_calibration_is_kept_and_made_known(bench):
    bench.calibrator.calibrate(a_request())

    kept = bench.writer.calibrations()["shunt"]
    assert kept.made.points == POINTS
    assert (kept.made.who, kept.made.reference) == ("anna", "handheld, serial 4711")
    assert (kept.made.reference_class, kept.made.note) == ("0.5 % + 3 mA", "after the new shunt")
    assert kept.made.utc_ms == round(bench.clock.utc().timestamp() * 1000)
    facts = bench.learned["shunt"]
    assert facts.calibration_id == kept.id
    assert facts.correction.gain == pytest.approx(1.01)
    assert facts.correction.offset_a == pytest.approx(0.010)
    # The class of the reference, by hand: 0.5 % and 3 mA / 3 A, rectangular, and the readings.
    of_points = math.hypot(1e-4, math.hypot(3e-4, 1.01 * 3e-4)) / 3
    u_gain = math.hypot(of_points, 1.01 * 0.001 / math.sqrt(3))
    assert facts.doubt.gain * 1.01 == pytest.approx(u_gain, rel=1e-3)
    assert facts.doubt.reference == pytest.approx(0.005 / math.sqrt(3))
    assert (facts.doubt.noise_a, facts.doubt.clock) == (pytest.approx(0.002 / 1.01), 5e-5)


def test_the_next_daemon_knows_it_too(bench):
    bench.calibrator.calibrate(a_request())

    assert bench.known() == {
        "supply": MeterFacts(Correction(), PROMISED, None),
        "shunt": bench.learned["shunt"],
        "coarse": MeterFacts(Correction(), COARSE, None),
    }


def test_a_zero_after_a_calibration_keeps_its_gain(bench):
    bench.calibrator.calibrate(a_request())
    before = bench.learned["shunt"]
    bench.calibrator.calibrate(a_request(points=(Point(0.02, 1e-4, 0.0),)))

    after = bench.learned["shunt"]
    assert after.correction == Correction(before.correction.gain, 0.02)
    assert after.doubt.gain == before.doubt.gain
    assert after.calibration_id != before.calibration_id


def test_a_zero_without_a_calibration_leaves_the_makers_gain(bench):
    bench.calibrator.calibrate(a_request(points=(Point(0.02, 1e-4, 0.0),)))

    facts = bench.learned["shunt"]
    assert facts.correction == Correction(1.0, 0.02)
    assert (facts.doubt.gain, facts.doubt.offset_a) == (PROMISED.gain, 1e-4)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"meter": "shnt"}, "meter: expected one of supply, shunt, coarse, got 'shnt'"),
        ({"reference_class": "good"}, "the reference's class: expected"),
        ({"points": (Point(1.0, 1e-3, 1.0),)}, "points: a single point can only set the zero"),
        (
            {"points": (Point(0.0, 1e-3, 0.0), Point(1.5, 1e-3, 1.0))},
            r"points: the meter would show 1.5 A for each ampere; beyond 0.8 to 1.25",
        ),
    ],
)
def test_what_makes_no_sense_is_refused_and_not_kept(bench, changes, said):
    with pytest.raises(InputError, match=said):
        bench.calibrator.calibrate(a_request(**changes))
    assert bench.learned == bench.writer.calibrations() == {}


def test_a_run_is_counted_to_its_end_as_it_was_begun(bench):
    bench.run_is_open = True
    with pytest.raises(InputError, match=r"^shunt: a run is under way, .* when it is over$"):
        bench.calibrator.calibrate(a_request())
    assert bench.learned == bench.writer.calibrations() == {}


def test_two_at_once_are_kept_one_after_the_other(bench):
    """Both are in the record, and what the loop knows is the newer one."""
    requests = [a_request(who=who) for who in ("anna", "ben")]
    threads = [threading.Thread(target=bench.calibrator.calibrate, args=(r,)) for r in requests]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    kept = bench.writer.calibrations()["shunt"]
    assert bench.learned["shunt"].calibration_id == kept.id
    assert isinstance(kept, Calibration)
    assert kept.made.line != MeterLine()
