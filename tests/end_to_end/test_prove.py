"""The proof test on real processes: mock pins, a contactor that hangs on them, a person."""

import os
import re
import signal
import subprocess
import sys
import time

import pytest

from daemon.api.plans.proof import proof_plan
from daemon.api.socket.messages import ActRequest, StartRequest
from daemon.api.socket.proof import (
    AnswerProofRequest,
    BeginProofRequest,
    EndProofRequest,
    ProofRequest,
)
from daemon.record import audits, proofs

STOP_BUTTON, LID, BUTTON = 22, 23, 26
PINS = {"emergency stop": STOP_BUTTON, "lid": LID}
MORE = """\
[contactor]
heartbeat_pin = 17
pull_in = "2 s"
drop_out = "20 s"
[[interlock]]
name = "emergency stop"
pin = 22
stop = "abort"
[[interlock]]
name = "lid"
pin = 23
stop = "hold"
[beacon]
pin = 16
[siren]
pin = 20
[acknowledge_button]
pin = 26
[proof]
required = {required}
"""
PLAN = proof_plan(0.5, 6.0)
NAMES = [
    "supply off by command", "interlock lid", "interlock emergency stop",
    "contactor without its heartbeat", "beacon", "siren", "acknowledge button",
]  # fmt: skip


class Bench:
    """A daemon, and the person, who does as asked; one who is `lazy` does nothing at the tank."""

    def __init__(self, daemon, pins):
        self.daemon, self.pins = daemon, pins
        self.lazy = False

    def ask(self, request):
        return self.daemon.client.ask(request)

    def begin(self):
        answer = self.ask(BeginProofRequest(who="Ann", current_a=0.5, ceiling_v=6.0))
        assert answer.ok, answer.error
        return self.walk()

    def walk(self):
        return self.ask(ProofRequest()).proof.walk

    def does(self, todo):
        for name, pin in () if self.lazy else PINS.items():
            if todo.startswith(f"Open the loop of {name!r}"):
                self.pins.drive(pin, 0)
            elif todo.startswith(f"Close the loop of {name!r}"):
                self.pins.drive(pin, 1)
        if todo.startswith("Press the acknowledge button") and not self.lazy:
            self.pins.drive(BUTTON, 1)

    def follow(self, until=lambda walk: walk.ended is not None, *, answers=True):
        """Do what the walk asks for until then; how it is."""
        give_up_s = time.monotonic() + 120.0
        while not until(walk := self.walk()):
            assert time.monotonic() < give_up_s, walk
            self.does(walk.todo)
            if walk.question and answers:
                said = {"who": "Ann", "walk": walk.id, "step": walk.step, "yes": True}
                self.ask(AnswerProofRequest.model_validate(said))
            time.sleep(0.02)
        return walk

    def waits_for_the_lid(self):
        """Begin, and come to where the current flows and the lid is to be opened."""
        self.lazy = True
        self.begin()
        walk = self.follow(lambda walk: walk.ended or walk.todo.startswith("Open the loop"))
        assert walk.ended is None
        return walk


@pytest.fixture
def contactor(new_contactor):
    return new_contactor(lets_go_s=0.3)


@pytest.fixture
def make_bench(new_daemon, contactor, mock_pins):

    def make(*, required="false"):
        mock_pins.levels({STOP_BUTTON: 1, LID: 1, BUTTON: 0})
        daemon = new_daemon(
            more=MORE.format(required=required), environment=mock_pins.environment
        ).start().ready()  # fmt: skip
        return Bench(daemon, mock_pins)

    return make


