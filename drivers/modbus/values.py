"""Numbers as they stand in registers of 16 bits: integers, and floats of IEEE 754."""

import struct
from typing import Literal

NumberType = Literal["u16", "s16", "u32", "s32", "float32"]
WordOrder = Literal["high first", "low first"]

_FORMATS = {"u16": ">H", "s16": ">h", "u32": ">I", "s32": ">i", "float32": ">f"}


def register_count(kind: NumberType) -> int:
    """How many registers such a number fills."""
    return struct.calcsize(_FORMATS[kind]) // 2


def decode(words: list[int], kind: NumberType, *, low_first: bool) -> float:
    """The number in these registers; an int for the integer types."""
    ordered = words[::-1] if low_first else words
    number: float = struct.unpack(_FORMATS[kind], struct.pack(f">{len(ordered)}H", *ordered))[0]
    return number


def encode(number: float, kind: NumberType, *, low_first: bool) -> list[int]:
    """The registers that hold the number, as near as its type can.

    Raises `ValueError` if it is not finite or outside what the type holds.
    """
    try:
        data = struct.pack(_FORMATS[kind], number if kind == "float32" else round(number))
    except (struct.error, OverflowError, ValueError) as error:
        raise ValueError(f"{number:g} does not fit into {kind}") from error
    words = list(struct.unpack(f">{len(data) // 2}H", data))
    return words[::-1] if low_first else words
