"""Delays of a detector: how long something has to be seen to be believed, and to be gone."""


class Lasting:
    """Believes what was seen without a break for `on_s`, until it was not seen for `off_s`, both s.

    Time is that of the readings: the same signal is judged the same however often it is looked at.
    """

    def __init__(self, on_s: float = 0.0, off_s: float = 0.0) -> None:
        self._on_s = on_s
        self._off_s = off_s
        self._since_s: float | None = None
        self.believed = False

    def seen(self, there: bool, at_s: float) -> bool:
        """Whether it is believed, after one more look."""
        if there == self.believed:
            self._since_s = None
            return self.believed
        if self._since_s is None:
            self._since_s = at_s
        if at_s - self._since_s >= (self._on_s if there else self._off_s):
            self.believed = there
            self._since_s = None
        return self.believed

    def forget(self) -> None:
        """Believe nothing."""
        self._since_s = None
        self.believed = False
