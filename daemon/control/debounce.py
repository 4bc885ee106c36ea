"""A contact that bounces, judged on the clock of whoever looks at it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Debounced:
    """A contact as it is believed to be, and since when it has been seen otherwise, s.

    The first look is believed at once; every later change when all looks over `debounce_s` have
    shown it, so that one of them may come late but none may be missing.
    """

    closed: bool
    other_since_s: float | None = None

    def seen(self, closed: bool, now_s: float, debounce_s: float) -> "Debounced":
        """The contact after one more look. `debounce_s` 0 believes each."""
        if closed == self.closed:
            return self if self.other_since_s is None else Debounced(closed)
        since_s = now_s if self.other_since_s is None else self.other_since_s
        if now_s >= since_s + debounce_s:
            return Debounced(closed)
        return Debounced(self.closed, since_s)
