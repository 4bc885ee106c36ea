"""The serial line as the far end sees it: bytes become messages, and take their time.

No clock in here; moments come in and go out as real seconds on whatever clock the caller has.
"""

BITS_PER_BYTE = 10
"""One start, eight data, one stop bit."""
LONGEST_MESSAGE = 256


class Wire:
    """Splits what arrives into messages, and says when each is in and when a reply is out.

    `baud` None is a line that takes no time. With a baud rate every byte takes ten bits, in both
    directions; a reply is handed over as a whole when its last byte would have come. `latency_s`
    is how long the device thinks before it answers.
    """

    def __init__(self, baud: int | None = None, latency_s: float = 0.0) -> None:
        self._byte_s = BITS_PER_BYTE / baud if baud else 0.0
        self._latency_s = latency_s
        self._partial = bytearray()
        self._overrun = False
        self._in_free_s = 0.0
        self._out_free_s = 0.0

    def receive(self, now_s: float, data: bytes) -> list[tuple[float, bytes | None]]:
        """Messages that these bytes complete: (moment of the terminator, message).

        A message ends with a line feed; a carriage return before it belongs to the terminator.
        None stands for one that was longer than the input buffer.
        """
        complete: list[tuple[float, bytes | None]] = []
        start_s = max(now_s, self._in_free_s)
        self._in_free_s = start_s + len(data) * self._byte_s
        read = 0
        for piece in _lines(data):
            read += len(piece)
            self._take(piece)
            if piece.endswith(b"\n"):
                message = None if self._overrun else bytes(self._partial).rstrip(b"\r\n")
                complete.append((start_s + read * self._byte_s, message))
                self._partial.clear()
                self._overrun = False
        return complete

    def _take(self, piece: bytes) -> None:
        self._partial += piece
        if len(self._partial) > LONGEST_MESSAGE:
            self._overrun = True
            self._partial.clear()

    def send(self, now_s: float, length: int) -> float:
        """When a reply of `length` bytes to a message that was in at `now_s` is out."""
        self._out_free_s = max(now_s + self._latency_s, self._out_free_s) + length * self._byte_s
        return self._out_free_s


def _lines(data: bytes) -> list[bytes]:
    """Split behind line feeds only; `splitlines` would split at carriage returns too."""
    pieces = data.split(b"\n")
    lines = [piece + b"\n" for piece in pieces[:-1]]
    return lines + ([pieces[-1]] if pieces[-1] else [])
