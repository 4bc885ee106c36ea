"""The charge of a part by the record: corrections, interruptions, runs that go on."""

import pytest

from daemon.bath.errors import WeighingError
from daemon.bath.run_charge import of_part
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.record import ledger
from daemon.record.entries import CountedBy, RunEnded, RunOpened, Sample, Settled
from daemon.record.errors import NoSuchRunError
from daemon.record.interruptions import Restart
from daemon.record.store import open_reader, open_writer
from daemon.record.writer import Writer

DOUBT = MeterDoubt(gain=0.01, offset_a=0.002, of_limits=True)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "record.sqlite"


@pytest.fixture
def plate(path):
    """Write a run of an hour at 2 A into the record: 2 A·h."""

    def write(run_id=1, goes_on_from=None, *, gap_ah=0.0, ended=True, boot="boot"):
        writer = Writer(path, threaded=False)
        by = CountedBy("supply", doubt=DOUBT)
        writer.put(
            RunOpened(
                run_id, "bath A", "Plate", "", "Cu", 1.0, 25.0, "anna", 1_700_000_000_000, 0.0,
                boot, True, by, goes_on_from,
            )
        )  # fmt: skip
        for t in range(0, 3601, 6):
            writer.put(Sample(run_id, float(t), 2.0, 1.0, 2.0, 2.0 * t / 3600))
        if ended:
            writer.put(
                RunEnded(run_id, "stopped", "", 0, 3600.0, 3600.0, 2.0, 0.0, gap_ah, 0.0, 0.0)
            )
        writer.close()

    return write


@pytest.fixture
def ask(path):
    def look(run_id=1):
        engine = open_reader(path)
        try:
            with engine.connect() as connection:
                return of_part(connection, run_id)
        finally:
            engine.dispose()

    return look


def doubts(found):
    return {share.name: share.u for share in found.charge.shares}


def test_a_run_s_charge_and_its_meter_s_doubt(plate, ask):
    plate()
    found = ask()
    assert found.charge.value == pytest.approx(2.0)
    # 1 % of 2 A·h, and 2 mA for an hour.
    assert doubts(found) == pytest.approx({"gain": 0.02, "offset": 0.002})


def test_what_passed_in_a_gap_is_between_its_bounds(plate, ask):
    plate(gap_ah=0.1)
    found = ask()
    assert found.charge.value == pytest.approx(2.05)
    assert doubts(found)["gaps"] == pytest.approx(0.05)


def test_runs_of_one_part_add_up_and_their_meter_errs_alike(plate, ask):
    plate(1)
    plate(2, goes_on_from=1)
    plate(3)
    found = ask(2)
    assert [run.id for run in found.runs] == [1, 2]
    assert (found.last.id, found.charge.value) == (2, pytest.approx(4.0))
    assert doubts(found) == pytest.approx({"gain": 0.04, "offset": 0.004})


def test_a_correction_of_the_count_is_taken(plate, ask, path):
    plate()
    engine = open_writer(path)
    with engine.begin() as connection:
        ledger.correct_run(connection, 1, 1_960_000_000, 0, "counted with calibration 1")
    engine.dispose()
    assert ask().charge.value == pytest.approx(1.96)


def interrupted(path, *, synchronised=True, boot="boot"):
    writer = Writer(path, threaded=False)
    restart = Restart(3960.0, 1_700_003_960_000, boot, synchronised, lambda *_: 2.0)
    writer.close_unfinished("died", restart)
    return writer


def test_an_interruption_is_between_its_bounds_until_it_is_settled(plate, ask, path):
    plate(ended=False)
    writer = interrupted(path)
    # Six minutes at 2 A at most: 0 to 0.2 A·h.
    assert ask().charge.value == pytest.approx(2.1)
    assert doubts(ask())["gaps"] == pytest.approx(0.1)
    writer.settle(Settled(1, 0.15, "anna", "it went on", 0))
    writer.close()
    assert ask().charge.value == pytest.approx(2.15)
    assert "gaps" not in doubts(ask())


def test_an_interruption_of_which_nothing_is_known_wants_a_word_first(plate, ask, path):
    plate(ended=False)
    interrupted(path, synchronised=False, boot="another").close()
    with pytest.raises(WeighingError, match="tankhand settle 1 CHARGE"):
        ask()


def test_a_run_under_way_has_no_charge_to_weigh(plate, ask):
    plate(ended=False)
    with pytest.raises(WeighingError, match="run 1: is under way"):
        ask()


def test_no_such_run(plate, ask):
    plate()
    with pytest.raises(NoSuchRunError):
        ask(7)
