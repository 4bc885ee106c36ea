"""Samples to one small blob and back, exactly to the stated resolution.

Each channel becomes integers (see `CHANNELS` for the resolutions), which are differenced 0, 1 or 2
times, whichever leaves the narrowest range; their least value and greatest common divisor are taken
out (so a meter's own step costs nothing), and what is left is stored in the narrowest width, all
low bytes first ("byte shuffle"), deflated where that makes it smaller.

Layout, all of it self-describing, so that a channel can be added without a migration:

    version 1 byte · samples varint · channels 1 byte · channel ... · CRC-32 of all before, 4 bytes
    channel: length of name 1 byte · name · decimal exponent 1 byte · flags 1 byte · width 1 byte ·
             first values, one for each order (zigzag varints) · least (zigzag varint) ·
             step varint · length of stream varint · stream
    flags:   bits 0-1 order of differencing, bit 2 some samples are missing, bit 3 deflated
    stream:  one bit for each sample, 1 where present, lowest bit first (only with bit 2);
             then the bytes of the present ones, plane by plane, lowest plane first

Varints are LEB128 (seven bits a byte, lowest first); zigzag maps 0, -1, 1, -2 to 0, 1, 2, 3;
deflate is RFC 1951. Integers in the planes have no sign.
"""

import math
import sys
import zlib
from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from operator import sub

from daemon.record.entries import Sample, TraceReading
from daemon.record.errors import CorruptBlockError, UnencodableSampleError
from daemon.record.summary import Columns

VERSION = 1
"""The layout that `encode` writes, and the only one there has been."""

MAX_VALUES = 2_000_000
"""Samples times channels in one blob; more is taken as damage, since channels of equal values have
no bytes by which to know it, and take memory all the same. A minute at 1000 samples a second has
360,000."""

VARINT_BITS = 70
"""Of a number at most: what a channel's range, differenced twice, can come to."""

_LIMIT = 1 << 62  # so that the range of a channel fits 64 bits
_WORTH_DEFLATING = 64  # bytes; below, the code table costs more than it saves, and 40 µs besides
_TYPECODES = {1: "B", 2: "H", 4: "I", 8: "Q"}
_ORDER_BITS, _SOME_MISSING, _DEFLATED = 3, 4, 8


@dataclass(frozen=True, slots=True)
class Channel:
    """A channel: its field of `Sample`, its name in blobs, and 10^-exponent as its resolution.

    One that is `optional` is left out of a blob in which no sample has it.
    """

    field: str
    name: str
    exponent: int
    optional: bool = False


CHANNELS = (
    # 10 µs: below the jitter of any serial line, and the charge does not depend on it.
    Channel("elapsed_s", "t", 5),
    # 10 µA and 10 µV: finer than what bench supplies and six-figure meters show at plating values.
    Channel("current_a", "i", 5),
    Channel("voltage_v", "v", 5),
    Channel("set_current_a", "s", 5),
    # 0.1 µA·h (0.36 mC): 1e-4 of 1 mA·h, about 1 mg of copper. It is cumulative, so that rounding
    # does not add up; what is posted to the ledger is finer still and never passes through here.
    Channel("charge_ah", "q", 7),
    # 0.01 °C: below what a thermometer in a bath resolves. Not in blobs before it was measured.
    Channel("temperature_c", "T", 2, optional=True),
)
"""The channels of today's samples, in the order of `Sample`'s fields after the run."""

TRACE_CHANNELS = (
    Channel("at_s", "t", 5),
    Channel("current_a", "i", 5),
    Channel("voltage_v", "v", 5, optional=True),
    Channel("set_current_a", "s", 5, optional=True),
)
"""The channels of a meter's readings in a close-up, in the order of `TraceReading`'s fields."""


def encode(samples: Sequence[Sample]) -> bytes:
    """Pack samples of one run (the run's number is not stored).

    Raises UnencodableSampleError for a value that is no finite number or beyond ±4e13.
    """
    _, *columns = zip(*samples, strict=True) if samples else [()] * (len(CHANNELS) + 1)
    return _packed(CHANNELS, columns)


def encode_readings(readings: Sequence[TraceReading]) -> bytes:
    """Pack the readings of one meter in a close-up, in the same layout.

    Raises UnencodableSampleError for a value that is no finite number or beyond ±4e13.
    """
    columns = list(zip(*readings, strict=True)) if readings else [()] * len(TRACE_CHANNELS)
    return _packed(TRACE_CHANNELS, columns)


