"""Years of a bath with a truth of its own: a few of those that the campaign lives through."""

import pytest
from bath_year import BATH, DAYS, live

from daemon.record import ledger
from daemon.record.store import RecordLock, open_writer
from daemon.record.summary import nah

SEEDS = range(500_000, 500_006)


@pytest.fixture(scope="module")
def years():
    return [live(seed) for seed in SEEDS]


def test_the_band_holds_the_truth_on_most_days_and_not_by_being_wide(years):
    days = sum(year.days for year in years)
    assert days == len(SEEDS) * DAYS
    for name in ("copper", "sulfuric acid", "chloride"):
        held = sum(year.held[name] for year in years) / days
        assert held >= 0.9
        assert sum(year.half_widths[name] for year in years) / days < 0.05
    # Somewhere it does not: a band that always did would say nothing.
    assert any(year.held[name] < year.days for year in years for name in year.held)


def test_no_addition_that_is_suggested_leads_beyond_the_window(years):
    assert sum(year.suggested for year in years) > 10
    assert [what for year in years for what in year.overshot] == []


def test_the_ledgers_sum_is_the_charge_that_has_passed(years, tmp_path):
    path = tmp_path / "record.sqlite"
    with RecordLock(path):
        engine = open_writer(path)
        for year in years:
            with engine.begin() as connection:
                name = f"{BATH.name} {year.seed}"
                bath_id = ledger.ensure_bath(connection, name, 0)
                for each in year.passed:
                    charge_nah = nah(each.charge_ah)
                    ledger.post(connection, bath_id, None, each.utc_ms, "charge", charge_nah, "-")
                balance_ah = ledger.balance_nah(connection, bath_id) / 1e9
            assert balance_ah == pytest.approx(year.charge_ah, rel=1e-7)
        engine.dispose()
