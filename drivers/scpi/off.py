"""The shortest way to "output off" for a supply that speaks SCPI.

Of the description it uses the table `line` and two words, and leaves the rest unchecked.

A hung process may have written half a command. So a terminator goes first: it ends the half command
in the supply, which executes it or rejects it, and "output off" follows in either case.
"""

import time
from pathlib import Path
from typing import Any

import serial

from drivers.errors import DescriptionError
from drivers.files import description_path, read_tables
from drivers.off_line import SecondHandle, pause_s
from drivers.port import PortSettings


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


def _messages(tables: dict[str, Any]) -> list[bytes]:
    """What to write, in this order: the end of a half command, remote if there is one, off."""
    words = tables["words"]
    terminator = tables["line"]["terminator_out"].encode()
    said = [words["remote"]] if "remote" in words else []
    said.append(words["output_off"])
    return [terminator, *(text.encode() + terminator for text in said)]
