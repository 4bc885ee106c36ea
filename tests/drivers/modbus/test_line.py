"""The line to a unit: every way it fails, and that a late reply never passes for another value."""

import socket
import termios
import threading
from contextlib import contextmanager

import pytest
import serial
from minimalmodbus import Instrument
from pymodbus.framer import FramerRTU

from drivers.errors import (
    CommandRefusedError,
    GarbledReplyError,
    NoReplyError,
    PortUnavailableError,
)
from drivers.modbus.line import Line

SHORT = {"reply_timeout_ms": 500, "write_timeout_ms": 500}
"""For what has to fail: long enough for a busy machine to answer what it should."""


def frame(text):
    """The bytes of a frame, with pymodbus's check at its end."""
    data = bytes.fromhex(text)
    return data + FramerRTU.compute_CRC(data).to_bytes(2, "big")


def instead(text):
    """A fault: this frame is sent, whatever the right one was."""
    return lambda _: frame(text)


def silence(_):
    """A fault: nothing is sent."""
    return b""


RESYNC = frame("01 03 0020 0004")
RESYNC_REPLY = frame("01 03 08 0001 0002 0003 0004")
CURRENT = frame("01 03 0020 0001")
CURRENT_REPLY = frame("01 03 02 09C4")
VOLTAGE = frame("01 03 0021 0001")
VOLTAGE_REPLY = frame("01 03 02 04B0")
IN_STEP = (RESYNC, RESYNC_REPLY)


@pytest.fixture
def line_to(described):
    """Open a line to a port, with changes of the description's table `line`."""
    lines = []

    def start(port, **changes):
        description = described(line=changes)
        line = Line(port, description.line, description.resync)
        lines.append(line)
        line.open()
        return line

    yield start
    for line in lines:
        line.close()


@contextmanager
def stepping(peer, line):
    """A line that a scripted peer has brought into step."""
    with peer.expects(IN_STEP):
        line.resync()
    yield line


# What works.


def test_a_question_is_asked_once_the_line_is_in_step(line_to, serve, device):
    device.holding[0x20] = 1234
    line = line_to(serve())
    assert not line.in_step
    assert line.read(3, 0x20) == [1234]
    assert line.in_step
    assert device.reads == [(3, 0x20, 4), (3, 0x20, 1)]


def test_it_speaks_to_its_own_unit(line_to, serve, device):
    device.unit = 247
    assert line_to(serve(), unit=247).read(3, 0) == [3005]
    assert {heard[0] for heard in device.frames} == {247}


@pytest.mark.parametrize("function", [5, 15])
def test_coils_are_written_and_read(line_to, serve, device, function):
    line = line_to(serve())
    for value in (1, 0):
        line.write(function, 3, [value])
        assert line.read(1, 3) == [value]
        assert line.read(1, 4) == [0]
    values = [values for _, _, values in device.writes]
    assert values == [[True], [False]]


def test_discrete_inputs_are_read(line_to, serve, device):
    device.coils[7] = True
    line = line_to(serve())
    assert [line.read(2, address) for address in (6, 7)] == [[0], [1]]


def test_registers_are_written_one_or_several_at_once(line_to, serve, device):
    line = line_to(serve())
    line.write(6, 0x20, [65535])
    line.write(16, 0x21, [1, 0])
    assert device.writes == [(6, 0x20, [65535]), (16, 0x21, [1, 0])]
    assert line.read(3, 0x20, 3) == [65535, 1, 0]


def test_a_unit_behind_a_socket_is_reached_too(line_to, peer):
    heard = b""

    def serve(server):
        nonlocal heard
        connection, _ = server.accept()
        with connection:
            connection.settimeout(5)
            for request, reply in (IN_STEP, (CURRENT, CURRENT_REPLY)):
                received = b""
                while len(received) < len(request):
                    received += connection.recv(100)
                heard += received
                connection.sendall(reply)

    with socket.create_server(("127.0.0.1", 0)) as server:
        thread = threading.Thread(target=serve, args=(server,))
        thread.start()
        line = line_to(f"socket://127.0.0.1:{server.getsockname()[1]}")
        assert line.read(3, 0x20) == [2500]
        thread.join()
    assert heard == RESYNC + CURRENT


