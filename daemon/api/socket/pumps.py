"""What is said over the control socket about dosing pumps."""

from typing import Literal

from pydantic import Field

from daemon.api.socket.message import Message, PersonsAct


class PumpRequest(PersonsAct):
    """Run the dosing pump of an additive for so long, s, with no run under way; or stop that."""

    ask: Literal["run pump", "stop pump"]
    additive: str = Field(min_length=1, max_length=80)
    for_s: float = Field(default=0.0, ge=0, allow_inf_nan=False)


class PumpStatus(Message):
    """A dosing pump: what it gives, mL and mL/s, what it is about, and what it did last.

    runs: its line moves. owed_ml: what charge has used up and nothing has answered. due: that is a
    whole dose. day_ml: what was dosed in the last 24 h, of `most_day_ml`. why_not: why no dose is
    under way; `passes` says that it goes without anybody doing anything. kept_utc: since when it is
    kept from a dose that is owed, once that was told. by_hand: a person's run is under way; ran_s:
    for how long the last one ran, ran_cut_short what has cut it short, if so.
    """

    additive: str
    dose_ml: float
    flow_ml_s: float
    most_day_ml: float
    runs: bool = False
    owed_ml: float = 0.0
    due: bool = False
    day_ml: float = 0.0
    why_not: str | None = None
    passes: bool = False
    kept_utc: str | None = None
    last_ml: float | None = None
    last_utc: str | None = None
    last_cut_short: str | None = None
    by_hand: bool = False
    ran_s: float | None = None
    ran_cut_short: str | None = None

    @property
    def gives_by_itself(self) -> bool:
        """Whether a dose that is owed wants nobody: it is being given, or will be."""
        return self.why_not is None or self.passes
