"""A row of the cause and effect table, as it goes over the control socket."""

from typing import Literal

from daemon.api.socket.message import Message

PriorityName = Literal["high", "medium", "low"]

StopName = Literal["nothing", "hold", "stop", "abort"]


class EffectsRow(Message):
    """A row of the cause and effect table: what one cause brings about, and what to check first.

    The stop comes when the cause has been there for `after_s`, s; beacon, siren and message
    (`tell`) come at once.
    """

    cause: str
    priority: PriorityName
    stop: StopName
    after_s: float
    beacon: bool
    siren: bool
    tell: bool
    check: str

    @property
    def after(self) -> str:
        """When the stop comes, in words; nothing where none comes."""
        if self.stop == "nothing":
            return ""
        return "at once" if self.after_s == 0 else f"{self.after_s:g} s"
