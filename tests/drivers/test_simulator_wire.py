"""The line of the simulated supply: messages from pieces, and the time that bytes take."""

import pytest

from drivers.simulator.wire import Wire


def test_messages_end_with_either_terminator() -> None:
    assert Wire().receive(5.0, b"*IDN?\nCURR?\r\nOUTP?\n") == [
        (5.0, b"*IDN?"),
        (5.0, b"CURR?"),
        (5.0, b"OUTP?"),
    ]


def test_messages_arrive_in_pieces() -> None:
    wire = Wire()
    assert wire.receive(1.0, b"MEAS:") == []
    assert wire.receive(2.0, b"CURR?") == []
    assert wire.receive(3.0, b"\r") == []
    assert wire.receive(4.0, b"\nMEAS") == [(4.0, b"MEAS:CURR?")]
    assert wire.receive(5.0, b":VOLT?\n") == [(5.0, b"MEAS:VOLT?")]


def test_a_carriage_return_within_a_message_does_not_end_it() -> None:
    assert Wire().receive(0.0, b"CURR\r?\n") == [(0.0, b"CURR\r?")]


def test_endless_message_overruns_and_the_next_is_heard() -> None:
    wire = Wire()
    assert wire.receive(0.0, b"x" * 200) == []
    assert wire.receive(0.0, b"x" * 200) == []
    assert wire.receive(0.0, b"x" * 50 + b"\nOUTP?\n") == [(0.0, None), (0.0, b"OUTP?")]


def test_every_byte_takes_ten_bits_in() -> None:
    wire = Wire(baud=9600)
    heard = wire.receive(100.0, b"CURR?\nMEAS:CURR?\n")
    # 6 and 17 bytes at 9600 baud: 6.25 and 17.708 ms.
    assert [moment for moment, _ in heard] == pytest.approx([100.00625, 100.0177083], abs=1e-7)


def test_the_line_is_busy_with_what_came_before() -> None:
    wire = Wire(baud=9600)
    wire.receive(100.0, b"x" * 95)
    # 96 bytes take 0.1 s; the second piece waits for the first.
    assert wire.receive(100.001, b"\n") == [(pytest.approx(100.1), b"x" * 95)]
    assert wire.receive(200.0, b"\n") == [(pytest.approx(200.0010417), b"")]


def test_replies_take_latency_and_ten_bits_a_byte() -> None:
    wire = Wire(baud=9600, latency_s=0.003)
    # 12 bytes are 12.5 ms.
    assert wire.send(50.0, 12) == pytest.approx(50.0155)
    # The next reply waits until the first is out.
    assert wire.send(50.0, 12) == pytest.approx(50.028)
    assert wire.send(60.0, 12) == pytest.approx(60.0155)


def test_an_unpaced_line_takes_no_time_but_latency() -> None:
    assert Wire().send(3.0, 1000) == 3.0
    assert Wire(latency_s=0.01).send(3.0, 1000) == pytest.approx(3.01)
