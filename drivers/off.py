"""The second way to "output off" for any described supply, without anything heavy to load."""

from pathlib import Path

from drivers.files import MODBUS_RTU, SCPI, protocol_of
from drivers.modbus import off as modbus
from drivers.off_line import SecondHandle
from drivers.scpi import off as scpi


def off_line(port: str, description: str | Path) -> SecondHandle:
    """A handle for the supply on `port`, described by a file or a shipped name.

    Raises `DescriptionError` if the file cannot be read or lacks a key.
    """
    kinds = {SCPI: scpi.OffLine, MODBUS_RTU: modbus.OffLine}
    return kinds[protocol_of(description)](port, description)
