"""The power cut at some moments of the record's life; power_cuts.py does far more of them."""

import time
from random import Random

import power_cuts
import pytest
from disk import damage
from disk.damage import Disk
from disk.tracing import Op, traces

from daemon.record.store import open_reader

pytestmark = pytest.mark.skipif(not traces(), reason="no program may be traced here")


@pytest.fixture(scope="module")
def seed():
    seed = int(time.time())
    print("seed", seed)  # noqa: T201
    return seed


@pytest.fixture(scope="module")
def tale(tmp_path_factory):
    return power_cuts.record_evening(tmp_path_factory.mktemp("evening"), seconds=70)


def test_the_whole_evening_is_taken_down(tale, tmp_path):
    """What is replayed without a cut is the record that the writer left."""
    disk = Disk()
    for op in tale.ops:
        disk.take(op)
    power_cuts.put(tmp_path, disk.whole())
    engine = open_reader(tmp_path / "record.sqlite")
    with engine.connect() as connection:
        runs = connection.exec_driver_sql("SELECT state FROM run ORDER BY id").fetchall()
        charge = connection.exec_driver_sql("SELECT sum(charge_nah) FROM ledger").scalar()
    engine.dispose()
    assert runs == [("complete",), ("aborted",), ("complete",)]
    # 70 s and 35 s of 3.6 A; the run that was left open is known to its last reading at 34.5 s.
    assert charge == pytest.approx(1e6 * (70 + 35 + 34.5), rel=1e-6)


def test_no_cut_takes_what_was_acknowledged(tale, seed):
    found = power_cuts.campaign([tale], 700, seed, processes=2)
    assert (found.cuts, found.corrupt, found.lost) == (700, 0, 0), found.examples
    assert min(found.damages.values()) >= 100


def test_nor_does_a_second_one_in_recovery(tale, seed, tmp_path):
    recoveries = power_cuts.record_recoveries(tmp_path, tale, 5, seed)
    found = power_cuts.campaign(recoveries, 150, seed, processes=2)
    assert (found.cuts, found.corrupt, found.lost) == (150, 0, 0), found.examples


def test_nor_does_one_keep_a_record_from_being_made(tale, seed):
    found = power_cuts.cut_in_making(tale, 10, seed)
    assert (found.cuts, found.corrupt) == (10, 0), found.examples


def test_a_disk_without_syncs_loses_it(tale, seed):
    """The control: what finds nothing here would find nothing anywhere."""
    found = power_cuts.campaign([tale], 200, seed, processes=2, flushes=False)
    assert found.corrupt > 20
    assert found.lost > 20


WRITES = [Op("write", "a", 0, b"first"), Op("write", "a", 3, b"second"), Op("truncate", "a", 4)]


def test_what_was_synced_lasts_and_nothing_else_has_to():
    disk = Disk()
    for op in (Op("create", "a"), WRITES[0], Op("sync", "a"), *WRITES[1:]):
        disk.take(op)
    assert disk.whole() == {"a": b"firs"}
    assert disk.cut(damage.none, Random(0)) == {"a": b"first"}
    assert disk.cut(damage.all_of_it, Random(0)) == {"a": b"firs"}
    seen = {disk.cut(damage.prefix, Random(n))["a"] for n in range(50)}
    assert seen == {b"first", b"firsecond", b"firs"}


def test_of_a_name_that_is_used_again_the_old_writes_do_not_come_back():
    disk = Disk()
    for op in (Op("create", "a"), WRITES[0], Op("unlink", "a"), Op("create", "a"), Op("sync", ".")):
        disk.take(op)
    assert {disk.cut(kind, Random(0))["a"] for kind in damage.DAMAGES.values()} == {b""}
