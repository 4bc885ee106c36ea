"""Inverse time: how far something is beyond its limit, weighed with how long. Pure."""

LONGEST_S = 2.0
"""s. What two readings further apart than this show says nothing of the time between them."""


class Dose:
    """Weighs how far a thing is beyond its limit with the time: much for short is little for long.

    Believed from `limit_s` on, the product of the share beyond the limit and seconds, until it was
    within its limit for about `off_s`. Of two readings the lesser counts for the time between
    them, so that one bad reading weighs nothing.
    """

    def __init__(self, limit_s: float, off_s: float) -> None:
        self._limit_s = limit_s
        self._fall = limit_s / off_s
        self.forget()

    def forget(self) -> None:
        """Nothing was seen."""
        self._dose_s = 0.0
        self._before = 0.0
        self._last_s = float("inf")
        self.believed = False

    def taken(self, beyond: float, at_s: float) -> bool:
        """Whether it is believed, with one more reading: the share `beyond` its limit, or <= 0."""
        weight, last_s = min(beyond, self._before), self._last_s
        self._before, self._last_s = beyond, at_s
        if weight > 0.0:
            dose_s = self._dose_s + weight * min(max(0.0, at_s - last_s), LONGEST_S)
            if dose_s >= self._limit_s:
                dose_s, self.believed = self._limit_s, True
            self._dose_s = dose_s
        elif beyond <= 0.0 and self._dose_s > 0.0:
            self._dose_s -= self._fall * min(at_s - last_s, LONGEST_S)
            if self._dose_s <= 0.0:
                self._dose_s, self.believed = 0.0, False
        return self.believed