def test_an_echo_is_taken_off(line_to, peer):
    line = line_to(peer.port, echo=True)
    with peer.expects((RESYNC, RESYNC + RESYNC_REPLY), (CURRENT, CURRENT + CURRENT_REPLY)):
        assert line.read(3, 0x20) == [2500]


def test_an_echo_that_is_another_is_garbled(line_to, peer):
    line = line_to(peer.port, echo=True, **SHORT)
    wrong = (RESYNC, CURRENT)
    with peer.expects(wrong, wrong), pytest.raises(GarbledReplyError, match="echo"):
        line.resync()


# What fails, and is known to have failed.


def test_silence(line_to, serve, device):
    line = line_to(serve(), **SHORT)
    line.resync()
    device.faults.append(silence)
    with pytest.raises(NoReplyError, match="unit 1: read 16 to 17 with function 4: nothing came"):
        line.read(4, 0x10, 2)
    assert not line.in_step
    assert line.read(3, 0) == [3005]


@pytest.mark.parametrize(
    "spoil",
    [
        pytest.param(lambda reply: reply[:-1] + bytes([reply[-1] ^ 1]), id="bad CRC"),
        pytest.param(lambda reply: reply[:-3], id="short frame"),
        pytest.param(lambda reply: reply[:2], id="two bytes"),
        pytest.param(lambda reply: b"\x00" + reply, id="a byte too many"),
        pytest.param(lambda reply: frame("02" + reply[1:-2].hex()), id="another unit's"),
        pytest.param(instead("01 04 02 0BBD"), id="another function's"),
        pytest.param(instead("01 03 04 0BBD"), id="a count that is wrong"),
    ],
)
def test_a_reply_that_is_none(line_to, serve, device, spoil):
    line = line_to(serve(), **SHORT)
    line.resync()
    device.faults.append(spoil)
    with pytest.raises(GarbledReplyError, match="unit 1: read 0 with function 3: "):
        line.read(3, 0)
    assert not line.in_step
    assert line.read(3, 0) == [3005]
    assert line.in_step


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (1, "illegal function"),
        (2, "illegal data address"),
        (3, "illegal data value"),
        (4, "failure"),
    ],
)
def test_an_exception_is_a_refusal_and_keeps_the_line_in_step(line_to, serve, device, code, words):
    line = line_to(serve(), **SHORT)
    line.resync()
    device.refusals = {(3, 0): code, (6, 0x20): code}
    with pytest.raises(CommandRefusedError, match=f"read 0 with function 3: .*{words}"):
        line.read(3, 0)
    with pytest.raises(CommandRefusedError, match=f"write 7 to 32 with function 6: .*{words}"):
        line.write(6, 0x20, [7])
    assert line.in_step
    assert device.holding[0x20] == 0


def test_an_address_that_the_unit_does_not_have_is_refused(line_to, serve):
    line = line_to(serve(), **SHORT)
    with pytest.raises(CommandRefusedError, match="illegal data address"):
        line.read(3, 0x7000)


def test_a_busy_unit_counts_as_one_that_did_not_answer(line_to, serve, device):
    line = line_to(serve(), **SHORT)
    line.resync()
    device.refusals[3, 0] = 6
    with pytest.raises(NoReplyError, match="busy"):
        line.read(3, 0)


def test_a_confirmation_that_is_missing_leaves_the_line_out_of_step(line_to, serve, device):
    line = line_to(serve(), **SHORT)
    line.resync()
    device.faults.append(silence)
    with pytest.raises(NoReplyError, match="write 5 to 32 with function 6"):
        line.write(6, 0x20, [5])
    assert not line.in_step
    assert line.read(3, 0x20) == [5]


