"""The shortest way to "output off" for a supply that speaks SCPI.

Of the description it uses the table `line` and three words, and leaves the rest unchecked.

A hung process may have written half a command. So a terminator goes first: it ends the half command
in the supply, which executes it or rejects it, and "output off" follows in either case.
"""

import time
from pathlib import Path
from typing import Any

import serial

from drivers.errors import DescriptionError, GarbledReplyError
from drivers.files import description_path, read_tables
from drivers.off_line import SecondHandle, pause_s
from drivers.port import PortSettings
from drivers.scpi.replies import parse_switch


class OffLine(SecondHandle):
    """A way to say "output off" to the supply on `port`, described by a file or a shipped name.

    Raises `DescriptionError` if the file cannot be read or lacks a key.
    """

    def __init__(self, port: str, description: str | Path) -> None:
        path = description_path(description)
        tables = read_tables(path)
        try:
            super().__init__(port, PortSettings.from_table(tables["line"]))
            self._pause_s = pause_s(tables["line"]["pause_after_command_ms"])
            messages = _messages(tables)
            self._question = _question(tables)
            self._reply_s = pause_s(tables["line"]["reply_timeout_ms"])
            self._terminator_in = tables["line"].get("terminator_in", "").encode()
            echo = [*messages, self._question] if tables["line"].get("echo", False) else []
            self._echo = b"".join(echo)
        except (KeyError, TypeError, AttributeError, ValueError) as error:
            raise DescriptionError(
                f"{path}: lacks what is needed to switch an output off: {error!r}"
            ) from error
        # In one go where the supply allows it: a socket holds small messages back for its peer.
        self._messages = messages if self._pause_s else [b"".join(messages)]

    def _say(self, port: serial.Serial) -> None:
        for message in self._messages:
            port.write(message)
            if self._pause_s:
                time.sleep(self._pause_s)

    def _unconfirmed(self, port: serial.Serial) -> str | None:
        """Ask whether the output is on. Without the word for it nobody can be asked."""
        if not self._question:
            return None
        port.write(self._question)
        heard, whole = self._heard(
            port, self._reply_s, lambda heard: self._state(heard) is not None
        )
        if not whole:
            return self._not_confirmed(heard, self._reply_s)
        return f"{self._name}: the output is on after output off" if self._state(heard) else None

    def _state(self, heard: bytes) -> bool | None:
        """Whether the output is on by what was heard; None while that is no whole answer."""
        if not heard.startswith(self._echo) or not heard.endswith(self._terminator_in):
            return None
        lines = heard[len(self._echo) :].splitlines()
        try:
            return parse_switch(lines[-1]) if lines else None
        except GarbledReplyError:
            return None


def _question(tables: dict[str, Any]) -> bytes:
    """What asks whether the output is on; empty if the description has no word for it."""
    word = tables["words"].get("read_back_output", "")
    return word.encode() + tables["line"]["terminator_out"].encode() if word else b""


def _messages(tables: dict[str, Any]) -> list[bytes]:
    """What to write, in this order: the end of a half command, remote if there is one, off."""
    words = tables["words"]
    terminator = tables["line"]["terminator_out"].encode()
    said = [words["remote"]] if "remote" in words else []
    said.append(words["output_off"])
    return [terminator, *(text.encode() + terminator for text in said)]
