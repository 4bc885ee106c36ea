"""The proof test on real processes: mock pins, a contactor that hangs on them, a person."""

import time

import pytest

from daemon.record import audits, proofs
from daemon.service.proving import Cabinet, ProofEndedError, Tank, Walk, plan_of

STOP_BUTTON, LID, BUTTON, HEARTBEAT = 22, 23, 26, 17
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
PLAN = plan_of(0.5, "6 V")
CABINET = Cabinet(
    loops=(("emergency stop", True), ("lid", False)), gone_a=0.02, off_s=60.0, drop_out_s=40.0,
    beacon=True, siren=True, button=True,
)  # fmt: skip
LETS_GO_S = 0.3


class Bench:
    """The contactor, which follows the heartbeat; and the person, who does what is asked."""

    def __init__(self, daemon, tank, pins):
        self.daemon, self.tank, self.pins = daemon, tank, pins
        self.closed = True
        self.welded = self.lazy = self.deaf = False
        self.said = []

    def pause(self, seconds):
        """Let the world go on meanwhile."""
        edges = self.pins.edges(HEARTBEAT)
        moves = bool(edges) and time.monotonic() - edges[-1][0] < LETS_GO_S
        if moves and not self.closed:
            self.tank.inject("mend")
        elif not moves and self.closed and edges and not self.welded:
            self.tank.inject("open_load")
        self.closed = moves or self.welded or not edges
        time.sleep(seconds)

    def say(self, text):
        self.said.append(text)
        if self.lazy:
            return
        for name, pin in PINS.items():
            if f"the interlock {name!r} now" in text:
                self.pins.drive(pin, 0)
            elif f"Close the loop of {name!r}" in text:
                self.pins.drive(pin, 1)
        if "Press the acknowledge button" in text:
            self.pins.drive(BUTTON, 1)

    def confirms(self, question):
        self.said.append(question)
        return not self.deaf

    def walk(self, cabinet=CABINET):
        tank = Tank(self.daemon.client.ask, self.pause, "Ann", "test")
        return Walk(tank, self, cabinet, PLAN).run()


@pytest.fixture
def make_bench(new_daemon, tank, mock_pins):
    def make(*, required="false"):
        mock_pins.levels({STOP_BUTTON: 1, LID: 1, BUTTON: 0})
        daemon = new_daemon(
            more=MORE.format(required=required), environment=mock_pins.environment
        ).start().ready()  # fmt: skip
        return Bench(daemon, tank, mock_pins)

    return make


def test_everything_is_proved_with_the_meter_as_witness(make_bench, no_current):
    bench = make_bench()
    steps = bench.walk()
    assert [(step.name, step.passed) for step in steps] == [
        ("supply off by command", True),
        ("interlock emergency stop", True),
        ("interlock emergency stop, the run", True),
        ("interlock lid", True),
        ("interlock lid, the run", True),
        ("contactor without its heartbeat", True),
        ("beacon", True),
        ("siren", True),
        ("acknowledge button", True),
    ]
    no_current()
    assert bench.daemon.status().state in ("stopped", "aborted")
    asked = bench.daemon.record(audits.page)
    assert "withhold the heartbeat" in [each.act.what for each in asked]


def test_a_welded_contactor_and_a_silent_siren_fail(make_bench):
    bench = make_bench()
    bench.welded = bench.deaf = True
    steps = {step.name: step for step in bench.walk()}
    assert not steps["contactor without its heartbeat"].passed
    assert not steps["siren"].passed
    assert steps["supply off by command"].passed


def test_a_start_waits_for_the_proof_where_that_is_wanted(make_bench):
    bench = make_bench(required="true")
    code, _, err = bench.daemon.cli("run", _plan_file(bench))
    assert (code, err) == (
        1,
        ["tankhand: proof test overdue: the ways to stop were never proved here"],
    )
    overdue = [alarm.cause for alarm in bench.daemon.status().alarms]
    assert overdue == ["proof test overdue"]
    steps = bench.walk()
    from daemon.api.messages import ProofRequest

    told = tuple((s.name, s.expected, s.seen, s.passed) for s in steps)
    assert bench.daemon.client.ask(ProofRequest(who="Ann", steps=told)).ok
    assert bench.daemon.record(proofs.newest).made.passed
    bench.daemon.act("reset")
    code, _, err = bench.daemon.cli("run", _plan_file(bench))
    assert (code, err) == (0, [])


def test_without_current_nothing_is_proved(make_bench, tank, monkeypatch):
    monkeypatch.setattr("daemon.service.proving.PATIENCE_S", 3.0)
    bench = make_bench()
    tank.inject("open_load")
    with pytest.raises(ProofEndedError, match="no current flows"):
        bench.walk()
    assert bench.daemon.status().output_on is False


def _plan_file(bench):
    path = bench.daemon.folder / "plan.toml"
    path.write_text(PLAN)
    return path
