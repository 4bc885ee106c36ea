"""The shortest way to "output off" for a supply that speaks Modbus RTU.

Of the description it uses the tables `line`, `output` and `at_open`, and leaves the rest unchecked.

A hung process may have written half a frame. So a silent interval goes first: it ends the half
frame in the supply, which throws it away. If the hung process has asked something, the reply may be
on the wire just now, and a supply that speaks does not listen. So "off" is said once at once, and a
second time after a reply has had its time; before the second, what the supply needs to be under
remote control at all.
"""

import struct
import time
from pathlib import Path
from typing import Any

import serial

from drivers.errors import DescriptionError
from drivers.files import description_path, read_tables
from drivers.modbus.frames import confirmation, silence_s, write_frame
from drivers.off_line import SecondHandle, pause_s
from drivers.port import PortSettings

_LOOK_S = 0.001
"""How long to wait between two looks at whether the port's buffer has gone out."""


class OffLine(SecondHandle):
    """A way to say "output off" to the supply on `port`, described by a file or a shipped name.

    Raises `DescriptionError` if the file cannot be read or lacks a key.
    """

    def __init__(self, port: str, description: str | Path) -> None:
        path = description_path(description)
        tables = read_tables(path)
        try:
            line = tables["line"]
            super().__init__(port, PortSettings.from_table({"data_bits": 8, **line}))
            self._silence_s = silence_s(line["baud"])
            self._reply_s = pause_s(line["reply_timeout_ms"] + line["pause_between_frames_ms"])
            self._frames = _frames(tables)
            self._confirmation = confirmation(self._frames[-1])
            if line.get("echo", False):
                self._confirmation = self._frames[-1] + self._confirmation
        except (
            LookupError,
            TypeError,
            AttributeError,
            ValueError,
            ArithmeticError,
            struct.error,
        ) as error:
            raise DescriptionError(
                f"{path}: lacks what is needed to switch an output off: {error!r}"
            ) from error

    def _say(self, port: serial.Serial) -> None:
        self._let_go_out(port)
        for index, frame in enumerate(self._frames):
            if index:
                time.sleep(self._reply_s)
            time.sleep(self._silence_s)
            port.write(frame)

    def _unconfirmed(self, port: serial.Serial) -> str | None:
        """Wait for the reply to the last frame, which comes after those to all before."""
        heard, whole = self._heard(
            port, self._reply_s, lambda heard: heard.endswith(self._confirmation)
        )
        return None if whole else self._not_confirmed(heard, self._reply_s)

    def _let_go_out(self, port: serial.Serial) -> None:
        """Wait until what the other process has written is out, or for the write limit."""
        end_s = time.monotonic() + self._settings.write_timeout_s
        # A socket does not tell; there it has gone out already.
        while getattr(port, "out_waiting", 0) and time.monotonic() < end_s:
            time.sleep(_LOOK_S)


def _frames(tables: dict[str, Any]) -> list[bytes]:
    """What to write, in this order: off, what remote control needs, off."""
    unit, output = tables["line"]["unit"], tables["output"]
    off = write_frame(unit, output["function"], output["address"], output["off"])
    remote = [
        write_frame(unit, item["function"], item["address"], item["value"])
        for item in tables.get("at_open", [])
    ]
    return [off, *remote, off]
