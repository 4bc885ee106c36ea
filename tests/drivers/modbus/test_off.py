"""The short way to "output off", beside a process that drives the supply or hangs."""

import os
import socket
import subprocess
import sys
import threading
from contextlib import suppress

import pytest
import serial

from drivers.errors import DescriptionError, LinkError, PortUnavailableError
from drivers.files import description_path
from drivers.modbus.off import OffLine
from drivers.off import off_line
from drivers.scpi.off import OffLine as ScpiOffLine

# Made with pymodbus: unit 1, function 6, register 0x22 = 0; register 0x23 = 1.
OFF = bytes.fromhex("01 06 0022 0000 29C0")
REMOTE = bytes.fromhex("01 06 0023 0001 B9C0")
ALL = OFF + REMOTE + OFF


@pytest.fixture
def file_of(tmp_path):
    """The shipped description with passages replaced and a short reply limit; gives the path."""

    def write(*changes):
        text = description_path("modbus-example").read_text()
        for old, new in (("reply_timeout_ms = 200", "reply_timeout_ms = 20"), *changes):
            assert old in text, old
            text = text.replace(old, new)
        path = tmp_path / "mine.toml"
        path.write_text(text)
        return path

    return write


@pytest.fixture
def off(peer, file_of):
    line = OffLine(peer.port, file_of())
    line.open()
    yield line
    line.close()


def test_off_is_said_at_once_and_again_after_what_remote_control_needs(peer, off):
    with peer.expects((OFF, b""), (REMOTE, b""), (OFF, b"")):
        assert off.send() is None


def test_off_may_be_said_again(peer, off):
    with peer.expects((ALL, b""), (ALL, b"")):
        assert off.send() is None
        assert off.send() is None


def test_a_real_server_obeys_it(serve, device, file_of):
    device.inputs[0x12] = 1
    line = OffLine(serve(), file_of(("reply_timeout_ms = 20", "reply_timeout_ms = 500")))
    assert line.send() is None
    line.close()
    # The last frame may still be on its way; the first was heard half a second ago.
    assert device.writes[:2] == [(6, 0x22, [0]), (6, 0x23, [1])]
    assert device.inputs[0x12] == 0


@pytest.mark.parametrize(
    ("function", "off_value", "frame"),
    [
        (5, 0, "01 05 0022 0000 6DC0"),
        (15, 0, "01 0F 0022 0001 01 00 D690"),
        (16, 256, "01 10 0022 0001 02 0100 A142"),
    ],
)
def test_every_function_that_writes(peer, file_of, function, off_value, frame):
    output = f"function = {function}\naddress = 0x0022\non = 1\noff = {off_value}"
    old = "function = 6\naddress = 0x0022\non = 1\noff = 0"
    line = OffLine(peer.port, file_of((old, output)))
    said = bytes.fromhex(frame)
    with peer.expects((said + REMOTE + said, b"")):
        assert line.send() is None
    line.close()


def test_the_silent_interval_goes_before_each_frame_and_a_reply_has_its_time(peer, file_of, mocker):
    nap = mocker.patch("time.sleep")
    changes = (("baud = 9600", "baud = 1200"), ("frames_ms = 0", "frames_ms = 30"))
    line = OffLine(peer.port, file_of(*changes))
    with peer.expects((ALL, b"")):
        assert line.send() is None
    line.close()
    # 3.5 characters of 11 bits at 1200 baud; 20 ms for a reply and 30 ms of the unit's own.
    silence = pytest.approx(0.03208, abs=1e-5)
    waits = [call.args[0] for call in nap.mock_calls]
    assert waits == [silence, pytest.approx(0.05), silence, pytest.approx(0.05), silence]


def test_without_remote_control_only_off_is_said_twice(peer, file_of):
    remote = "[[at_open]]\n# Remote control.\nfunction = 6\naddress = 0x0023\nvalue = 1\n"
    line = OffLine(peer.port, file_of((remote, "")))
    with peer.expects((OFF + OFF, b"")):
        assert line.send() is None
    line.close()


def test_off_alone_leaves_a_port_that_is_held_to_its_holder(peer, file_of):
    with serial.Serial(peer.port, exclusive=True), peer.expects():
        assert "another program holds it" in OffLine(peer.port, file_of()).send_alone()


def test_off_alone_is_said_on_a_port_that_nobody_holds(peer, file_of):
    with peer.expects((ALL, b"")):
        assert OffLine(peer.port, file_of()).send_alone() is None
    serial.Serial(peer.port, exclusive=True).close()


def test_the_driving_process_survives_it(opened, described, device, link, file_of):
    device.inputs[0x10] = 2500
    supply = opened(described(line={"reply_timeout_ms": 500}))
    line = OffLine(link.port, file_of())
    line.open()
    supply.output(True)
    assert line.send() is None

    def reading():
        # The replies to the off line may come in the middle of a reading, which is then lost.
        for _ in range(5):
            with suppress(LinkError):
                return supply.read()
        return None

    assert reading().current_a == 2.5
    assert device.inputs[0x12] == 0
    line.close()


