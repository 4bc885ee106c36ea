"""Opening a serial port or a socket, with every failure told in words."""

import errno
import termios
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

import serial

from drivers.errors import PortUnavailableError

PORT_FAILURES = (OSError, termios.error)
"""What a port raises when it is gone: pyserial's own errors are OSErrors, but flushing a port that
was pulled out raises `termios.error`, which is not."""

_REASONS = {
    errno.ENOENT: "there is no such port; is the supply plugged in and switched on?",
    errno.EACCES: "this user may not open it; serial ports usually belong to the group dialout",
    errno.EAGAIN: "another program holds it; only one may talk to a supply",
    errno.EBUSY: "another program holds it; only one may talk to a supply",
}


@dataclass(frozen=True, slots=True)
class PortSettings:
    """How the port is set: baud, bits of a character, parity, stop bits, write limit in s."""

    baud: int
    data_bits: int
    parity: str
    stop_bits: float
    write_timeout_s: float

    @classmethod
    def from_table(cls, line: Mapping[str, Any]) -> Self:
        """The settings in a description's table `line`; KeyError or TypeError if it is no such."""
        return cls(
            baud=line["baud"],
            data_bits=line["data_bits"],
            parity=line["parity"],
            stop_bits=line["stop_bits"],
            write_timeout_s=line["write_timeout_ms"] / 1000,
        )


def open_port(port: str, settings: PortSettings, *, exclusive: bool) -> serial.Serial:
    """Open a device path or `socket://host:port`; other URLs are refused.

    `exclusive` keeps every other exclusive opener out; one that does not ask for it still gets in,
    which is how `drivers.off_line` comes to its handle. Raises `PortUnavailableError`.
    """
    if "://" in port and not port.lower().startswith("socket://"):
        raise PortUnavailableError(
            f"{port}: cannot be opened: give a device path or socket://host:port"
        )
    try:
        return serial.serial_for_url(
            port,
            baudrate=settings.baud,
            bytesize=settings.data_bits,
            parity=settings.parity[:1].upper(),
            stopbits=settings.stop_bits,
            timeout=0,
            write_timeout=settings.write_timeout_s,
            exclusive=True if exclusive else None,
        )
    except (*PORT_FAILURES, ValueError) as error:
        reason = _REASONS.get(getattr(error, "errno", None) or 0, str(error))
        raise PortUnavailableError(f"{port}: cannot be opened: {reason}") from error
