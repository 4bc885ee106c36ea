"""Every way in which a line can go wrong, and that it is in step again afterwards."""

import socket
import termios
import threading
from contextlib import contextmanager

import pytest
import serial

from drivers.errors import (
    GarbledReplyError,
    LinkError,
    NoReplyError,
    PortUnavailableError,
)
from drivers.scpi.description import load_description
from drivers.scpi.line import Line
from drivers.scpi.replies import number_parser

IDENTITY = b"TANK,ONE,1,1.0"
ASK = b"MEAS:CURR?"
AMPERES = number_parser("A", "never")


def make_line(port, **settings):
    table = load_description("scpi99").line
    settings = {"reply_timeout_ms": 200, "write_timeout_ms": 200, **settings}
    return Line(port, table.model_copy(update=settings), b"*IDN?")


def find_identity(line):
    return line.identify(lambda reply: reply.count(b",") == 3)


@contextmanager
def opened(peer, **settings):
    """A line in step with the peer."""
    line = make_line(peer.port, **settings)
    end_out = settings.get("terminator_out", "\n").encode()
    end_in = settings.get("terminator_in", "\n").encode()
    echo = b"*IDN?" + end_out if settings.get("echo") else b""
    line.open()
    try:
        with peer.expects((end_out + b"*IDN?" + end_out, echo + IDENTITY + end_in)):
            assert find_identity(line) == IDENTITY
        yield line
    finally:
        line.close()


def assert_in_step_again(peer, line):
    """The next question is preceded by a resync, and gets its own answer."""
    assert not line.in_step
    with peer.expects((b"\n*IDN?\n", IDENTITY + b"\n"), (ASK + b"\n", b"7.0\n")):
        assert line.query(ASK, AMPERES) == 7.0
    assert line.in_step


def test_a_question_gets_its_answer_byte_for_byte(peer):
    with opened(peer) as line, peer.expects((b"MEAS:CURR?\n", b"2.5\n")):
        assert line.query(ASK, AMPERES) == 2.5


def test_a_command_is_sent_byte_for_byte(peer):
    with opened(peer) as line, peer.expects((b"CURR 2.500\n", b"")):
        line.command(b"CURR 2.500")


