"""Clients that send or read slowly, or not at all, keep nobody from pressing Stop."""

import re
import socket
from collections.abc import Iterator
from contextlib import ExitStack
from http.client import HTTPConnection
from typing import Any

import pytest

from web.__main__ import SERVER
from web.server import CONNECTIONS_OF_ONE

EACH = 30
"""Of each kind; the server has four threads."""


@pytest.fixture
def where(address: str) -> tuple[str, int]:
    host, _, port = address.removeprefix("http://").rpartition(":")
    return host, int(port)


@pytest.fixture
def clients(where: tuple[str, int]) -> Iterator[Any]:
    """Open connections that each have sent something, and stay open."""
    with ExitStack() as stack:

        def begin(sent: bytes, count: int, come_from: str = "127.0.0.1") -> None:
            for _ in range(count):
                client = stack.enter_context(socket.socket())
                client.bind((come_from, 0))
                # The little that such a client takes of what it is sent.
                client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2048)
                client.connect(where)
                client.sendall(sent)

        yield begin


def stop(where: tuple[str, int], come_from: str = "127.0.0.1") -> int:
    """Look at the page and press Stop, as a person does; the answer's status."""
    connection = HTTPConnection(*where, timeout=20, source_address=(come_from, 0))
    connection.request("GET", "/")
    answer = connection.getresponse()
    text = answer.read().decode()
    token = re.search(r'name="csrf_token" value="([^"]+)"', text)
    cookie = answer.headers["Set-Cookie"]
    assert token
    assert cookie
    kind = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": cookie.split(";")[0]}
    connection.request("POST", "/act/stop", f"csrf_token={token[1]}", kind)
    status = connection.getresponse().status
    connection.close()
    return status


def test_whoever_sends_half_a_question_holds_no_thread(
    where: tuple[str, int], clients: Any, peer: Any
) -> None:
    clients(b"GET / HTTP/1.1\r\nHost: 127.0", EACH)
    clients(b"", EACH)
    half = b"POST /act/hold HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 4000\r\n\r\ncsrf"
    clients(half, EACH)
    assert stop(where) == 303
    assert [act for act, _ in peer.acts] == ["stop"]


def test_whoever_does_not_read_what_it_asked_for_holds_no_thread(
    where: tuple[str, int], clients: Any, peer: Any
) -> None:
    connection = HTTPConnection(*where, timeout=20)
    connection.request("GET", "/")
    library = re.search(r"/static/[^/]+/plotly.min.js", connection.getresponse().read().decode())
    connection.close()
    assert library
    # Some 5 MB, unpacked.
    clients(f"GET {library[0]} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode(), EACH)
    assert stop(where) == 303
    assert [act for act, _ in peer.acts] == ["stop"]


def test_whoever_holds_more_connections_than_there_are_keeps_nobody_out(
    where: tuple[str, int], clients: Any, peer: Any
) -> None:
    clients(b"", SERVER["connection_limit"] + 20, come_from="127.0.0.2")
    assert stop(where, come_from="127.0.0.3") == 303
    assert stop(where) == 303
    # A household's share is not used up by what it has closed, and who was too many comes again.
    for _ in range(CONNECTIONS_OF_ONE + 5):
        assert stop(where, come_from="127.0.0.4") == 303


def test_there_is_room_for_a_crowd_besides() -> None:
    """Three connections for each of 50 browsers."""
    assert SERVER["connection_limit"] >= 3 * 50
