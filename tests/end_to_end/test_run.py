"""A run by the real command line, and what the record knows of it afterwards."""

import pytest

from daemon.record import queries

PLAN = """\
title = "Bracket"
area = "1.8 dm²"
target = "1 µm"
voltage_ceiling = "6 V"
caps = { charge = "2 Ah", duration = "5 h" }
[[stage]]
name = "strike"
current = "0.5 A"
ramp = "10 s"
until = { duration = "40 s" }
[[stage]]
name = "build"
current = "2 A"
"""


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(PLAN)
    return path


def test_a_run_is_started_held_resumed_and_reaches_its_target(
    daemon, tank, plan, no_current, agrees
):
    code, out, err = daemon.cli("run", plan)
    assert (code, err) == (0, [])
    assert any(line.startswith("run        1, Bracket") for line in out)
    daemon.until_state("running")
    assert daemon.cli("hold")[0] == 0
    daemon.until_state("held")
    no_current()
    held_ah = tank.truth().charge_ah
    code, out, err = daemon.cli("status")
    assert (code, err) == (0, [])
    assert tank.truth().charge_ah == pytest.approx(held_ah, abs=1e-6)
    assert daemon.cli("resume")[0] == 0
    status = daemon.until_state("complete")
    no_current()
    truth = tank.truth()
    assert status.run.thickness_um == pytest.approx(1.0, rel=1e-2)
    assert daemon.end() == 0
    run = daemon.run_record()
    assert (run.state, run.title, run.plan) == ("complete", "Bracket", PLAN)
    agrees(run, truth.charge_ah)
    assert (run.mass_g, run.thickness_um) == (status.run.mass_g, status.run.thickness_um)
    stages = daemon.record(queries.stages, 1)
    assert [(stage.name, stage.ended_by) for stage in stages] == [
        ("strike", "duration"),
        ("build", "target"),
    ]
    kept = daemon.samples()
    assert len(kept) > 50
    assert kept[-1].charge_ah == pytest.approx(run.charge_ah, abs=1e-6)
    acts = daemon.events("act")
    assert [text.split()[0] for text in acts] == ["start", "hold", "resume"]
    (bath,) = daemon.record(queries.baths)
    assert bath.charge_ah == pytest.approx(run.charge_ah, abs=1e-6)
    assert sum(entry.charge_ah for entry in daemon.ledger()) == pytest.approx(bath.posted_ah)


def test_stop_abort_reset_and_what_a_state_does_not_allow(daemon, plan, no_current):
    for act in ("hold", "resume", "stop", "abort", "reset"):
        assert f"cannot {act} a run that is idle" in daemon.act(act).error
    code, out, err = daemon.cli("hold")
    assert (code, out, len(err)) == (1, [], 1)
    assert "cannot hold a run that is idle" in err[0]
    daemon.plate()
    code, out, err = daemon.cli("run", plan)
    assert (code, out, len(err)) == (1, [], 1)
    assert "cannot start a run that is running" in err[0]
    assert daemon.cli("stop")[0] == 0
    daemon.until_state("stopped")
    no_current()
    daemon.plate()
    assert daemon.cli("abort")[0] == 0
    daemon.until_state("aborted")
    no_current()
    code, _, err = daemon.cli("run", plan)
    assert code == 1
    assert "look at the tank" in err[0]
    assert daemon.cli("reset")[0] == 0
    assert daemon.status().state == "idle"
    assert daemon.end() == 0
    runs = daemon.record(queries.runs)
    assert [run.state for run in runs] == ["aborted", "stopped"]


PLANS_THAT_CANNOT_WORK = [
    ('"2 A"', '"50 A"', ["stage 2", "50 A"]),
    ('"2 A"', '"2 V"', ["stage[2].current", "2 V"]),
    ('area = "1.8 dm²"\n', "", ["area", "missing"]),
    ('"2 Ah"', '"0.01 Ah"', ["cap on charge"]),
    ('title = "Bracket"', "title", ["TOML"]),
]


def test_a_plan_that_cannot_work_is_refused_and_nothing_is_energised(daemon, tank, plan):
    for old, new, words in PLANS_THAT_CANNOT_WORK:
        assert old in PLAN
        plan.write_text(PLAN.replace(old, new))
        code, out, err = daemon.cli("run", plan)
        assert (code != 0, out) == (True, [])
        assert "Traceback" not in "".join(err)
        for word in words:
            assert word in err[0]
    assert daemon.status().state == "idle"
    assert tank.truth().charge_ah == 0.0
    assert daemon.record(queries.runs) == []