def test_a_confirmation_of_another_value_is_garbled(line_to, serve, device):
    line = line_to(serve(), **SHORT)
    device.faults.append(instead("01 06 0020 0004"))
    with pytest.raises(GarbledReplyError, match="write 5 to 32"):
        line.write(6, 0x20, [5])


# Late replies.


def test_a_late_reply_would_pass_for_the_answer_to_the_next_question(peer):
    """The danger itself, as minimalmodbus alone has it: the current is taken for the voltage."""
    with serial.Serial(peer.port, timeout=5) as port, peer.expects((VOLTAGE, CURRENT_REPLY)):
        assert Instrument(port, 1).read_registers(0x21, 1) == [2500]


def test_a_late_reply_that_meets_the_resync_is_thrown_away(line_to, peer):
    with stepping(peer, line_to(peer.port, **SHORT)) as line:
        with peer.expects((CURRENT, b"")), pytest.raises(NoReplyError):
            line.read(3, 0x20)
        with peer.expects((RESYNC, CURRENT_REPLY), IN_STEP, (VOLTAGE, VOLTAGE_REPLY)):
            assert line.read(3, 0x21) == [1200]


def test_a_late_reply_just_before_the_resyncs_own_is_thrown_away(line_to, peer):
    with stepping(peer, line_to(peer.port, **SHORT)) as line:
        with peer.expects((CURRENT, b"")), pytest.raises(NoReplyError):
            line.read(3, 0x20)
        both = CURRENT_REPLY + RESYNC_REPLY
        with peer.expects((RESYNC, both), IN_STEP, (VOLTAGE, VOLTAGE_REPLY)):
            assert line.read(3, 0x21) == [1200]


def test_a_late_reply_that_has_come_before_the_next_question_is_thrown_away(line_to, peer):
    with stepping(peer, line_to(peer.port, **SHORT)) as line:
        with peer.expects((CURRENT, b"")), pytest.raises(NoReplyError):
            line.read(3, 0x20)
        peer.send(CURRENT_REPLY)
        with peer.expects(IN_STEP, (VOLTAGE, VOLTAGE_REPLY)):
            assert line.read(3, 0x21) == [1200]


def test_a_late_answer_to_a_resync_is_taken_for_nothing_else(line_to, peer):
    with stepping(peer, line_to(peer.port, **SHORT)) as line:
        for request in (CURRENT, RESYNC):
            with peer.expects((request, b"")), pytest.raises(NoReplyError):
                line.read(3, 0x20)
        # The answer to the first resync comes now, and the one to the second meets the question.
        late = (VOLTAGE, RESYNC_REPLY)
        with peer.expects(IN_STEP, late, IN_STEP, (VOLTAGE, VOLTAGE_REPLY)):
            with pytest.raises(GarbledReplyError):
                line.read(3, 0x21)
            assert line.read(3, 0x21) == [1200]


def test_a_late_refusal_is_not_taken_for_one_of_the_resync(line_to, peer):
    refusal = frame("01 83 02")
    with stepping(peer, line_to(peer.port, **SHORT)) as line:
        with peer.expects((CURRENT, b"")), pytest.raises(NoReplyError):
            line.read(3, 0x20)
        with peer.expects((RESYNC, refusal), IN_STEP, (VOLTAGE, VOLTAGE_REPLY)):
            assert line.read(3, 0x21) == [1200]


def test_what_comes_unasked_makes_the_line_find_its_step(line_to, peer):
    with stepping(peer, line_to(peer.port)) as line:
        peer.send(frame("01 06 0022 0000"))
        assert peer.unread_bytes() == 8
        with peer.expects(IN_STEP, (VOLTAGE, VOLTAGE_REPLY)):
            assert line.read(3, 0x21) == [1200]


def test_a_confirmation_out_of_step_proves_nothing(line_to, peer):
    write = frame("01 06 0022 0000")
    with stepping(peer, line_to(peer.port, **SHORT)) as line:
        with peer.expects((write, b"")), pytest.raises(NoReplyError):
            line.write(6, 0x22, [0])
        with peer.expects((write, write)):
            line.write(6, 0x22, [0])
        assert not line.in_step


