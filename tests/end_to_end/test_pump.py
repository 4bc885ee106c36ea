"""A dosing pump of a daemon's real processes, on mock pins, in real time.

3.6 mL/mAh are used, so that 2 A use 2 mL in a second; a dose of 5 mL takes 5 s at 1 mL/s.
"""

import os
import signal
import time
from pathlib import Path

import pytest

from daemon.api.socket.messages import StartRequest
from daemon.api.socket.proof import AnswerProofRequest, BeginProofRequest, ProofRequest
from daemon.record import audits, bath_entries, proofs
from tests.plates import BRACKET as PLAN

BATH = """
[bath]
name = "Acid copper"
volume = "15 L"
[[bath.additive]]
name = "brightener"
rate = "3600 mL/Ah"
dose = "5 mL"
"""
MORE = """\
[[interlock]]
name = "level"
pin = 23
stop = "nothing"
[[pump]]
additive = "brightener"
pin = 24
flow = "1 mL/s"
greatest_dose = "8 mL"
most_a_day = "40 mL"
level = "level"
pause = "1 s"
"""
LEVEL, PUMP = 23, 24


@pytest.fixture
def rate():
    """Real time: a pump's line moves by it."""
    return 1.0


@pytest.fixture
def daemon(new_daemon, mock_pins):
    mock_pins.levels({LEVEL: 1})
    daemon = new_daemon(more=MORE, environment=mock_pins.environment)
    settings = daemon.settings.read_text().replace('[bath]\nname = "Acid copper"\n', BATH)
    daemon.settings.write_text(settings)
    return daemon.start().ready()


@pytest.fixture
def dosing(daemon, mock_pins, wait_until):
    """The daemon in a run, with its pump in a dose that has lasted for half a second."""

    def start():
        before = len(mock_pins.edges(PUMP))
        answer = daemon.client.ask(StartRequest(plan=PLAN, who="Ann"))
        assert answer.ok, answer.error
        wait_until(lambda: len(mock_pins.edges(PUMP)) > before + 10, "the pump runs")
        return daemon

    return start


def doses(daemon):
    """What the account has of doses: mL, and why they were cut short."""
    entries = daemon.record(bath_entries.all_of, "Acid copper")
    made = [each.made for each in entries if each.made.kind == "dose"]
    return [(each.amounts["brightener"], each.facts.get("cut_short")) for each in made]


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSTOP])
def test_a_loop_that_dies_or_hangs_in_a_dose_moves_the_pumps_line_no_more(
    dosing, mock_pins, no_current, wait_until, number
):
    daemon = dosing()
    old = daemon.loop_pid
    os.kill(old, number)
    wait_until(lambda: _has_ended(old, number), "the loop is dead, or stands")
    stood_s = time.monotonic()
    no_current()
    daemon.until_state("idle")
    assert daemon.loop_pid != old
    edges = mock_pins.edges(PUMP)
    assert edges[-1][0] <= stood_s
    pump = wait_until(
        lambda: (pump := daemon.status().pumps[0]).last_ml is not None and pump,
        "the loop has looked at its pump",
    )
    assert not pump.runs
    assert mock_pins.edges(PUMP) == edges
    # Of the dose that nobody has seen the end of, the whole is counted.
    ((given_ml, cut_short),) = doses(daemon)
    assert given_ml == 5.0
    assert "between 0 and 5 mL were given, and the whole is counted" in cut_short
    assert pump.day_ml == pump.last_ml == 5.0
    used_ml = 3600 * daemon.status().bath_charge_ah
    assert pump.owed_ml == pytest.approx(used_ml - 5.0, abs=0.1)


