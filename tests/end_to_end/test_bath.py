"""The bath's account through a real daemon: entered during a run, shown without one."""

import re

import pytest

from daemon.record import audits, bath_entries, queries
from daemon.record.charge_at import ChargeHistory
from daemon.service.commands import report

BATH = """
[bath]
name = "Acid copper"
volume = "15 L"
[[bath.additive]]
name = "brightener"
rate = "150 mL/kAh"
dose = "0.02 mL"    # each 0.133 A·h
"""


@pytest.fixture
def daemon(new_daemon):
    daemon = new_daemon()
    settings = daemon.settings.read_text().replace('[bath]\nname = "Acid copper"\n', BATH)
    daemon.settings.write_text(settings)
    return daemon.start().ready()


PLAN = """\
title = "Bracket"
area = "1.8 dm²"
target = "12 µm"          # 1.633 A·h
voltage_ceiling = "6 V"
caps = { charge = "2 Ah", duration = "5 h" }
[[stage]]
name = "build"
current = "2 A"
"""


def test_a_dose_during_a_run_and_what_the_account_says_of_it(daemon, tmp_path, wait_until):
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    code, out, err = daemon.cli("run", "--check", plan)
    assert (code, err) == (0, [])
    assert out[-2:] == [
        "note       the plan can work: 1.633 Ah in about 49 min at its currents",
        "note       0.02 mL of brightener falls due after 0.13 Ah of this run, in about 4 min; "
        "12 times in all before its end",
    ]
    assert daemon.status().state == "idle"
    code, out, err = daemon.cli("run", plan)
    assert (code, err) == (0, [])
    assert out[-1].endswith("12 times in all before its end")
    due = wait_until(
        lambda: (status := daemon.status()) and status.dues[0].doses and status,
        "a dose is due",
    )
    assert due.bath_charge_ah >= 0.02 / 0.15
    assert "due        0.02 mL of brightener now" in report.text(due)
    before = daemon.status()
    code, out, err = daemon.cli("bath", "dose", "brightener", "--note", "at full current")
    assert (code, out, err) == (0, ["entry 2"], [])
    after = daemon.status()
    assert daemon.cli("bath", "look", "bright", "--run", 1)[0] == 0
    code, out, err = daemon.cli("bath")
    assert (code, err) == (0, [])
    assert "put in     brightener: 0.02 mL" in out
    status = daemon.status()
    # 150 mL/kAh of all the charge so far, less the dose.
    assert status.dues[0].open_ml == pytest.approx(status.bath_charge_ah * 0.15 - 0.02, abs=1e-3)
    daemon.act("stop")
    daemon.until_state("stopped")
    assert daemon.end() == 0

    described, dose, look = daemon.record(bath_entries.all_of, "Acid copper")
    assert described.made.facts["additives"][0]["rate_ml_kah"] == 150.0
    assert dose.made.amounts == {"brightener": 0.02, "volume": 0.00002}
    assert (look.made.run_id, look.made.facts) == (1, {"looks": ["bright"]})
    acts = [entry.act for entry in daemon.record(audits.page)]
    assert [(act.what, act.detail) for act in acts if act.what == "enter"] == [
        ("enter", "appearance"), ("enter", "dose"),
    ]  # fmt: skip

    # The charge at the dose lies between what was told before and after it.
    at_dose_ah = daemon.record(
        lambda connection: ChargeHistory(connection, "Acid copper").at(dose.made.at_utc_ms)
    )
    assert before.bath_charge_ah <= at_dose_ah <= after.bath_charge_ah
    assert at_dose_ah >= 0.02 / 0.15
    # Account, runs and what is shown agree to the last digit.
    (bath,) = daemon.record(queries.baths)
    run = daemon.run_record()
    now_ah = daemon.record(lambda connection: ChargeHistory(connection, "Acid copper").at(2**52))
    assert now_ah == bath.posted_ah == run.charge_ah
    assert sum(round(entry.charge_ah * 1e9) for entry in daemon.ledger()) == round(now_ah * 1e9)
    code, out, err = daemon.cli("bath", "show")
    assert (code, err) == (0, [])
    assert f"charge     {run.charge_ah:.3f} Ah" in out
    code, out, err = daemon.cli("bath", "withdraw", 2)
    assert code == 1
    assert re.search("no daemon answers .*nothing was entered", err[0])