def test_a_line_that_never_becomes_quiet_is_given_up(line_to, peer, mocker):
    line = line_to(peer.port, **SHORT)
    mocker.patch("serial.Serial.read", return_value=b"\x55" * 13)
    with peer.expects((RESYNC, b"")), pytest.raises(GarbledReplyError, match="become quiet"):
        line.resync()


# The port.


def test_a_plug_that_is_pulled_out_is_a_lost_port(line_to, serve, link):
    line = line_to(serve())
    line.resync()
    link.pull_out()
    for _ in range(2):
        with pytest.raises(PortUnavailableError, match=f"{link.port}: the port was lost"):
            line.read(3, 0)
    with pytest.raises(PortUnavailableError, match="the port was lost"):
        line.write(6, 0x22, [0])
    line.close()
    line.close()


def test_a_plug_pulled_out_while_waiting_for_a_reply(line_to, peer):
    with stepping(peer, line_to(peer.port)) as line:
        with peer.expects((CURRENT, peer.pull_out)), pytest.raises(PortUnavailableError):
            line.read(3, 0x20)
        assert not line.in_step


def test_a_plug_pulled_out_while_waiting_for_quiet(line_to, peer):
    line = line_to(peer.port, **SHORT)

    def half_and_gone():
        peer.send(RESYNC_REPLY[:-1] + b"x")
        peer.wait_until_read()
        peer.pull_out()

    with peer.expects((RESYNC, half_and_gone)), pytest.raises(PortUnavailableError):
        line.resync()


def test_a_port_that_is_held_is_busy(line_to, serve):
    port = serve()
    line_to(port)
    with pytest.raises(PortUnavailableError, match="another program holds it"):
        line_to(port)


def test_a_missing_port_is_named(line_to):
    with pytest.raises(PortUnavailableError, match=r"/dev/ttyUSB-none: .*there is no such port"):
        line_to("/dev/ttyUSB-none")


def test_a_line_that_is_not_open_says_so(line_to, peer):
    line = line_to(peer.port)
    line.close()
    for act in (lambda: line.read(3, 0), lambda: line.write(6, 0, [0]), line.resync):
        with pytest.raises(PortUnavailableError, match="is not open"):
            act()


def test_a_port_that_takes_no_more_is_emptied(line_to, peer, mocker):
    line = line_to(peer.port, **SHORT)
    mocker.patch("serial.Serial.write", side_effect=serial.SerialTimeoutException("full"))
    empty = mocker.patch("serial.Serial.reset_output_buffer")
    with pytest.raises(NoReplyError, match=r"the port did not take it within 0\.5 s"):
        line.write(6, 0x22, [0])
    # minimalmodbus empties it before it writes.
    assert len(empty.mock_calls) == 2


def test_a_port_that_vanishes_during_a_blocked_write_is_lost(line_to, peer, mocker):
    line = line_to(peer.port, **SHORT)
    mocker.patch("serial.Serial.write", side_effect=serial.SerialTimeoutException("full"))
    empty = mocker.patch("serial.Serial.reset_output_buffer")
    empty.side_effect = [None, termios.error(5, "EIO")]
    with pytest.raises(PortUnavailableError, match="the port was lost"):
        line.write(6, 0x22, [0])


# The pace.


def test_the_pauses_of_the_description_are_kept(line_to, serve, mocker):
    naps = mocker.patch("drivers.modbus.line.sleep")
    now = mocker.patch("drivers.modbus.line.monotonic", return_value=1000.0)
    line = line_to(serve(), wait_after_open_ms=250, pause_between_frames_ms=40)
    line.write(6, 0x20, [5])
    line.write(6, 0x20, [6])
    now.return_value = 1000.03
    line.write(6, 0x20, [7])
    now.return_value = 2000.0
    line.write(6, 0x20, [8])
    assert [call.args[0] for call in naps.mock_calls] == pytest.approx([0.25, 0.04, 0.01])
