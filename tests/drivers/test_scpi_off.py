"""The short way to "output off", beside a process that drives the supply or hangs."""

import os
import re
import select
import socket
import subprocess
import sys
import threading

import pytest
import serial

from drivers.errors import DescriptionError, PortUnavailableError
from drivers.files import description_path
from drivers.scpi.description import load_description
from drivers.scpi.line import Line
from drivers.scpi.off import OffLine
from drivers.scpi.replies import number_parser

OFF = (b"\nOUTP OFF\n", b"")
ASK = b"MEAS:CURR?"


@pytest.fixture
def described(tmp_path):
    """The shipped description with passages replaced; gives the path."""

    def write(*changes):
        text = description_path("scpi99").read_text()
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path = tmp_path / "mine.toml"
        path.write_text(text)
        return path

    return write


@pytest.fixture
def off_line(peer):
    line = OffLine(peer.port, "scpi99")
    line.open()
    yield line
    line.close()


def driving_line(peer):
    """The driving process's line, in step, which holds the port for itself."""
    line = Line(peer.port, load_description("scpi99").line, b"*IDN?")
    line.open()
    with peer.expects((b"\n*IDN?\n", b"TANK,ONE,1,1.0\n")):
        line.identify(lambda reply: bool(reply))
    return line


def test_off_is_said_after_a_terminator(peer, off_line):
    with peer.expects(OFF):
        assert off_line.send() is None


def test_off_may_be_said_again(peer, off_line):
    with peer.expects(OFF, OFF):
        assert off_line.send() is None
        assert off_line.send() is None


def test_off_alone_is_said_on_a_port_that_nobody_holds(peer):
    with peer.expects(OFF):
        assert OffLine(peer.port, "scpi99").send_alone() is None
    serial.Serial(peer.port, exclusive=True).close()


def test_off_alone_leaves_a_port_that_is_held_to_its_holder(peer):
    driver = driving_line(peer)
    with peer.expects():
        assert "another program holds it" in OffLine(peer.port, "scpi99").send_alone()
    driver.close()


def test_off_alone_gives_the_port_back_after_a_failure(peer, mocker):
    mocker.patch("serial.Serial.write", side_effect=serial.SerialTimeoutException("Write timeout"))
    assert "Write timeout" in OffLine(peer.port, "scpi99").send_alone()
    serial.Serial(peer.port, exclusive=True).close()


def test_off_needs_no_opening_before(peer):
    line = OffLine(peer.port, "scpi99")
    with peer.expects(OFF):
        assert line.send() is None
    line.close()


def test_remote_goes_before_off_where_the_supply_needs_it(peer, described):
    path = described(
        ('# remote = "', 'remote = "'), (r'terminator_out = "\n"', 'terminator_out = "\\r\\n"')
    )
    line = OffLine(peer.port, path)
    with peer.expects((b"\r\nSYST:REM\r\nOUTP OFF\r\n", b"")):
        assert line.send() is None
    line.close()


def test_the_pause_between_commands_is_kept(peer, described, mocker):
    nap = mocker.patch("time.sleep")
    path = described(
        ('# remote = "', 'remote = "'),
        ("pause_after_command_ms = 0", "pause_after_command_ms = 300"),
    )
    line = OffLine(peer.port, path)
    with peer.expects((b"\nSYST:REM\nOUTP OFF\n", b"")):
        assert line.send() is None
    assert [call.args[0] for call in nap.mock_calls] == [0.3, 0.3, 0.3]
    line.close()


def test_without_terminators_only_off_is_said(peer, described):
    line = OffLine(peer.port, described((r'terminator_out = "\n"', 'terminator_out = ""')))
    with peer.expects((b"OUTP OFF", b"")):
        assert line.send() is None
    line.close()


def test_off_gets_through_while_another_holds_the_port(peer):
    driver = driving_line(peer)
    with pytest.raises(serial.SerialException):
        serial.Serial(peer.port, exclusive=True)
    off_line = OffLine(peer.port, "scpi99")
    with peer.expects(OFF):
        assert off_line.send() is None
    off_line.close()
    driver.close()


