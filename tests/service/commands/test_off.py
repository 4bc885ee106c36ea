"""`tankhand off`, as a process of its own, on a simulated supply behind a pty and on mock pins."""

import fcntl
import os
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
import serial

from drivers.simulator.process import SimulatorProcess

CONFIRMED = "the supply was told to switch its output off, and has confirmed it"
HEAVY = ("alembic", "flask", "gpiozero", "pint", "pydantic", "rich", "sqlalchemy")


@pytest.fixture
def tank():
    """The simulated tank, with 2 A flowing and nobody who drives it."""
    with SimulatorProcess(rate=100.0) as process:
        with serial.Serial(process.port, timeout=10) as port:
            port.write(b"VOLT 6\nCURR 2\nOUTP ON\nOUTP?\n")
            assert port.read_until() == b"1\n"
        give_up_s = time.monotonic() + 60
        while process.truth().current_a < 1.9:  # its output rises as a real one's does
            assert time.monotonic() < give_up_s
        yield process


@pytest.fixture
def settings(tmp_path):
    """Write a settings file; its path."""
    path = tmp_path / "settings.toml"

    def write(port, more=""):
        path.write_text(f'[supply]\nport = "{port}"\n{more}')
        return path

    return write


def switch_off(path, environment=None, code="from daemon.service.commands.cli import main; main()"):
    """Run the command: exit code, lines of stdout, lines of stderr."""
    done = subprocess.run(
        [sys.executable, "-c", code, "off", "--settings", str(path)],
        capture_output=True, text=True, timeout=60, check=False,
        env={**os.environ, **(environment or {})},
    )  # fmt: skip
    return done.returncode, done.stdout.splitlines(), done.stderr.splitlines()


def test_an_output_that_a_dead_daemon_left_on_is_off_and_says_so(tank, settings):
    assert switch_off(settings(tank.port)) == (0, [CONFIRMED], [])
    assert tank.truth().current_a < 1e-3


def test_nothing_else_in_the_settings_has_to_be_right(tank, settings):
    path = settings(tank.port, "[bath]\nname = 3\n[lop]\nperiod = true\n")
    assert switch_off(path) == (0, [CONFIRMED], [])
    assert tank.truth().current_a < 1e-3


def test_a_program_that_holds_the_port_does_not_keep_it_from_acting(tank, settings):
    with serial.Serial(tank.port, exclusive=True):
        code, said, errors = switch_off(settings(tank.port))
        assert tank.truth().current_a < 1e-3
    assert (code, errors) == (0, [])
    assert said == ["the supply was told to switch its output off; it cannot be asked: "
                    f"{tank.port}: cannot be opened: another program holds it; only one may talk "
                    "to a supply"]  # fmt: skip


def test_a_daemon_that_runs_is_told_of(tank, settings):
    path = settings(tank.port, "[contactor]\nheartbeat_pin = 17\n")
    with path.open("rb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        code, said, errors = switch_off(path)
    assert (code, errors) == (0, [])
    assert said[0] == CONFIRMED
    assert said[1].startswith("a daemon runs with these settings and was not asked")
    assert "`tankhand abort`" in said[1]
    assert tank.truth().current_a < 1e-3


def test_it_does_not_keep_a_daemon_from_starting(tank, settings):
    path = settings(tank.port)
    switch_off(path)
    with path.open("rb") as file:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    serial.Serial(tank.port, exclusive=True).close()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (None, "settings.toml: cannot be read: No such file or directory"),
        ("port = ", "settings.toml: Invalid value (at end of document)"),
        ("", "settings.toml: supply must be a table, it is missing"),
        ("supply = 3", "settings.toml: supply must be a table, got 3"),
        ("[supply]", "settings.toml: supply.port must be a text, it is missing"),
        ("[supply]\nport = true", "settings.toml: supply.port must be a text, got True"),
    ],
)
def test_settings_that_do_not_tell_the_supply(tmp_path, text, words):
    path = tmp_path / "settings.toml"
    if text is not None:
        path.write_text(text)
    code, said, (error,) = switch_off(path)
    assert (code, said) == (2, [])
    assert error.startswith("tankhand: ")
    assert words in error


