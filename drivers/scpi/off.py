"""The shortest way to "output off": a second handle on a supply's port, which only ever writes.

For a process that watches the one which drives the supply, and has to act when that one has died or
hangs. It needs nothing but the standard library and pyserial, so that it is ready before anything
heavy is loaded; of the description it uses the table `line` and two words, and leaves the rest
unchecked.

A hung process may have written half a command. So a terminator goes first: it ends the half command
in the supply, which executes it or rejects it, and "output off" follows in either case. What still
waits in the port's buffer is left to go out before, unless that buffer is so full that "output off"
is not taken; then it is thrown away. (Throwing it away each time would be wrong: "off" said again
and again would then throw away itself.) Nothing is read: the reply to a question of the
hung process may still be on its way, and is nobody's business here.
"""

import time
from contextlib import suppress
from pathlib import Path
from typing import Any

import serial

from drivers.errors import DescriptionError, PortUnavailableError
from drivers.scpi.files import description_path, read_tables
from drivers.scpi.port import PORT_FAILURES, PortSettings, open_port


class OffLine:
    """A way to say "output off" to the supply on `port`, described by a file or a shipped name.

    Open it before the driving process starts: opening a serial port empties the buffer of what has
    come in, and so may take away a reply that the other process waits for. A supply on `socket://`
    that takes one connection only has to be left unopened; `send` then connects when the driving
    process is gone. Raises `DescriptionError` if the file cannot be read or lacks a key.
    """

    def __init__(self, port: str, description: str | Path) -> None:
        path = description_path(description)
        tables = read_tables(path)
        try:
            self._settings = PortSettings.from_table(tables["line"])
            self._pause_s = tables["line"]["pause_after_command_ms"] / 1000
            messages = _messages(tables)
        except (KeyError, TypeError, AttributeError) as error:
            raise DescriptionError(
                f"{path}: lacks what is needed to switch an output off: {error!r}"
            ) from error
        # In one go where the supply allows it: a socket holds small messages back for its peer.
        self._messages = messages if self._pause_s else [b"".join(messages)]
        self._name = port
        self._port: serial.Serial | None = None

    def open(self) -> None:
        """Open the port beside whoever drives the supply. Raises `PortUnavailableError`."""
        self.close()
        self._port = open_port(self._name, self._settings, exclusive=False)

    def close(self) -> None:
        """Give the port back. Never raises; may be called twice."""
        port, self._port = self._port, None
        if port is not None:
            with suppress(*PORT_FAILURES):
                port.close()

    def send_alone(self) -> str | None:
        """Say "output off" if nobody else drives the supply, and give the port back.

        For the very start, when another process may be plating on this port by right: that one is
        left alone. Returns None when the port has taken it all, otherwise why not; never raises.
        """
        self.close()
        try:
            self._port = open_port(self._name, self._settings, exclusive=True)
        except PortUnavailableError as error:
            return str(error)
        failure = self._write_to(self._port)
        self.close()
        return failure

    def send(self) -> str | None:
        """Say "output off"; None when the port has taken it all, otherwise why it has not.

        Never raises. If the open handle fails, as after the plug was pulled and put back, or if the
        port takes no more, it is opened anew, emptied and tried once more. Takes at most two write
        limits, the pauses between commands, and, on a socket, pyserial's 5 s for connecting.
        """
        if self._port is not None and self._write_to(self._port) is None:
            return None
        self.close()
        try:
            self._port = open_port(self._name, self._settings, exclusive=False)
        except PortUnavailableError as error:
            return str(error)
        return self._write_to(self._port, empty_first=True)

    def _write_to(self, port: serial.Serial, *, empty_first: bool = False) -> str | None:
        """Write all messages; None, or why not."""
        try:
            if empty_first:
                port.reset_output_buffer()
            for message in self._messages:
                port.write(message)
                if self._pause_s:
                    time.sleep(self._pause_s)
        except PORT_FAILURES as error:
            return f"{self._name}: output off could not be written: {error}"
        return None


def _messages(tables: dict[str, Any]) -> list[bytes]:
    """What to write, in this order: the end of a half command, remote if there is one, off."""
    words = tables["words"]
    terminator = tables["line"]["terminator_out"].encode()
    said = [words["remote"]] if "remote" in words else []
    said.append(words["output_off"])
    return [terminator, *(text.encode() + terminator for text in said)]