def decode_readings(blob: bytes) -> list[TraceReading]:
    """Unpack what `encode_readings` packed. Raises CorruptBlockError, as `decode_columns`."""
    columns = _known(TRACE_CHANNELS, blob)
    return [TraceReading(*row) for row in zip(*columns, strict=True)]


def decode(blob: bytes, run_id: int) -> list[Sample]:
    """Unpack what `encode` packed. Raises CorruptBlockError, as `decode_columns`."""
    rows = zip(*decode_columns(blob), strict=True)
    return [Sample(run_id, *row) for row in rows]


def decode_columns(blob: bytes) -> Columns:
    """The same as columns, which is cheaper; channels this program does not know are passed over.

    Raises CorruptBlockError when the blob is damaged or lacks a channel that every sample has.
    """
    return tuple(_known(CHANNELS, blob))  # type: ignore[return-value]


def decode_channels(blob: bytes) -> Mapping[str, list[float | None]]:
    """Unpack a blob channel by channel, by their names in blobs, whatever channels there are.

    Raises CorruptBlockError when the blob is damaged or of a newer layout.
    """
    body = blob[:-4]
    if len(blob) < 7 or zlib.crc32(body) != int.from_bytes(blob[-4:], "little"):
        raise CorruptBlockError(f"block of samples is damaged: check sum wrong, {len(blob)} bytes")
    if body[0] != VERSION:
        raise CorruptBlockError(f"block of samples has layout {body[0]}, known is {VERSION}")
    cursor = _Cursor(body, 1)
    try:
        count, channels = cursor.varint(), cursor.byte()
        if count * max(1, channels) > MAX_VALUES:
            raise CorruptBlockError(f"block of samples claims {count} × {channels} values")
        return dict(_decode_channel(cursor, count) for _ in range(channels))
    except (IndexError, ValueError, OverflowError, UnicodeDecodeError, zlib.error) as error:
        raise CorruptBlockError(f"block of samples is damaged: {error}") from error


def _packed(channels: Sequence[Channel], columns: Sequence[Sequence[float | None]]) -> bytes:
    """A blob of these channels, one column each, all of one length."""
    written = [
        _encode_channel(channel, values)
        for channel, values in zip(channels, columns, strict=True)
        if not channel.optional or values.count(None) < len(values)
    ]
    body = b"".join((bytes((VERSION,)), _varint(len(columns[0])), bytes((len(written),)), *written))
    return body + zlib.crc32(body).to_bytes(4, "little")


def _known(channels: Sequence[Channel], blob: bytes) -> list[Sequence[float | None]]:
    """The columns of these channels; None throughout for an optional one that is not there."""
    columns = decode_channels(blob)
    missing = [c.name for c in channels if c.name not in columns and not c.optional]
    if missing:
        raise CorruptBlockError(f"block of samples has no channel {', '.join(missing)}")
    unread = [None] * len(columns[channels[0].name])
    return [columns.get(c.name, unread) for c in channels]


