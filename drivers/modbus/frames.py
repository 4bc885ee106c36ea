"""Frames that write one register or coil, and the check of a frame: for `drivers.modbus.off`.

The driving process leaves this to minimalmodbus. Layouts and the polynomial are those of the Modbus
specifications, "Application Protocol V1.1b3" and "over Serial Line V1.02".
"""

import struct

CHARACTER_BITS = 11
"""Start bit, 8 bits, parity or a second stop bit, stop bit."""

LEAST_SILENCE_S = 0.00175
"""The silent interval does not get shorter than this at more than 19200 baud."""


def silence_s(baud: int) -> float:
    """The silence that ends one frame and begins the next: 3.5 characters, in s."""
    return max(3.5 * CHARACTER_BITS / baud, LEAST_SILENCE_S)


def crc16(data: bytes) -> int:
    """The check of a frame, called CRC-16/MODBUS in catalogues of such checks."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


def write_frame(unit: int, function: int, address: int, value: int) -> bytes:
    """The whole frame that writes one register (function 6 or 16) or coil (5 or 15).

    `value` is 0 to 65535, for a coil 0 or 1. Raises `ValueError` for another function,
    `struct.error` for a number that does not fit.
    """
    head = struct.pack(">BBH", unit, function, address)
    if function == 5:
        body = head + struct.pack(">H", 0xFF00 if value else 0)
    elif function == 6:
        body = head + struct.pack(">H", value)
    elif function == 15:
        body = head + struct.pack(">HBB", 1, 1, 1 if value else 0)
    elif function == 16:
        body = head + struct.pack(">HBH", 1, 2, value)
    else:
        raise ValueError(f"function {function} does not write; 5, 6, 15 and 16 do")
    return body + crc16(body).to_bytes(2, "little")


def confirmation(frame: bytes) -> bytes:
    """The whole frame with which a unit confirms that it has done what `write_frame` asks for."""
    if frame[1] in (5, 6):
        return frame
    head = frame[:6]
    return head + crc16(head).to_bytes(2, "little")