def _has_ended(pid, number):
    """Whether a process that was sent this signal runs no more."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return True
    return state in ("Z", "X") if number == signal.SIGKILL else state == "T"


def test_a_low_level_and_the_daemons_end_cut_a_dose_short_and_it_is_entered_by_its_time(
    dosing, daemon, mock_pins, wait_until
):
    dosing()
    mock_pins.drive(LEVEL, 0)
    low = wait_until(
        lambda: (status := daemon.status()) and not status.pumps[0].runs and status,
        "the pump stands",
    )
    assert low.pumps[0].why_not == "the level is low or not known: interlock open: level"
    assert low.state == "running"
    first_s = _lasted_s(mock_pins.edges(PUMP))
    mock_pins.drive(LEVEL, 1)
    so_far = len(mock_pins.edges(PUMP))
    wait_until(lambda: len(mock_pins.edges(PUMP)) > so_far + 10, "the pump runs again")
    second_from = mock_pins.edges(PUMP)[so_far:]
    assert daemon.end() == 0
    edges = mock_pins.edges(PUMP)
    assert edges[-1][1] == 0
    second_s = _lasted_s([*second_from[:1], *edges[-1:]])
    (first_ml, why), (second_ml, again) = doses(daemon)
    # 1 mL/s, and the drop-out of half a second.
    assert first_ml == pytest.approx(first_s + 0.5, abs=0.15)
    assert second_ml == pytest.approx(second_s + 0.5, abs=0.15)
    assert why == "the level is low or not known: interlock open: level"
    assert again.startswith("the run is stopping: stopped by ")


def _lasted_s(edges):
    return edges[-1][0] - edges[0][0]


def test_a_run_by_hand_says_how_long_it_was_and_a_plan_what_the_pump_gives(
    daemon, mock_pins, tmp_path
):
    code, out, err = daemon.cli("pump", "run", "brightener", "--for", "3 s", "--yes")
    assert (code, err) == (0, [])
    assert out[0].startswith("The outlet has to hang in a measuring cylinder")
    ran_s = float(out[-2].split()[1])
    assert out[-2:] == [
        f"ran        {ran_s:.1f} s",
        f"flow       what is in the cylinder, divided by {ran_s:.1f} s",
    ]
    # The drop-out is among them, and no more was asked for.
    edges = mock_pins.edges(PUMP)
    assert _lasted_s(edges) + 0.5 == pytest.approx(ran_s, abs=0.2)
    assert ran_s <= 3.0
    assert edges[-1][1] == 0
    assert doses(daemon) == []
    acts = [entry.act for entry in daemon.record(audits.page)]
    assert [(act.what, act.detail, act.origin) for act in acts] == [
        ("run a pump", "brightener for 3 s", "command line")
    ]
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    code, out, err = daemon.cli("run", "--check", plan)
    assert (code, err) == (0, [])
    assert out[-1].endswith("; its pump gives it, 5 mL at a time, at most 40 mL in 24 h")
    (said,) = [each for each in out if each.startswith("pump  ")]
    assert said.endswith("the pump rests: 0 of 5 mL are used up; 0 of 40 mL in 24 h")


def test_a_proof_test_has_it_run_into_a_glass_and_stop_with_its_level(daemon, mock_pins):
    answer = daemon.client.ask(BeginProofRequest(who="Ann", current_a=0.5, ceiling_v=6.0))
    assert answer.ok, answer.error
    edges, give_up_s = [], time.monotonic() + 60.0
    while (walk := daemon.client.ask(ProofRequest()).proof.walk).ended is None:
        assert time.monotonic() < give_up_s, walk
        if walk.todo:
            mock_pins.drive(LEVEL, 1 if walk.todo.startswith("Close") else 0)
        if walk.question:
            edges.append(len(mock_pins.edges(PUMP)))
            said = {"who": "Ann", "walk": walk.id, "step": walk.step, "yes": True}
            daemon.client.ask(AnswerProofRequest.model_validate(said))
        time.sleep(0.05)
    (kept,) = daemon.record(proofs.page)
    steps = {step.name: step for step in kept.made.steps}
    assert list(steps) == ["supply off by command", "interlock level", "pump of brightener"]
    assert all(step.passed for step in steps.values())
    assert steps["pump of brightener"].seen == ("4.5 to 5.5 mL in 5 s, and none with the loop open")
    # Before the outlet hangs in a glass nothing moves, and at rest nothing but what was asked for.
    assert edges[0] == 0
    first = mock_pins.edges(PUMP)[: edges[-2]]
    assert _lasted_s(first) == pytest.approx(4.5, abs=0.3)
    assert len(mock_pins.edges(PUMP)) == edges[-1]
    assert doses(daemon) == []