def test_an_open_handle_does_not_disturb_the_driving_process(peer, off_line):
    driver = driving_line(peer)
    with peer.expects((b"MEAS:CURR?\n", b"2.5\n"), OFF, (b"MEAS:CURR?\n", b"0.0\n")):
        assert driver.query(ASK, number_parser("A", "never")) == 2.5
        assert off_line.send() is None
        assert driver.query(ASK, number_parser("A", "never")) == 0.0
    driver.close()


def test_half_a_command_of_a_hung_process_is_ended_first(peer, off_line):
    hung = os.open(peer.port, os.O_RDWR | os.O_NOCTTY)
    os.write(hung, b"CURR 1")
    with peer.expects((b"CURR 1\nOUTP OFF\n", b"")):
        assert off_line.send() is None
    os.close(hung)


def test_a_reply_on_its_way_is_left_to_whoever_asked(peer, off_line):
    driver = serial.Serial(peer.port, exclusive=True, timeout=5)
    driver.write(b"MEAS:CURR?\n")
    with peer.expects((b"MEAS:CURR?\n", lambda: None), OFF):
        assert off_line.send() is None
    peer.send(b"2.5\n")
    assert driver.read_until(b"\n") == b"2.5\n"
    driver.close()


def test_a_buffer_that_a_hung_process_filled_does_not_stop_off(peer, off_line):
    with peer.stuffed():
        assert off_line.send() is None
        assert peer.all_unheard().endswith(b"\nOUTP OFF\n")


def test_a_write_that_blocks_ends_with_a_reason(off_line, mocker):
    mocker.patch("serial.Serial.write", side_effect=serial.SerialTimeoutException("Write timeout"))
    assert "output off could not be written: Write timeout" in off_line.send()


def test_a_pulled_plug_is_a_reason_and_not_an_exception(peer, off_line):
    peer.pull_out()
    assert peer.port in off_line.send()
    assert peer.port in off_line.send()


def test_a_port_that_was_lost_is_opened_anew(peer, off_line, mocker):
    write = serial.Serial.write
    lost = mocker.patch("serial.Serial.write", autospec=True)
    lost.side_effect = [serial.SerialException("lost"), None]
    assert off_line.send() is None
    handles = [call.args[0] for call in lost.mock_calls]
    assert handles[0] is not handles[1]
    assert not handles[0].is_open
    mocker.stop(lost)
    assert serial.Serial.write is write
    with peer.expects(OFF):
        assert off_line.send() is None


def test_a_missing_port_is_a_reason():
    line = OffLine("/dev/ttyUSB-none", "scpi99")
    assert "there is no such port" in line.send()
    with pytest.raises(PortUnavailableError, match="there is no such port"):
        line.open()
    line.close()


def test_off_goes_over_a_socket_too():
    heard = []

    def serve(server):
        connection, _ = server.accept()
        with connection:
            connection.settimeout(5)
            while not b"".join(heard).endswith(b"OFF\n"):
                heard.append(connection.recv(100))

    with socket.create_server(("127.0.0.1", 0)) as server:
        thread = threading.Thread(target=serve, args=(server,))
        thread.start()
        line = OffLine(f"socket://127.0.0.1:{server.getsockname()[1]}", "scpi99")
        assert line.send() is None
        thread.join()
        line.close()
    assert b"".join(heard) == b"\nOUTP OFF\n"


@pytest.mark.parametrize(
    "change",
    [
        ('output_off = "OUTP OFF"', ""),
        ('output_off = "OUTP OFF"', "output_off = 0"),
        (r'terminator_out = "\n"', ""),
        ("write_timeout_ms = 500", 'write_timeout_ms = "x"'),
        ("[line]", "[lines]"),
    ],
)
def test_a_description_that_cannot_switch_off_is_refused(described, change):
    path = described(change)
    with pytest.raises(DescriptionError, match=f"{path}: lacks what is needed"):
        OffLine("/dev/null", path)