def test_a_port_that_is_not_there(settings):
    code, said, (error,) = switch_off(settings("/dev/ttyUSB-none"))
    assert (code, said) == (1, [])
    assert error.startswith("tankhand: /dev/ttyUSB-none: cannot be opened: there is no such port")


def test_a_description_that_is_not_there(settings, tmp_path):
    code, said, (error,) = switch_off(settings("/dev/null", 'description = "none.toml"\n'))
    assert (code, said) == (1, [])
    assert f"{tmp_path}/none.toml" in error


def test_a_supply_that_does_not_answer_is_no_success(settings):
    master, slave = os.openpty()
    try:
        code, said, (error,) = switch_off(settings(os.ttyname(slave)))
        assert b"OUTP OFF\n" in os.read(master, 4096)
    finally:
        os.close(master)
        os.close(slave)
    assert (code, said) == (1, [])
    assert "output off is not confirmed" in error


@pytest.fixture
def pins(tmp_path):
    """Mock pins for the command's process: its environment, and the file of what they did."""
    folder = tmp_path / "pins"
    folder.mkdir()
    (folder / "levels").touch()
    code = Path(__file__).parents[2] / "end_to_end" / "mock_pins"
    environment = {"TANKHAND_MOCK_PINS": str(folder), "PYTHONPATH": str(code)}
    return SimpleNamespace(environment=environment, edges=folder / "edges")


def test_the_contactor_s_line_is_low(tank, settings, pins):
    path = settings(tank.port, "[contactor]\nheartbeat_pin = 17\n")
    said = [CONFIRMED, "GPIO17, the contactor's line, is low"]
    assert switch_off(path, pins.environment) == (0, said, [])
    assert not any(line.endswith(" 17 1") for line in pins.edges.read_text().splitlines())


def test_no_dosing_pump_runs(tank, settings, pins):
    path = settings(tank.port, "[[pump]]\npin = 24\n[[pump]]\npin = 25\n")
    said = [CONFIRMED, "GPIO24, GPIO25: low, no dosing pump runs"]
    assert switch_off(path, pins.environment) == (0, said, [])
    assert not any(line.endswith(" 1") for line in pins.edges.read_text().splitlines())


def test_a_pump_whose_pin_is_none_does_not_keep_the_contactor_closed(tank, settings, pins):
    more = "[contactor]\nheartbeat_pin = 17\n[[pump]]\npin = true\n"
    code, said, (error,) = switch_off(settings(tank.port, more), pins.environment)
    assert (code, said) == (1, [CONFIRMED, "GPIO17, the contactor's line, is low"])
    assert "pump[1].pin must be a whole number, got True" in error


@pytest.mark.parametrize(
    ("pin", "why"),
    [
        ("3", "GPIO3 is pulled up from power-on"),
        ('"17"', "contactor.heartbeat_pin must be a whole number, got '17'"),
    ],
)
def test_a_contactor_that_cannot_be_reached_does_not_keep_the_supply_on(
    tank, settings, pins, pin, why
):
    path = settings(tank.port, f"[contactor]\nheartbeat_pin = {pin}\n")
    code, said, (error,) = switch_off(path, pins.environment)
    assert (code, said) == (1, [CONFIRMED])
    assert why in error
    assert tank.truth().current_a < 1e-3


def test_a_supply_that_cannot_be_reached_does_not_keep_the_contactor_closed(settings, pins):
    path = settings("/dev/ttyUSB-none", "[contactor]\nheartbeat_pin = 17\n")
    code, said, (error,) = switch_off(path, pins.environment)
    assert (code, said) == (1, ["GPIO17, the contactor's line, is low"])
    assert "/dev/ttyUSB-none" in error


def test_nothing_heavy_is_loaded(tank, settings):
    code = (
        "import atexit, sys; from daemon.service.commands.cli import main; "
        f"atexit.register(lambda: print(*[name for name in {HEAVY} if name in sys.modules])); "
        "main()"
    )
    assert switch_off(settings(tank.port), code=code) == (0, [CONFIRMED, ""], [])
