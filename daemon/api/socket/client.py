"""The control socket's client: what the page and the command line use to speak to the daemon."""

import socket
from pathlib import Path

from pydantic import ValidationError

from daemon.api.socket.messages import Answer, Request, Status, StatusRequest

ANSWER_LIMIT = 1 << 20
"""Bytes. An answer holds one status, some kB; anything longer is not from our daemon."""


ACT_PATIENCE_S = 15.0
"""Real s that an act may take. Before a run starts or goes on, the daemon has its second way out
tried, and a start has to be on the disk: each may take some seconds."""


class DaemonUnreachableError(Exception):
    """Nobody answers at the socket, or not in our words: says where and why."""


class Client:
    """Asks one question at a time, each over a connection of its own.

    `path` is the Unix socket's path; `timeout_s` bounds each step of an exchange. Every method
    raises `DaemonUnreachableError` when no proper answer comes.
    """

    def __init__(self, path: Path, timeout_s: float = 2.0) -> None:
        self._path = path
        self._timeout_s = timeout_s

    def status(self) -> Status:
        """How the daemon and the tank are."""
        answer = self.ask(StatusRequest())
        if answer.status is None:
            raise DaemonUnreachableError(f"{self._path}: an answer without a status")
        return answer.status

    def ask(self, request: Request) -> Answer:
        """Send one request and return its answer; a refusal is an answer with `ok` false."""
        line = request.model_dump_json().encode() + b"\n"
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
                connection.settimeout(self._timeout_s)
                connection.connect(str(self._path))
                connection.sendall(line)
                reply = self._line_from(connection)
            return Answer.model_validate_json(reply)
        except OSError as error:
            raise DaemonUnreachableError(
                f"no daemon answers at {self._path}: {error.strerror or error}"
            ) from error
        except ValidationError as error:
            raise DaemonUnreachableError(
                f"{self._path}: what answers is not this version of tankhand"
            ) from error

    def _line_from(self, connection: socket.socket) -> bytes:
        parts: list[bytes] = []
        size = 0
        while True:
            part = connection.recv(65536)
            if not part:
                raise DaemonUnreachableError(f"{self._path}: the daemon hung up without an answer")
            parts.append(part)
            size += len(part)
            if part.endswith(b"\n"):
                return b"".join(parts)
            if size > ANSWER_LIMIT:
                raise DaemonUnreachableError(f"{self._path}: an answer of more than {size} bytes")
