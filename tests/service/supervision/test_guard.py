"""The guard's second way, over a real line, and what it costs the loop."""

import os
import socket
import threading
import tty

import pytest
import serial

from daemon.service.supervision.guard import SecondWay

OFF, ASKED = b"\nOUTP OFF\n", b"\nOUTP OFF\nOUTP?\n"


class Supply:
    """A supply that takes one connection, over TCP, and says that its output is off."""

    def __init__(self):
        self.server = socket.create_server(("127.0.0.1", 0), backlog=1)
        self.port = f"socket://127.0.0.1:{self.server.getsockname()[1]}"
        self.heard = []
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def _serve(self):
        """One connection after the other, each until it ends; an empty one ends all."""
        while True:
            connection, _ = self.server.accept()
            with connection:
                heard = b""
                while data := connection.recv(100):
                    heard += data
                    if heard.endswith(b"?\n"):
                        connection.sendall(b"0\n")
                if not heard:
                    return
                self.heard.append(heard)

    def close(self):
        socket.create_connection(self.server.getsockname()).close()
        self._thread.join()
        self.server.close()


@pytest.fixture
def supply():
    supply = Supply()
    yield supply
    supply.close()


@pytest.fixture
def line():
    """A serial line's two ends: the supply's descriptor, and the port's name."""
    master, slave = os.openpty()
    tty.setraw(slave)
    yield master, os.ttyname(slave)
    os.close(master)
    os.close(slave)


@pytest.fixture
def way(tmp_path):
    """Make the way of a settings file."""

    def make(text):
        path = tmp_path / "settings.toml"
        path.write_text(text)
        return SecondWay(path)

    return make


def on(port):
    return f'[supply]\nport = "{port}"\n'


def test_a_serial_way_is_proven_by_the_supply_s_answer(way, line):
    master, port = line
    second = way(on(port))
    assert os.read(master, 100) == OFF
    supply = threading.Thread(target=lambda: os.write(master, b"0\n"[: len(os.read(master, 100))]))
    supply.start()
    assert second.prove() is None
    supply.join()


def test_a_serial_way_does_not_keep_the_loop_from_the_port(way, line):
    second = way(on(line[1]))
    serial.Serial(line[1], exclusive=True).close()
    assert second.prove() is not None
    serial.Serial(line[1], exclusive=True).close()


def test_a_supply_that_does_not_answer_proves_nothing(way, line):
    assert "output off is not confirmed: nothing came" in way(on(line[1])).prove()


def test_the_only_connection_is_given_back_after_the_proof(way, supply):
    second = way(on(supply.port))
    assert second.prove() is None
    # Were it still taken, nobody would answer a second one.
    assert second.prove() is None
    assert supply.heard == [OFF, ASKED, ASKED]


def test_the_only_connection_is_given_back_before_the_next_loop(way, supply):
    second = way(on(supply.port))
    second.off()
    second.give_back()
    assert second.prove() is None
    second.give_back()
    assert supply.heard == [OFF, OFF, ASKED]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "the settings do not tell it the supply's port and words"),
        (on("/dev/null") + 'description = "none"\n', "the settings do not tell it the supply's"),
        (on("/dev/ttyUSB-none"), "/dev/ttyUSB-none: cannot be opened: there is no such port"),
    ],
)
def test_a_way_that_leads_nowhere(way, text, why):
    assert why in way(text).prove()