def _encode_channel(channel: Channel, values: Sequence[float | None]) -> bytes:
    scale = 10.0**channel.exponent
    some_missing = None in values
    present = [v for v in values if v is not None] if some_missing else values
    try:
        scaled = [round(v * scale) for v in present]  # type: ignore[operator]
    except (ValueError, OverflowError) as error:
        raise UnencodableSampleError(f"{channel.field} is no finite number") from error
    if scaled and not -_LIMIT < min(scaled) <= max(scaled) < _LIMIT:
        raise UnencodableSampleError(
            f"{channel.field} runs from {min(scaled) / scale} to {max(scaled) / scale}, "
            f"allowed is ±{_LIMIT / scale:.3g}"
        )
    heads, rest = _differenced(scaled)
    least = min(rest, default=0)
    step = math.gcd(*(v - least for v in rest)) or 1
    width, planes = _planes([(v - least) // step for v in rest])
    stream = (_bitmap(values) if some_missing else b"") + planes
    flags = len(heads) | (_SOME_MISSING if some_missing else 0)
    if len(stream) >= _WORTH_DEFLATING:
        packed = _deflated(stream)
        if len(packed) < len(stream):
            flags, stream = flags | _DEFLATED, packed
    name = channel.name.encode()
    return b"".join(
        (
            bytes((len(name),)),
            name,
            bytes((channel.exponent, flags, width)),
            *(_varint(_zigzag(head)) for head in heads),
            _varint(_zigzag(least)),
            _varint(step),
            _varint(len(stream)),
            stream,
        )
    )


def _differenced(values: list[int]) -> tuple[list[int], list[int]]:
    """The first values and the rest, differenced as often as makes their range narrowest."""
    best: tuple[list[int], list[int]] = ([], values)
    if not values:
        return best
    narrowest = max(values) - min(values)
    heads: list[int] = []
    rest = values
    for _ in range(min(2, len(values) - 1)):
        heads = [*heads, rest[0]]
        rest = list(map(sub, rest[1:], rest))
        spread = max(rest) - min(rest)
        if spread < narrowest:
            narrowest, best = spread, (heads, rest)
    return best


def _planes(values: list[int]) -> tuple[int, bytes]:
    """The width in bytes that holds the greatest value, and the values plane by plane."""
    greatest = max(values, default=0)
    if greatest == 0:
        return 0, b""
    width = next(w for w in _TYPECODES if greatest < 1 << 8 * w)
    packed = array(_TYPECODES[width], values)
    if sys.byteorder == "big":
        packed.byteswap()
    raw = packed.tobytes()
    return width, b"".join(raw[plane::width] for plane in range(width))


def _decode_channel(cursor: "_Cursor", count: int) -> tuple[str, list[float | None]]:
    name = cursor.take(cursor.byte()).decode()
    scale, flags, width = 10.0 ** cursor.byte(), cursor.byte(), cursor.byte()
    heads = [cursor.signed() for _ in range(flags & _ORDER_BITS)]
    least, step = cursor.signed(), cursor.varint()
    stream = cursor.take(cursor.varint())
    if width and width not in _TYPECODES:
        raise CorruptBlockError(f"block of samples has numbers of {width} bytes")
    if flags & _DEFLATED:
        stream = zlib.decompress(stream, wbits=-15)
    present = None
    if flags & _SOME_MISSING:
        bitmap_bytes = (count + 7) // 8
        present = _flags(stream[:bitmap_bytes], count)
        stream = stream[bitmap_bytes:]
    stored = (sum(present) if present else count) - len(heads)
    if len(stream) != stored * width:
        raise CorruptBlockError(
            f"block of samples is damaged: channel {name} has {len(stream)} bytes, "
            f"its header says {stored * width}"
        )
    integers = [least + step * v for v in _unplaned(stream, width, stored)]
    for head in reversed(heads):
        integers = list(accumulate(integers, initial=head))
    values: list[float | None] = [v / scale for v in integers]
    if present is not None:
        following = iter(values)
        values = [next(following) if there else None for there in present]
    return name, values


def _unplaned(stream: bytes, width: int, count: int) -> Sequence[int]:
    if width == 0:
        return [0] * count
    raw = bytearray(len(stream))
    for plane in range(width):
        raw[plane::width] = stream[plane * count : (plane + 1) * count]
    values = array(_TYPECODES[width], bytes(raw))
    if sys.byteorder == "big":
        values.byteswap()
    return values


def _deflated(stream: bytes) -> bytes:
    # One stream for each channel: their bytes are spread differently, and a code table of its own
    # saves a tenth. Raw deflate, since the blob's own check sum covers everything.
    packer = zlib.compressobj(6, zlib.DEFLATED, -15)
    return packer.compress(stream) + packer.flush()


def _bitmap(values: Sequence[float | None]) -> bytes:
    bits = "".join("0" if v is None else "1" for v in reversed(values))
    return int(bits, 2).to_bytes((len(values) + 7) // 8, "little")


def _flags(bitmap: bytes, count: int) -> list[int]:
    bits = f"{int.from_bytes(bitmap, 'little'):0{count}b}"
    return [int(bit) for bit in reversed(bits)]


def _zigzag(value: int) -> int:
    return value << 1 if value >= 0 else ~(value << 1)


def _varint(value: int) -> bytes:
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


class _Cursor:
    """Reads a blob from front to back; raises IndexError past its end."""

    def __init__(self, body: bytes, position: int) -> None:
        self._body = body
        self._position = position

    def byte(self) -> int:
        value = self._body[self._position]
        self._position += 1
        return value

    def take(self, count: int) -> bytes:
        end = self._position + count
        if end > len(self._body):
            raise IndexError(f"{end - len(self._body)} bytes are missing")
        piece = self._body[self._position : end]
        self._position = end
        return piece

    def varint(self) -> int:
        value = 0
        for shift in range(0, VARINT_BITS, 7):
            byte = self.byte()
            value |= (byte & 0x7F) << shift
            if byte < 0x80:
                return value
        raise ValueError(f"a number of more than {VARINT_BITS} bits")

    def signed(self) -> int:
        value = self.varint()
        return ~(value >> 1) if value & 1 else value >> 1
