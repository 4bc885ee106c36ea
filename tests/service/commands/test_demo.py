"""How the demo is ended. The demo itself: tests/end_to_end/test_demo.py."""

import signal
import subprocess
import sys
import weakref

import pytest
from rich.console import Console

from daemon.api.socket.client import Client
from daemon.service.commands import demo
from daemon.service.commands.demo import EndedError, Ending
from daemon.service.supervision import guard


class Thing:
    """Something that can be referred to weakly."""


@pytest.fixture
def ending():
    ending = Ending()
    before = signal.signal(signal.SIGINT, ending.on_signal)
    yield ending
    signal.signal(signal.SIGINT, before)


def test_a_ctrl_c_while_python_cleans_up_is_not_lost(ending):
    """An exception that a weak reference's callback raises goes nowhere; imports have such ones."""
    ending.check()
    thing = Thing()
    reference = weakref.ref(thing, lambda _: signal.raise_signal(signal.SIGINT))
    del thing
    assert reference() is None
    with pytest.raises(EndedError, match="SIGINT") as ended:
        ending.pause(0)
    # 128 and the signal's number, which is 2, as shells have it.
    assert ended.value.exit_code == 130


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_whoever_calls_the_demo_has_its_own_handlers_back(mocker, number):
    before = signal.getsignal(number)

    def show(_console, _stack, ending, *_, **__):
        signal.raise_signal(number)
        ending.check()

    mocker.patch.object(demo, "_show", show)
    assert demo.run(100.0, "127.0.0.1:8080", None, stay=False) == 128 + number
    assert signal.getsignal(number) == before


@pytest.fixture
def process():
    """Stands for a daemon that serves its page until it is told to end."""
    command = [sys.executable, "-c", "import sys; sys.stdin.read()"]
    with subprocess.Popen(command, stdin=subprocess.PIPE) as process:
        yield process


def test_a_page_that_stays_is_ended_by_ctrl_c_in_good_order(process, ending):
    signal.raise_signal(signal.SIGINT)
    demo._stay(Console(quiet=True), process, ending)
    assert process.poll() is None


def test_a_page_that_stays_is_ended_by_other_signals_with_their_code(process, ending):
    ending.on_signal(signal.SIGTERM, None)
    with pytest.raises(EndedError, match="SIGTERM"):
        demo._stay(Console(quiet=True), process, ending)


def test_a_page_whose_daemon_has_ended_stays_no_longer(process, ending):
    process.stdin.close()
    process.wait()
    demo._stay(Console(quiet=True), process, ending)
    assert ending.number is None


def test_a_daemon_that_does_not_begin_is_told(process, mocker, tmp_path, capsys):
    assert demo.READY_LIMIT_S > guard.START_LIMIT_S
    mocker.patch.object(demo, "READY_LIMIT_S", 0.0)
    mocker.patch.object(
        demo,
        "_show",
        lambda _console, _stack, ending, *_, **__: demo._answers(
            Client(tmp_path / "none", timeout_s=1.0), process, ending
        ),
    )
    assert demo.run(100.0, "127.0.0.1:8080", None, stay=False) == 1
    assert capsys.readouterr().err.startswith("tankhand: the daemon has not begun within 0 s")


@pytest.mark.parametrize(("gap_ah", "told"), [(0.0, False), (0.25, True)])
def test_what_was_not_read_is_told(mocker, capsys, gap_ah, told):
    run = mocker.Mock(charge_ah=3.4, gap_charge_ah=gap_ah, mass_g=4.03, reason="target reached")
    demo._compare(Console(), mocker.Mock(state="complete", run=run), 4.27)
    assert ("0.2500 Ah of it are in doubt" in capsys.readouterr().out) is told


def test_a_daemon_that_answers_no_more_is_told(mocker, tmp_path, capsys):
    client = Client(tmp_path / "none")
    mocker.patch.object(demo, "_show", side_effect=lambda *_, **__: client.status())
    assert demo.run(100.0, "127.0.0.1:8080", None, stay=False) == 1
    said = capsys.readouterr().err
    assert said.startswith(f"tankhand: no daemon answers at {tmp_path / 'none'}: ")
    assert said.endswith("; is this machine very busy?\n")
