"""The simulator as a process: a real pty, plain pyserial, and its end."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import serial

from drivers.errors import CommandRefusedError, PortUnavailableError
from drivers.simulator.process import SimulatorProcess

PATIENCE_S = 20.0

QUIET = """
parts = [{ paint_ohm_per_sq = 0 }]
supply = { current_noise_a = 0, voltage_noise_v = 0 }
"""


@pytest.fixture
def quiet(tmp_path: Path) -> Path:
    path = tmp_path / "quiet.toml"
    path.write_text(QUIET, encoding="utf-8")
    return path


@pytest.fixture
def simulator(quiet: Path) -> Iterator[SimulatorProcess]:
    with SimulatorProcess(scenario=quiet, rate=1000.0) as process:
        yield process


def opened(process: SimulatorProcess) -> serial.Serial:
    return serial.Serial(process.port, 115200, timeout=PATIENCE_S, write_timeout=PATIENCE_S)


def ask(port: serial.Serial, question: bytes) -> bytes:
    port.write(question)
    return port.readline()


def test_exchanges_are_byte_exact(simulator: SimulatorProcess) -> None:
    with opened(simulator) as port:
        assert ask(port, b"*IDN?\n") == b"tankhand,simulated supply,0,1\n"
        assert ask(port, b"CURR 2.5\r\nCURR?\r\n") == b"2.500\n"
        assert ask(port, b"VOLT 6\nsource:voltage?\n") == b"6.00\n"
        assert ask(port, b"CURR 99\nSYST:ERR?\n") == b'-222,"Data out of range"\n'
        assert ask(port, b"BOGUS\nSYST:ERR?\n") == b'-113,"Undefined header"\n'
        assert ask(port, b"SYST:ERR?\n") == b'0,"No error"\n'
        assert ask(port, b"x" * 300 + b"\nSYST:ERR?\n") == b'-363,"Input buffer overrun"\n'
        assert ask(port, b"OUTP ON\n*OPC?\n") == b"1\n"
        assert ask(port, b"OUTP?;STAT:QUES:COND?\n") == b"1;1\n"


def test_input_may_come_in_pieces(simulator: SimulatorProcess) -> None:
    with opened(simulator) as port:
        for piece in (b"*ID", b"N", b"?", b"\r", b"\nOU"):
            port.write(piece)
            port.flush()
        assert port.readline() == b"tankhand,simulated supply,0,1\n"
        assert ask(port, b"TP?\n") == b"0\n"


def test_the_port_can_be_closed_and_opened_again(simulator: SimulatorProcess) -> None:
    with opened(simulator) as port:
        assert ask(port, b"CURR 1.5\nCURR?\n") == b"1.500\n"
    with opened(simulator) as port:
        assert ask(port, b"CURR?\n") == b"1.500\n"


def test_unread_replies_do_not_hang_it(simulator: SimulatorProcess) -> None:
    with opened(simulator) as port:
        for _ in range(200):
            port.write(b"*IDN?\n" * 20)
        assert simulator.truth().current_a == 0.0
    # What did not fit is lost; once the line is free it answers again.
    with opened(simulator) as port:
        port.timeout = 0.2
        silences = 0
        while (reply := ask(port, b"\nCURR?\n")) != b"0.000\n":
            silences += reply == b""
            assert silences < 50
            port.reset_input_buffer()


def test_truth_and_time_line(quiet: Path) -> None:
    origin_s = time.monotonic() - 0.5

    def shared_s() -> float:
        return origin_s + (time.monotonic() - origin_s) * 50.0

    with (
        SimulatorProcess(scenario=quiet, rate=50.0, origin_s=origin_s) as process,
        opened(process) as port,
    ):
        assert ask(port, b"CURR 2;VOLT 6;OUTP ON;*OPC?\n") == b"1\n"
        earliest_s = shared_s()
        first = process.truth()
        latest_s = shared_s()
        assert earliest_s <= first.monotonic_s <= latest_s
        while (last := process.truth()).monotonic_s < first.monotonic_s + 5.0:
            pass
        assert last.current_a == 2.0
        seconds = last.monotonic_s - first.monotonic_s
        assert last.charge_ah - first.charge_ah == pytest.approx(2.0 * seconds / 3600, rel=0.01)
        assert last.deposited_g == pytest.approx(last.charge_ah * 1.1855, rel=1e-3)
        assert last.parts_g == (last.deposited_g,)
        assert last.shunted_ah == 0.0
        assert last.temperature_c == pytest.approx(24.0, abs=0.5)


def test_events_on_demand(simulator: SimulatorProcess) -> None:
    with opened(simulator) as port:
        assert ask(port, b"CURR 3;VOLT 6;OUTP ON;*OPC?\n") == b"1\n"
        simulator.inject("open_load")
        assert ask(port, b"MEAS:CURR?;MEAS:VOLT?;STAT:QUES:COND?\n") == b"0.0000;6.000;2\n"
        simulator.inject("mend")
        simulator.inject("short", resistance_ohm=0.05, lasts_s=1e6)
        assert float(ask(port, b"MEAS:VOLT?\n")) < 0.3


def test_it_tells_when_it_was_disturbed_and_when_it_was_switched_off(
    simulator: SimulatorProcess,
) -> None:
    with opened(simulator) as port:
        assert ask(port, b"CURR 3;VOLT 6;OUTP OFF;*OPC?\n") == b"1\n"
        # An output that was off already has not been switched off.
        assert simulator.moments() == (None, None)
        assert ask(port, b"OUTP ON;*OPC?\n") == b"1\n"
        before_s = time.monotonic()
        simulator.inject("surge", current_a=1.0)
        between_s = time.monotonic()
        injected_s, switched_off_s = simulator.moments()
        assert injected_s is not None
        assert before_s <= injected_s <= between_s
        assert switched_off_s is None
        assert ask(port, b"OUTP OFF;*OPC?\n") == b"1\n"
        after_s = time.monotonic()
        assert ask(port, b"OUTP OFF;*OPC?\n") == b"1\n"
        simulator.inject("mend")
    again_s, switched_off_s = simulator.moments()
    assert again_s == injected_s
    assert switched_off_s is not None
    assert between_s <= switched_off_s <= after_s


@pytest.mark.parametrize(
    ("do", "parameters", "said"),
    [
        ("explode", {}, "explode"),
        ("short", {"resistance_ohm": -1.0}, "greater than 0"),
        ("lose_part", {"part": 2}, "part 2 does not exist, allowed 1 to 1"),
    ],
)
def test_events_that_cannot_be_are_refused(
    simulator: SimulatorProcess, do: str, parameters: dict[str, float], said: str
) -> None:
    with pytest.raises(CommandRefusedError, match=said):
        simulator.inject(do, **parameters)
    assert simulator.truth().current_a == 0.0


def test_a_paced_line_answers_the_same_bytes(quiet: Path) -> None:
    with (
        SimulatorProcess(scenario=quiet, paced_baud=9600, latency_ms=2.0) as process,
        opened(process) as port,
    ):
        assert ask(port, b"*IDN?\n") == b"tankhand,simulated supply,0,1\n"
        assert ask(port, b"CURR 1\nCURR?\nVOLT?\n") == b"1.000\n"
        assert port.readline() == b"0.00\n"


def started(*arguments: str) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-m", "drivers.simulator", *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def test_the_control_channel_is_json_lines() -> None:
    with started() as process:
        out, said = process.communicate(
            b'{"ask": "truth"}\n{"do": "short"}\n{"do": "mend"}\n{"ask": "time"}\nnot json\n'
            b'{"do": "whisker", "at_s": 5}\n',
            timeout=PATIENCE_S,
        )
    first, truth, *replies = [json.loads(line) for line in out.splitlines()]
    assert first["port"].startswith("/dev/")
    assert truth["charge_ah"] == 0.0
    assert set(truth) == {
        "charge_ah", "shunted_ah", "deposited_g", "parts_g", "temperature_c", "current_a",
        "monotonic_s",
    }  # fmt: skip
    assert [set(reply) for reply in replies] == [{"ok"}, {"ok"}, {"error"}, {"error"}, {"ok"}]
    # The end of standard input ended it.
    assert (process.returncode, said) == (0, b"")


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_it_quietly(number: signal.Signals) -> None:
    with started() as process:
        assert process.stdout is not None
        assert process.stderr is not None
        port = json.loads(process.stdout.readline())["port"]
        assert Path(port).exists()
        process.send_signal(number)
        assert process.wait(PATIENCE_S) == 0
        assert process.stderr.read() == b""
        assert not Path(port).exists()


def test_a_parent_that_stopped_listening_ends_it() -> None:
    with started() as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdout.readline()
        process.stdout.close()
        process.stdin.write(b'{"ask": "truth"}\n')
        process.stdin.flush()
        assert process.wait(PATIENCE_S) == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--rate=0"], b"--rate"),
        (["--paced-baud=3"], b"--paced-baud"),
        (["--latency-ms=-1"], b"--latency-ms"),
        (["--scenario=/nowhere/tank.toml"], b"/nowhere/tank.toml: cannot be read"),
    ],
)
def test_bad_arguments_are_refused_before_anything_opens(arguments: list[str], said: bytes) -> None:
    with started(*arguments) as process:
        out, error = process.communicate(timeout=PATIENCE_S)
    assert process.returncode != 0
    assert out == b""
    assert said in error
    assert b"Traceback" not in error


def test_a_process_that_does_not_come_up_says_why(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("[bath]\nvolume_l = 0\n")
    process = SimulatorProcess(scenario=bad)
    with pytest.raises(PortUnavailableError, match="volume_l"):
        process.start()
    assert process.stop() is None


def test_a_stopped_process_answers_nothing() -> None:
    process = SimulatorProcess()
    process.start()
    assert process.pid != os.getpid()
    assert process.stop() == 0
    with pytest.raises(PortUnavailableError, match="not running"):
        process.truth()


def test_a_hung_process_is_killed() -> None:
    process = SimulatorProcess()
    process.start()
    os.kill(process.pid, signal.SIGSTOP)
    assert process.stop(patience_s=0.1) == -signal.SIGKILL


def test_an_interrupt_at_the_terminal_does_not_reach_it() -> None:
    with SimulatorProcess() as process:
        assert os.getpgid(process.pid) != os.getpgid(0)


def test_a_killed_process_is_told_from_a_silent_one() -> None:
    with SimulatorProcess() as process:
        os.kill(process.pid, signal.SIGKILL)
        os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOWAIT)
        with pytest.raises(PortUnavailableError, match="has ended"):
            process.truth()