def test_everything_is_proved_at_a_terminal_with_the_meter_as_witness(
    make_bench, no_current, wait_until
):
    bench = make_bench()
    command = [sys.executable, "-m", "daemon.service.commands.cli", "prove", "--current", "0.5 A"]
    command += ["--ceiling", "6 V", "--settings", str(bench.daemon.settings)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as terminal:
        terminal.stdin.write("y\n" * 3)  # begin, beacon, siren
        terminal.stdin.flush()
        wait_until(bench.walk, "the walk is begun")
        walk = bench.follow(answers=False)
        out, err = terminal.communicate(timeout=60)
    assert (terminal.returncode, err) == (0, ""), out
    assert [(step.name, step.state) for step in walk.steps] == [(n, "passed") for n in NAMES]
    lines = out.splitlines()
    assert lines[-1] == "kept as passed: 7 steps"
    assert any(line.startswith("passed  contactor without its heartbeat: 0.0") for line in lines)
    no_current()
    # Nothing is left to be seen to: whoever proved was there.
    status = bench.daemon.status()
    assert (status.state, status.alarms, status.proving) == ("idle", (), None)
    kept = bench.daemon.record(proofs.newest)
    assert kept.id == walk.ended.kept
    assert [step.name for step in kept.made.steps] == NAMES
    asked = bench.daemon.record(audits.page)
    (withheld,) = [each.act for each in asked if each.act.what == "withhold the heartbeat"]
    assert withheld.origin == "proof test, command line"


def test_a_welded_contactor_is_kept_as_a_failure(make_bench, contactor, no_current):
    bench = make_bench()
    contactor.forced = True
    bench.begin()
    walk = bench.follow()
    assert walk.ended.how == "failed"
    states = {step.name: step.state for step in walk.steps}
    assert states["contactor without its heartbeat"] == "failed"
    assert states["supply off by command"] == "passed"
    assert not bench.daemon.record(proofs.newest).made.passed
    no_current()


def test_a_start_waits_for_the_proof_where_that_is_wanted(make_bench):
    bench = make_bench(required="true")
    plan = bench.daemon.folder / "plan.toml"
    plan.write_text(PLAN)
    code, _, err = bench.daemon.cli("run", plan)
    never = "the ways to stop were never proved here"
    assert (code, err) == (1, [f"tankhand: proof test overdue: {never}"])
    assert [alarm.cause for alarm in bench.daemon.status().alarms] == ["proof test overdue"]
    assert bench.ask(ProofRequest()).proof.overdue == never
    bench.begin()
    assert bench.follow().ended.how == "passed"
    proof = bench.ask(ProofRequest()).proof
    assert (proof.overdue, proof.due_utc is None) == (None, False)
    code, _, err = bench.daemon.cli("run", plan)
    assert (code, err) == (0, [])


def test_given_up_while_current_flows_it_leaves_the_output_off_and_keeps_nothing(
    make_bench, no_current
):
    bench = make_bench()
    walk = bench.waits_for_the_lid()
    assert bench.daemon.status().proving == "step 2 of 7, interlock lid"
    # Nobody else can switch anything on or begin another meanwhile.
    others = [
        StartRequest(plan=PLAN, who="Ben"),
        ActRequest(ask="resume", who="Ben"),
        BeginProofRequest(who="Ben", current_a=0.5, ceiling_v=6.0),
    ]
    errors = [bench.ask(request).error for request in others]
    assert errors[0] == (
        "proof test: is at step 2 of 7, interlock lid: it has to be given up first"
    )
    assert errors[1] == errors[0]
    assert errors[2] == "proof test: one is under way, begun by Ann"
    answer = bench.ask(EndProofRequest(who="Ben", walk=walk.id))
    assert answer.ok
    assert (answer.status.state, answer.status.output_on) == ("stopped", False)
    ended = bench.walk()
    assert (ended.ended.how, ended.ended.why) == ("given up", "given up by Ben")
    assert [step.state for step in ended.steps] == ["passed"] + 6 * ["not reached"]
    assert bench.daemon.record(proofs.newest) is None
    no_current()
    again = bench.ask(EndProofRequest(who="Ben", walk=walk.id))
    assert again.error == "proof test: it is over already"


def test_whoever_presses_stop_ends_it(make_bench, no_current):
    bench = make_bench()
    bench.waits_for_the_lid()
    assert bench.daemon.act("stop").ok
    walk = bench.follow()
    assert walk.ended.how == "given up"
    # Whichever of both notices first: whoever was told to stop, or whoever looks at the run.
    assert re.fullmatch(r"stop by Ann|the run is stopp\w+: stopped by Ann", walk.ended.why)
    no_current()


def test_a_daemon_that_dies_takes_the_walk_with_it(make_bench, no_current):
    bench = make_bench()
    bench.waits_for_the_lid()
    os.kill(bench.daemon.loop_pid, signal.SIGKILL)
    no_current()
    bench.daemon.until_state("idle")
    assert bench.walk() is None
    assert bench.daemon.record(proofs.newest) is None
    # It leaves a run that was interrupted, and with whose part nobody goes on.
    answer = bench.ask(StartRequest(goes_on_from=1, who="Ann"))
    assert answer.error == "run 1: was a proof test's: there is no part to go on with"
