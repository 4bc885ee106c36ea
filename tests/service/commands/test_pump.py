"""`tankhand pump` over a socket that stands for a daemon whose pump runs for three looks."""

import socketserver
import threading

import pytest
from click.testing import CliRunner
from pydantic import TypeAdapter

from daemon.api.socket.messages import Answer, Request, Status
from daemon.api.socket.pumps import PumpStatus
from daemon.service.commands import pump as command
from daemon.service.commands.cli import main

SETTINGS = """\
[supply]
port = "/dev/ttyUSB0"
[bath]
name = "Acid copper"
[[bath.additive]]
name = "brightener"
rate = "150 mL/kAh"
dose = "5 mL"
[[interlock]]
name = "level"
pin = 13
stop = "hold"
[[pump]]
additive = "brightener"
pin = 24
flow = "1.2 mL/s"
greatest_dose = "8 mL"
most_a_day = "20 mL"
level = "level"
"""
PUMPED = PumpStatus(additive="brightener", dose_ml=5.0, flow_ml_s=1.2, most_day_ml=20.0)
STATUS = Status(
    state="idle", utc="2026-11-25T00:00:00+00:00", monotonic_s=1.0, rate=1.0, current_a=0.0,
    voltage_v=0.0, reading_age_s=0.1, mode=None, output_on=False, supply="A,B,1,2", run=None,
    bath="Acid copper", bath_charge_ah=0.0,
)  # fmt: skip


class Daemon:
    """Answers at a socket; `looks` are left until the pump has run, `ran` is how that ends."""

    def __init__(self, path):
        self.asked, self.looks, self.error = [], 0, None
        self.ran = {"ran_s": 30.0}
        self.has_pump = True
        daemon = self

        class Handler(socketserver.StreamRequestHandler):
            def handle(self):
                request = TypeAdapter(Request).validate_json(self.rfile.readline())
                self.wfile.write(daemon.answer(request).model_dump_json().encode() + b"\n")

        self.server = socketserver.ThreadingUnixStreamServer(str(path), Handler)
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.02,))
        self.thread.start()

    def answer(self, request):
        if request.ask != "status":
            self.asked.append(request)
            if self.error is not None:
                return Answer(ok=False, error=self.error)
            self.looks = 3 if request.ask == "run pump" else 0
            if request.ask == "stop pump":
                self.ran = {"ran_s": 12.3, "ran_cut_short": "stopped by Ann"}
        runs, self.looks = self.looks > 0, self.looks - 1
        changes = {"by_hand": True, "runs": True} if runs else self.ran
        pumps = (PUMPED.model_copy(update=changes),) if self.has_pump else ()
        return Answer(ok=True, status=STATUS.model_copy(update={"pumps": pumps}))

    def close(self):
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()


@pytest.fixture
def settings(tmp_path, monkeypatch):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    monkeypatch.setenv("TANKHAND_SETTINGS", str(path))
    monkeypatch.setattr(command, "LOOK_S", 0.0)
    return path


@pytest.fixture
def daemon(settings):
    daemon = Daemon(settings.parent / "control.sock")
    yield daemon
    daemon.close()


def call(*words, typed=""):
    """Exit code, lines of stdout, lines of stderr."""
    result = CliRunner().invoke(main, ["pump", *words], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout.splitlines(), result.stderr.splitlines()


def test_what_stands_in_the_cylinder_gives_the_flow(daemon):
    typed = "y\nmany\n0 mL\n36 mL\n"
    code, out, _ = call("run", "brightener", "--for", "0.5 min", typed=typed)
    assert code == 0
    assert "not over the bath" in out[0]
    assert "ran        30.0 s" in out
    # 36 mL in 30 s.
    assert 'flow = "1.2 mL/s"' in out
    assert sum("Error: " in line for line in out) == 2
    (asked,) = daemon.asked
    assert (asked.ask, asked.additive, asked.for_s) == ("run pump", "brightener", 30.0)


def test_whoever_does_not_say_yes_runs_nothing(daemon):
    code, out, err = call("run", "brightener", typed="n\n")
    assert (code, err) == (1, ["tankhand: nothing was done"])
    assert "Run the pump of brightener for 30 s? [y/N]: n" in out
    assert daemon.asked == []


def test_ctrl_c_stops_the_pump(daemon, monkeypatch):
    def interrupt(_):
        if len(daemon.asked) == 1:
            raise KeyboardInterrupt

    monkeypatch.setattr(command.time, "sleep", interrupt)
    code, out, err = call("run", "brightener", "--yes")
    assert (code, err) == (0, [])
    assert [each.ask for each in daemon.asked] == ["run pump", "stop pump"]
    assert out[-3:] == [
        "ran        12.3 s",
        "cut short  stopped by Ann",
        "flow       what is in the cylinder, divided by 12.3 s",
    ]


def test_a_refusal_is_told(daemon):
    daemon.error = "a run is under way"
    code, _, err = call("run", "brightener", "--yes")
    assert (code, err) == (1, ["tankhand: a run is under way"])


def test_a_daemon_that_was_started_anew_meanwhile(daemon):
    daemon.ran = {}
    code, _, err = call("run", "brightener", "--yes")
    assert (code, err) == (
        1, ["tankhand: the daemon was started anew meanwhile: how long it ran is not known"],
    )  # fmt: skip


def test_a_daemon_with_other_settings(daemon):
    daemon.has_pump = False
    code, _, (error,) = call("run", "brightener", "--yes")
    assert code == 1
    assert "the daemon runs with other settings" in error


def test_a_pump_is_stopped_from_another_terminal(daemon):
    assert call("stop", "brightener") == (0, ["the pump of brightener is stopped"], [])
    assert [each.ask for each in daemon.asked] == ["stop pump"]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("run", "carrier"), 2, "'carrier' has no pump; pumps: brightener"),
        (("run", "brightener", "--for", "30"), 2, "--for: expected a time"),
        (("run", "brightener", "--for", "3 mL"), 2, "--for: expected a time"),
        (("run", "brightener", "--yes"), 1, "without a daemon no pump runs"),
        (("stop", "brightener"), 1, "without a daemon no pump runs"),
    ],
)
def test_what_cannot_be_done_is_told(settings, words, code, said):
    found, _, (error,) = call(*words)
    assert found == code
    assert error.startswith("tankhand: ")
    assert said in error
