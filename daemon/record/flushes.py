"""Which attempts to bring everything to the disk have begun and succeeded: any thread may ask."""

import threading


class Flushes:
    """Counts attempts to bring everything to the disk, so that any thread can wait for one.

    One that begins after an entry was put has it among what it writes.
    """

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._begun = self._succeeded = 0

    @property
    def next_number(self) -> int:
        """The first that will have everything that was put before this moment."""
        with self._changed:
            return self._begun + 1

    def begin(self) -> int:
        """One begins; its number."""
        with self._changed:
            self._begun += 1
            return self._begun

    def succeed(self, number: int) -> None:
        """All of it is on the disk."""
        with self._changed:
            self._succeeded = number
            self._changed.notify_all()

    def has_succeeded(self, number: int) -> bool:
        """Whether this one or a later one has; asked by its number, without waiting."""
        return self._succeeded >= number

    def wait_for(self, number: int, limit_s: float) -> bool:
        """Wait until this one or a later one has succeeded; False if none has within real s."""
        with self._changed:
            return self._changed.wait_for(lambda: self._succeeded >= number, limit_s)