@pytest.mark.parametrize("out", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("back", ["\n", "\r\n", "\r"])
def test_terminators_are_those_of_the_description(peer, out, back):
    with (
        opened(peer, terminator_out=out, terminator_in=back) as line,
        peer.expects((b"MEAS:CURR?" + out.encode(), b"2.5" + back.encode())),
    ):
        assert line.query(ASK, AMPERES) == 2.5


def test_a_reply_without_terminator_ends_with_silence(peer):
    with (
        opened(peer, terminator_out="", terminator_in="", end_of_reply_ms=20) as line,
        peer.expects((b"MEAS:CURR?", b"2.5")),
    ):
        assert line.query(ASK, AMPERES) == 2.5


def one_by_one(peer, *pieces):
    """Say each piece when the one before has been read."""

    def say():
        for piece in pieces:
            peer.send(piece)
            peer.wait_until_read()

    return say


def test_a_reply_in_pieces_is_put_together(peer):
    pieces = one_by_one(peer, b"2", b".", b"5", b"\n")
    with opened(peer, reply_timeout_ms=5000) as line, peer.expects((b"MEAS:CURR?\n", pieces)):
        assert line.query(ASK, AMPERES) == 2.5


def test_a_reply_in_pieces_without_terminator_too(peer):
    settings = {"echo": True, "terminator_out": "", "terminator_in": "", "end_of_reply_ms": 300}
    pieces = one_by_one(peer, b"MEAS", b":CURR?", b"2.", b"5")
    with (
        opened(peer, reply_timeout_ms=5000, **settings) as line,
        peer.expects((b"MEAS:CURR?", pieces)),
    ):
        assert line.query(ASK, AMPERES) == 2.5


def test_silence_is_no_reply(peer):
    with opened(peer) as line:
        with (
            peer.expects((b"MEAS:CURR?\n", b"")),
            pytest.raises(NoReplyError, match=r"MEAS:CURR\?: nothing came within 0.2 s"),
        ):
            line.query(ASK, AMPERES)
        assert_in_step_again(peer, line)


def test_half_a_reply_says_what_came(peer):
    with opened(peer) as line:
        with (
            peer.expects((b"MEAS:CURR?\n", b"2.")),
            pytest.raises(NoReplyError, match=r"only b'2\.' came within"),
        ):
            line.query(ASK, AMPERES)
        assert_in_step_again(peer, line)


def test_silence_without_terminators_is_no_reply_either(peer):
    with (
        opened(peer, terminator_out="", terminator_in="", end_of_reply_ms=20) as line,
        peer.expects((b"MEAS:CURR?", b"")),
        pytest.raises(NoReplyError, match="nothing came"),
    ):
        line.query(ASK, AMPERES)


@pytest.mark.parametrize("garbage", [b"\xff\x00\x80\n", b"2.5.1\n", b"\n", b"ERR\n"])
def test_garbage_is_garbled_and_names_port_and_question(peer, garbage):
    with opened(peer) as line:
        with (
            peer.expects((b"MEAS:CURR?\n", garbage)),
            pytest.raises(GarbledReplyError, match=rf"{peer.port}: MEAS:CURR\?: expected a number"),
        ):
            line.query(ASK, AMPERES)
        assert_in_step_again(peer, line)


def test_two_replies_to_one_question_are_garbled(peer):
    with opened(peer) as line:
        with (
            peer.expects((b"MEAS:CURR?\n", b"2.5\n2.6\n")),
            pytest.raises(GarbledReplyError, match="more than one reply"),
        ):
            line.query(ASK, AMPERES)
        assert_in_step_again(peer, line)


def test_a_reply_without_end_is_given_up(peer):
    def babble():
        peer.send(b"1" * 4000)
        peer.send(b"1" * 4000)

    # A limit of time that the reply does not run into: what ends it is its length.
    with opened(peer, reply_timeout_ms=5000) as line:
        with (
            pytest.raises(GarbledReplyError, match="the reply has no end: b'1111"),
            peer.expects((b"MEAS:CURR?\n", babble)),
        ):
            line.query(ASK, AMPERES)
        assert not line.in_step


def test_a_late_reply_never_answers_the_next_question(peer):
    with opened(peer) as line:
        with peer.expects((b"MEAS:CURR?\n", b"")), pytest.raises(NoReplyError):
            line.query(ASK, AMPERES)
        peer.send(b"1.0\n")
        assert_in_step_again(peer, line)


def test_a_reply_that_is_later_still_is_thrown_away_too(peer):
    """It comes after the flush, right before the identity."""
    with opened(peer) as line:
        with peer.expects((b"MEAS:CURR?\n", b"")), pytest.raises(NoReplyError):
            line.query(ASK, AMPERES)
        with peer.expects((b"\n*IDN?\n", b"1.0\n" + IDENTITY + b"\n"), (b"MEAS:VOLT?\n", b"7.0\n")):
            assert line.query(b"MEAS:VOLT?", AMPERES) == 7.0


def test_the_end_of_a_cut_off_reply_may_stick_to_the_identity(peer):
    with opened(peer) as line:
        with peer.expects((b"MEAS:CURR?\n", b"2.")), pytest.raises(NoReplyError):
            line.query(ASK, AMPERES)
        with peer.expects((b"\n*IDN?\n", b"5" + IDENTITY + b"\n"), (b"MEAS:CURR?\n", b"7.0\n")):
            assert line.query(ASK, AMPERES) == 7.0


def test_a_late_identity_is_no_answer_to_the_next_question(peer):
    """The first resync goes unanswered, the second is answered twice."""
    with opened(peer) as line:
        for request in (b"MEAS:CURR?\n", b"\n*IDN?\n"):
            with peer.expects((request, b"")), pytest.raises(NoReplyError):
                line.query(ASK, AMPERES)
        twice = IDENTITY + b"\n" + IDENTITY + b"\n"
        with peer.expects((b"\n*IDN?\n", twice), (b"MEAS:CURR?\n", b"7.0\n")):
            assert line.query(ASK, AMPERES) == 7.0


def test_a_late_identity_that_waits_already_does_not_end_a_resync(peer):
    with opened(peer) as line:
        for request in (b"MEAS:CURR?\n", b"\n*IDN?\n"):
            with peer.expects((request, b"")), pytest.raises(NoReplyError):
                line.query(ASK, AMPERES)
        peer.send(IDENTITY + b"\n")

        def identify():
            peer.wait_until_read()
            peer.send(IDENTITY + b"\n")

        with peer.expects((b"\n*IDN?\n", identify), (b"MEAS:CURR?\n", b"7.0\n")):
            assert line.query(ASK, AMPERES) == 7.0


def test_a_resync_that_hears_another_device_does_not_ask_it(peer):
    with opened(peer) as line:
        with peer.expects((b"MEAS:CURR?\n", b"")), pytest.raises(NoReplyError):
            line.query(ASK, AMPERES)
        with (
            peer.expects((b"\n*IDN?\n", b"TANK,TWO,2,1.0\n")),
            pytest.raises(GarbledReplyError, match="TANK,TWO"),
        ):
            line.query(ASK, AMPERES)
        assert not line.in_step


def test_a_resync_that_hears_an_endless_line_is_given_up(peer):
    def babble():
        peer.send(b"1" * 4000)
        peer.send(b"1" * 4000)

    with opened(peer, reply_timeout_ms=5000) as line:
        peer.send(b"noise\n")
        with (
            pytest.raises(GarbledReplyError, match=r"\*IDN\?: the reply has no end"),
            peer.expects((b"\n*IDN?\n", babble)),
        ):
            line.query(ASK, AMPERES)


def test_bytes_that_came_unasked_are_thrown_away_before_a_question(peer):
    with opened(peer) as line:
        peer.send(b"1.0\n")
        with peer.expects((b"\n*IDN?\n", IDENTITY + b"\n"), (b"MEAS:CURR?\n", b"7.0\n")):
            assert line.query(ASK, AMPERES) == 7.0


def test_without_an_identity_nothing_else_is_asked(peer):
    line = make_line(peer.port)
    line.open()
    with peer.expects((b"\n*IDN?\n", b"\n")), pytest.raises(NoReplyError):
        line.query(ASK, AMPERES)
    line.close()


def test_an_out_of_step_command_goes_out_at_once_after_a_terminator(peer):
    with opened(peer) as line:
        with peer.expects((b"MEAS:CURR?\n", b"")), pytest.raises(NoReplyError):
            line.query(ASK, AMPERES)
        with peer.expects((b"\nOUTP OFF\n", b"")):
            line.command(b"OUTP OFF")
        assert not line.in_step


def test_echoes_are_taken_off(peer):
    with opened(peer, echo=True) as line:
        with peer.expects(
            (b"CURR 1.000\n", b"CURR 1.000\n"), (b"MEAS:CURR?\n", b"MEAS:CURR?\n2.5\n")
        ):
            line.command(b"CURR 1.000")
            assert line.query(ASK, AMPERES) == 2.5
        assert line.in_step


def test_an_echo_may_come_long_before_the_reply(peer):
    pieces = one_by_one(peer, b"MEAS:CURR?\n", b"2.5\n")
    with opened(peer, echo=True) as line, peer.expects((b"MEAS:CURR?\n", pieces)):
        assert line.query(ASK, AMPERES) == 2.5


def test_an_echo_may_share_its_line_with_the_reply(peer):
    with (
        opened(peer, echo=True, terminator_out="\r") as line,
        peer.expects((b"MEAS:CURR?\r", b"MEAS:CURR?\r2.5\n")),
    ):
        assert line.query(ASK, AMPERES) == 2.5


def test_an_echo_without_terminators_is_taken_off(peer):
    settings = {"echo": True, "terminator_out": "", "terminator_in": "", "end_of_reply_ms": 20}
    with opened(peer, **settings) as line, peer.expects((b"MEAS:CURR?", b"MEAS:CURR?2.5")):
        assert line.query(ASK, AMPERES) == 2.5


@pytest.mark.parametrize("echo", [b"CURR 7.000\n", b"1.0\nCURR 1.000\n"])
def test_a_wrong_echo_of_a_command_is_garbled(peer, echo):
    with opened(peer, echo=True) as line:
        with (
            pytest.raises(GarbledReplyError, match=r"CURR 1\.000: expected the echo"),
            peer.expects((b"CURR 1.000\n", echo)),
        ):
            line.command(b"CURR 1.000")
        assert not line.in_step


def test_a_wrong_echo_of_a_question_is_garbled(peer):
    with opened(peer, echo=True) as line:
        with (
            peer.expects((b"MEAS:CURR?\n", b"MEAS:VOLT?\n2.5\n")),
            pytest.raises(GarbledReplyError, match="expected the echo b'MEAS:CURR"),
        ):
            line.query(ASK, AMPERES)
        assert not line.in_step


def test_a_missing_echo_is_no_reply(peer):
    with opened(peer, echo=True) as line:
        with (
            peer.expects((b"CURR 1.000\n", b"CURR")),
            pytest.raises(NoReplyError, match=r"CURR 1\.000: only b'CURR' came"),
        ):
            line.command(b"CURR 1.000")
        echo = b"\n*IDN?\n" + IDENTITY + b"\n"
        with peer.expects((b"\n*IDN?\n", echo), (b"MEAS:CURR?\n", b"MEAS:CURR?\n7.0\n")):
            assert line.query(ASK, AMPERES) == 7.0


def test_an_echo_alone_is_no_identity(peer):
    line = make_line(peer.port, echo=True)
    line.open()
    with (
        peer.expects((b"\n*IDN?\n", b"\n*IDN?\n")),
        pytest.raises(NoReplyError, match="nothing came"),
    ):
        find_identity(line)
    line.close()


class TestPulledOut:
    """The plug is pulled at each of the moments where the system reports it differently."""

    def test_while_waiting_for_a_reply(self, peer):
        with opened(peer) as line:
            with (
                pytest.raises(PortUnavailableError, match="the port was lost"),
                peer.expects((b"MEAS:CURR?\n", peer.pull_out)),
            ):
                line.query(ASK, AMPERES)
            assert not line.in_step

    def test_before_a_command_is_written(self, peer):
        with opened(peer) as line:
            peer.pull_out()
            with pytest.raises(PortUnavailableError, match="the port was lost"):
                line.command(b"OUTP OFF")

    def test_between_two_readings(self, peer):
        with opened(peer) as line:
            peer.pull_out()
            with pytest.raises(PortUnavailableError, match="the port was lost"):
                line.query(ASK, AMPERES)

    def test_before_a_resync_flushes(self, peer):
        with opened(peer) as line:
            peer.pull_out()
            with pytest.raises(PortUnavailableError, match="the port was lost"):
                line.resync()

    def test_and_asked_again_and_closed_twice(self, peer):
        with opened(peer) as line:
            peer.pull_out()
            for _ in range(2):
                with pytest.raises(PortUnavailableError):
                    line.query(ASK, AMPERES)
            line.close()
            line.close()


def test_a_line_that_is_not_open_says_so(peer):
    line = make_line(peer.port)
    for use in (
        lambda: line.query(ASK, AMPERES),
        lambda: line.command(b"OUTP OFF"),
        line.resync,
    ):
        with pytest.raises(PortUnavailableError, match="is not open"):
            use()
    with opened(peer) as line:
        line.close()
        with pytest.raises(PortUnavailableError, match="is not open"):
            line.query(ASK, AMPERES)


def test_a_busy_port_is_told_from_a_missing_one(peer):
    holder = serial.Serial(peer.port, exclusive=True)
    with pytest.raises(PortUnavailableError, match=f"{peer.port}: .*another program holds it"):
        make_line(peer.port).open()
    holder.close()
    with opened(peer):
        pass


def test_a_line_keeps_other_exclusive_openers_out(peer):
    with opened(peer), pytest.raises(serial.SerialException):
        serial.Serial(peer.port, exclusive=True)


@pytest.mark.parametrize(
    ("port", "reason"),
    [
        ("/dev/serial/by-id/no-such-supply", "there is no such port"),
        ("/dev/null", "Could not configure port"),
        ("socket://127.0.0.1", "Could not open port"),
        ("loop://", "give a device path or socket://host:port"),
        ("nonsense://x", "give a device path or socket://host:port"),
    ],
)
def test_a_port_that_cannot_be_opened_says_why(port, reason):
    with pytest.raises(PortUnavailableError, match=f"{port}: cannot be opened: .*{reason}"):
        make_line(port).open()


def test_a_port_that_this_user_may_not_open_names_the_group(mocker):
    # Root may open anything, so the system's answer is given here.
    refusal = serial.SerialException(13, "could not open port")
    mocker.patch("serial.serial_for_url", side_effect=refusal)
    with pytest.raises(PortUnavailableError, match="group dialout"):
        make_line("/dev/ttyUSB0").open()


def test_a_blocked_write_ends_and_nothing_of_it_goes_out_later(peer):
    with opened(peer, write_timeout_ms=30) as line:
        with pytest.raises(NoReplyError, match=r"the port did not take it within 0\.03 s"):
            line.command(b"CURR 1.000" * 10_000)
        assert not line.in_step
        while peer.unheard():
            pass
        assert_in_step_again(peer, line)


def test_a_port_that_vanishes_during_a_blocked_write_is_lost(peer, mocker):
    with opened(peer) as line:
        mocker.patch("drivers.scpi.line.os.write", side_effect=BlockingIOError)
        mocker.patch("serial.Serial.write", side_effect=serial.SerialTimeoutException("full"))
        mocker.patch("serial.Serial.reset_output_buffer", side_effect=termios.error(5, "EIO"))
        with pytest.raises(PortUnavailableError, match="the port was lost"):
            line.command(b"OUTP OFF")


def test_the_pauses_of_the_description_are_kept(peer, mocker):
    naps = mocker.patch("drivers.scpi.line.sleep")
    mocker.patch("drivers.scpi.line.monotonic", return_value=1000.0)
    settings = {
        "wait_after_open_ms": 1500,
        "delay_write_to_read_ms": 10,
        "pause_after_command_ms": 300,
        "pause_after_reply_ms": 20,
    }
    with opened(peer, **settings) as line:
        assert [call.args[0] for call in naps.mock_calls] == [1.5]
        naps.reset_mock()
        with peer.expects((b"CURR 1.000\n", b""), *[(b"MEAS:CURR?\n", b"2.5\n")] * 2):
            line.command(b"CURR 1.000")
            line.query(ASK, AMPERES)
            line.query(ASK, AMPERES)
    assert [call.args[0] for call in naps.mock_calls] == pytest.approx([0.3, 0.01, 0.02, 0.01])


def test_a_pause_that_is_already_over_is_not_waited_for(peer, mocker):
    naps = mocker.patch("drivers.scpi.line.sleep")
    now = mocker.patch("drivers.scpi.line.monotonic", return_value=1000.0)
    with (
        opened(peer, pause_after_command_ms=300) as line,
        peer.expects((b"CURR 1.000\n", b""), (b"CURR 2.000\n", b"")),
    ):
        line.command(b"CURR 1.000")
        now.return_value = 1001.0
        line.command(b"CURR 2.000")
    assert naps.mock_calls == []


@pytest.fixture
def tcp_peer():
    """A peer like `peer`, at the other end of a TCP connection that it accepts when it is made."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        accepted = []
        thread = threading.Thread(target=lambda: accepted.append(server.accept()[0]))
        thread.start()

        def answer(request, reply):
            thread.join()
            connection = accepted[0]
            connection.settimeout(5)
            heard = b""
            while len(heard) < len(request):
                heard += connection.recv(len(request) - len(heard))
            assert heard == request
            if reply:
                connection.sendall(reply)
            else:
                connection.close()

        yield f"socket://127.0.0.1:{server.getsockname()[1]}", answer
        for connection in accepted:
            connection.close()


# pyserial gives up a socket whose peer is gone without closing it; the interpreter then does, and
# warns.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_socket_is_a_port_like_any_other_until_it_is_closed(tcp_peer):
    port, answer = tcp_peer
    script = [
        (b"\n*IDN?\n", IDENTITY + b"\n"),
        (b"MEAS:CURR?\n", b"2.5\n"),
        (b"MEAS:CURR?\n", b""),
    ]
    server = threading.Thread(target=lambda: [answer(*exchange) for exchange in script])
    line = make_line(port, reply_timeout_ms=5000)
    line.open()
    server.start()
    assert find_identity(line) == IDENTITY
    assert line.query(ASK, AMPERES) == 2.5
    with pytest.raises(PortUnavailableError, match="the other end is gone"):
        line.query(ASK, AMPERES)
    server.join()
    with pytest.raises(LinkError):
        line.query(ASK, AMPERES)
    line.close()


def test_a_socket_that_nobody_listens_at_is_unavailable():
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(PortUnavailableError, match="Connection refused"):
        make_line(f"socket://127.0.0.1:{port}").open()