def test_half_a_frame_of_a_hung_process_goes_out_before(peer, off):
    """It ends in the silence before "off", which another test looks at."""
    hung = os.open(peer.port, os.O_RDWR | os.O_NOCTTY)
    os.write(hung, OFF[:4])
    with peer.expects((OFF[:4] + ALL, b"")):
        assert off.send() is None
    os.close(hung)


def test_what_waits_in_the_buffer_goes_out_before_the_silence(off, peer, mocker):
    waiting = mocker.patch("serial.Serial.out_waiting", new_callable=mocker.PropertyMock)
    waiting.side_effect = [12, 4, 0]
    nap = mocker.patch("time.sleep")
    with peer.expects((ALL, b"")):
        assert off.send() is None
    assert [call.args[0] for call in nap.mock_calls][:2] == [0.001, 0.001]
    assert len(waiting.mock_calls) == 3


def test_a_buffer_that_a_hung_process_filled_does_not_stop_off(peer, off):
    with peer.stuffed():
        assert off.send() is None
        assert peer.all_unheard().endswith(ALL)


def test_a_pulled_plug_is_a_reason_and_not_an_exception(peer, off):
    peer.pull_out()
    assert peer.port in off.send()
    assert peer.port in off.send()


def test_a_missing_port_is_a_reason(file_of):
    line = OffLine("/dev/ttyUSB-none", file_of())
    assert "there is no such port" in line.send()
    with pytest.raises(PortUnavailableError, match="there is no such port"):
        line.open()
    line.close()


def test_off_goes_over_a_socket_too(file_of):
    heard = []

    def serve(server):
        connection, _ = server.accept()
        with connection:
            connection.settimeout(5)
            while len(b"".join(heard)) < len(ALL):
                heard.append(connection.recv(100))

    with socket.create_server(("127.0.0.1", 0)) as server:
        thread = threading.Thread(target=serve, args=(server,))
        thread.start()
        line = OffLine(f"socket://127.0.0.1:{server.getsockname()[1]}", file_of())
        assert line.send() is None
        thread.join()
        line.close()
    assert b"".join(heard) == ALL


@pytest.mark.parametrize(
    "change",
    [
        ("baud = 9600", ""),
        ("baud = 9600", "baud = 0"),
        ("unit = 1", "unit = 256"),
        ("write_timeout_ms = 500", 'write_timeout_ms = "x"'),
        ("[output]", "[out]"),
        ("function = 6\naddress = 0x0022", "function = 3\naddress = 0x0022"),
        ("function = 6\naddress = 0x0022", 'function = 6\naddress = "0x22"'),
        ("function = 6\naddress = 0x0023\nvalue = 1", "function = 6\naddress = 0x0023"),
        ("[[at_open]]", "[at_open]"),
    ],
)
def test_a_description_that_lacks_what_it_needs_is_refused(file_of, change):
    path = file_of(change)
    with pytest.raises(DescriptionError, match=f"{path}: lacks what is needed"):
        OffLine("/dev/null", path)


def test_the_kind_is_told_by_the_description(file_of):
    assert isinstance(off_line("/dev/null", "modbus-example"), OffLine)
    assert isinstance(off_line("/dev/null", file_of()), OffLine)
    assert isinstance(off_line("/dev/null", "scpi99"), ScpiOffLine)


def test_it_is_ready_before_anything_heavy_is_loaded():
    allowed = {"serial", "drivers"}
    script = (
        "import sys; before = set(sys.modules); import drivers.off; "
        "print(*{name.split('.')[0] for name in set(sys.modules) - before})"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    loaded = set(run.stdout.split())
    assert allowed <= loaded
    assert loaded - allowed <= sys.stdlib_module_names


# The proof that the way works, at a moment when nobody else uses the line.


def test_a_way_that_works_is_proven_by_the_unit_s_confirmation(peer, off):
    with peer.expects((OFF, OFF), (REMOTE, REMOTE), (OFF, OFF)):
        assert off.prove() is None


def test_a_real_server_proves_it(serve, device, file_of):
    line = OffLine(serve(), file_of(("reply_timeout_ms = 20", "reply_timeout_ms = 500")))
    assert line.prove() is None
    assert device.writes == [(6, 0x22, [0]), (6, 0x23, [1]), (6, 0x22, [0])]
    line.close()


@pytest.mark.parametrize("last", [b"", OFF[:-1], bytes.fromhex("01 86 04 43A3")])
def test_without_the_last_confirmation_nothing_is_proven(peer, off, last):
    with peer.expects((OFF, OFF), (REMOTE, REMOTE), (OFF, last)):
        assert "output off is not confirmed: only" in off.prove()


def test_an_adapter_s_echo_is_no_confirmation(peer, file_of):
    line = OffLine(peer.port, file_of(("echo = false", "echo = true")))
    with peer.expects((OFF, b""), (REMOTE, b""), (OFF, OFF)):
        assert "not confirmed" in line.prove()
    with peer.expects((OFF, b""), (REMOTE, b""), (OFF, OFF + OFF)):
        assert line.prove() is None
    line.close()