def test_it_is_ready_before_anything_heavy_is_loaded():
    allowed = {"serial", "drivers"}
    script = (
        "import sys; before = set(sys.modules); import drivers.scpi.off; "
        "print(*{name.split('.')[0] for name in set(sys.modules) - before})"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    loaded = set(run.stdout.split())
    assert allowed <= loaded
    assert loaded - allowed <= sys.stdlib_module_names


@pytest.mark.parametrize("pause", ["-5", "1e12", "nan"])
def test_a_pause_that_cannot_be_waited_for_is_refused_before_anything_is_sent(described, pause):
    path = described(("pause_after_command_ms = 0", f"pause_after_command_ms = {pause}"))
    with pytest.raises(DescriptionError, match="a pause of"):
        OffLine("/dev/null", path)


# The proof that the way works, at a moment when nobody else uses the line.

ASKED_OFF = b"\nOUTP OFF\nOUTP?\n"


@pytest.fixture
def proving(peer, described):
    """Make an off line whose reply limit is short, with passages of its description replaced."""
    lines = []

    def make(*changes):
        changes = (("reply_timeout_ms = 500", "reply_timeout_ms = 100"), *changes)
        lines.append(OffLine(peer.port, described(*changes)))
        return lines[-1]

    yield make
    for line in lines:
        line.close()


@pytest.mark.parametrize("reply", [b"0\n", b"OFF\r\n", b"+0\n", b"2.5\n0\n"])
def test_a_way_that_works_is_proven_by_the_supply_s_own_word(peer, proving, reply):
    with peer.expects((ASKED_OFF, reply)):
        assert proving().prove() is None


@pytest.mark.parametrize("reply", [b"1\n", b"ON\n"])
def test_an_output_that_is_on_after_off_proves_nothing(peer, proving, reply):
    with peer.expects((ASKED_OFF, reply)):
        assert "the output is on after output off" in proving().prove()


@pytest.mark.parametrize(
    ("reply", "came"),
    [(b"", "nothing"), (b"0", "only b'0'"), (b"huh\n", "only b'huh\\\\n'")],
    ids=["silence", "half", "garbage"],
)
def test_no_whole_answer_proves_nothing(peer, proving, reply, came):
    with peer.expects((ASKED_OFF, reply)):
        assert re.search(f"not confirmed: {came} came within 0.1 s", proving().prove())


def test_what_came_before_the_proof_is_no_answer(peer, proving):
    line = proving()
    line.open()
    peer.send(b"0\n")
    select.select([peer._slave], [], [], 5)
    with peer.expects((ASKED_OFF, b"")):
        assert "nothing came" in line.prove()


def test_an_echo_is_no_answer_either(peer, proving):
    line = proving(("echo = false", "echo = true"))
    with peer.expects((ASKED_OFF, ASKED_OFF)):
        assert "not confirmed" in line.prove()
    with peer.expects((ASKED_OFF, ASKED_OFF + b"0\n")):
        assert line.prove() is None


def test_a_supply_without_terminators_is_understood(peer, proving):
    line = proving(
        (r'terminator_out = "\n"', 'terminator_out = ""'),
        (r'terminator_in = "\n"', 'terminator_in = ""'),
    )
    with peer.expects((b"OUTP OFFOUTP?", b"0")):
        assert line.prove() is None


def test_without_a_word_for_it_the_writing_is_all_the_proof(peer, proving):
    with peer.expects(OFF):
        assert proving(('read_back_output = "OUTP?"', "")).prove() is None


def test_a_port_that_is_gone_proves_nothing(peer, proving):
    line = proving()
    line.open()
    peer.pull_out()
    assert peer.port in line.prove()


def test_a_port_that_goes_while_the_answer_is_awaited_proves_nothing(peer, proving):
    with peer.expects((ASKED_OFF, peer.pull_out)):
        assert peer.port in proving().prove()
