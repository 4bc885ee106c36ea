"""The page's process, from its command line to its answers."""

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Callable
from http.client import HTTPConnection, HTTPResponse

import pytest

Command = Callable[[str], list[str]]


def ask(address: str, method: str, path: str, **more: object) -> tuple[HTTPResponse, str]:
    connection = HTTPConnection(address.removeprefix("http://"), timeout=10)
    connection.request(method, path, **more)  # type: ignore[arg-type]
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    return answer, text


def test_it_serves_the_tank(address: str) -> None:
    answer, text = ask(address, "GET", "/")
    assert answer.status == 200
    assert "Plating." in text
    assert answer.getheader("Server") is None


def test_a_body_beyond_all_bounds_is_not_read(address: str) -> None:
    answer, _ = ask(address, "POST", "/act/stop", body=b"x" * 100_000)
    assert answer.status == 413


def test_a_body_too_long_is_answered_in_words(address: str) -> None:
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    answer, text = ask(address, "POST", "/act/stop", body=b"x" * 10_000, headers=kind)
    assert answer.status == 413
    assert "That was too much to read." in text


@pytest.mark.parametrize("listen", ["tank.lan:8080", "8080"])
def test_without_an_operator_it_refuses_every_address_but_loopback(
    command: Command, listen: str
) -> None:
    done = subprocess.run(command(listen), capture_output=True, text=True)
    assert done.returncode == 1
    assert re.fullmatch(r"Error: listen: .*127\.0\.0\.1.*\n", done.stderr)


def test_a_port_in_use_is_named(command: Command) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        listen = f"127.0.0.1:{taken.getsockname()[1]}"
        done = subprocess.run(command(listen), capture_output=True, text=True)
    assert done.returncode == 1
    assert done.stderr == f"Error: listen: {listen}: Address already in use\n"


def test_the_charts_library_is_not_loaded_into_the_server() -> None:
    code = "import sys, web.__main__; print(sorted({'plotly', 'narwhals'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout == "[]\n"


def test_it_ends_with_the_guard(command: Command, port: int) -> None:
    ours, theirs = os.pipe()
    start = [*command(f"127.0.0.1:{port}"), "--lifeline", str(ours)]
    process = subprocess.Popen(start, pass_fds=(ours,))
    assert process.poll() is None
    os.close(ours)
    os.close(theirs)
    assert process.wait(30) == -signal.SIGTERM
