"""A dosing pump: when it runs, for how long, and why it may not. Pure.

What charge has used up of an additive is owed to the bath. Once a whole dose is owed the pump
gives it, as long as nothing forbids it; it is off in the same tick in which something does, and
what was given by then counts. It runs only as long as the loop renews its permission, like the
contactor, and for its drop-out longer: that time is counted too, so that what is entered is the
most that can have been given. More of an additive is hard to get out again, and less is given
with the next dose.
"""

from dataclasses import dataclass

DAY_S = 86_400.0
"""s for which a dose counts against the greatest volume of a day: any 24 h, not a calendar's."""

LONGEST_BY_HAND_S = 300.0
"""s that a person may have it run. A measuring cylinder is full long before."""

DAYS_MOST = "the most in a day"
"""What a hindrance is about that is a day's greatest volume."""

_SLACK_ML = 1e-6
"""What a sum of floats may be off a whole dose, mL."""


@dataclass(frozen=True, slots=True)
class PumpRules:
    """What one pump gives of its additive: doses of `dose_ml`, at `flow_ml_s` by its calibration.

    most_day_ml: the most in any 24 h, by pump and by hand. pause_s: from the end of a dose to the
    beginning of the next at least, to let it mix. drop_out_s: how long it runs on after the last
    renewal. cycle_s: the longest from one tick to the next while all is well. All above 0.
    """

    additive: str
    dose_ml: float
    flow_ml_s: float
    most_day_ml: float
    pause_s: float
    drop_out_s: float
    cycle_s: float


@dataclass(frozen=True, slots=True)
class Given:
    """A dose that was given: when it ended, s on the monotonic clock, and how much, mL."""

    ended_s: float
    volume_ml: float


@dataclass(frozen=True, slots=True)
class PumpLook:
    """What there is to know at a tick.

    owed_ml: what charge has used up and nothing has answered yet. given: the doses of the last
    24 h at least. forbidden: what forbids to dose now, None if nothing does. kept: the record has
    the word that a dose begins.
    """

    now_s: float
    owed_ml: float
    given: tuple[Given, ...] = ()
    forbidden: "Hindrance | None" = None
    kept: bool = False

    def in_a_day_ml(self) -> float:
        """What was given in the last 24 h, mL; a dose under way is not among it."""
        return sum(each.volume_ml for each in self.given if self.now_s - each.ended_s < DAY_S)


@dataclass(frozen=True, slots=True)
class Hindrance:
    """Why a pump does not run, in words.

    about: what somebody has to see to, in a word that stays while figures in the words change;
    empty where it goes without anybody doing anything.
    """

    words: str
    about: str = ""

    @property
    def passes(self) -> bool:
        """Whether it goes without anybody doing anything."""
        return not self.about


@dataclass(frozen=True, slots=True)
class PumpState:
    """What a pump is about.

    begun_s: since when a dose is under way, None at rest. last_s: the last tick at which it was to
    run, None until the record has the word that it will. pumped_s: for how long it has run.
    """

    begun_s: float | None = None
    last_s: float | None = None
    pumped_s: float = 0.0


AT_REST = PumpState()


@dataclass(frozen=True, slots=True)
class Dosed:
    """A dose that is over: what was given, mL; `cut_short` says why, if it is less than a whole."""

    volume_ml: float
    cut_short: str | None = None


@dataclass(frozen=True, slots=True)
class PumpTurn:
    """What comes of a tick: the next state, and whether the pump runs from now on.

    begins: a dose is under way from now on, and the record has to be told before the pump runs.
    over: the dose that has ended. hindrance: why none is under way.
    """

    state: PumpState
    runs: bool = False
    begins: bool = False
    over: Dosed | None = None
    hindrance: Hindrance | None = None


def run_pump(state: PumpState, rules: PumpRules, look: PumpLook) -> PumpTurn:
    """What a pump does at a tick. `look.now_s` must not run backwards."""
    if state.begun_s is None:
        hindrance = hindered(rules, look)
        if hindrance is not None:
            return PumpTurn(AT_REST, hindrance=hindrance)
        return PumpTurn(PumpState(begun_s=look.now_s), begins=True)
    if state.last_s is None:
        # Until it runs, a person's dose may have come in between.
        hindrance = hindered(rules, look)
        if hindrance is not None:
            return PumpTurn(AT_REST, over=Dosed(0.0, hindrance.words), hindrance=hindrance)
        if not look.kept:
            return PumpTurn(state)
        return PumpTurn(PumpState(state.begun_s, last_s=look.now_s), runs=True)
    pumped_s = _pumped_s(state.pumped_s, state.last_s, look.now_s, rules.drop_out_s)
    volume_ml = rules.flow_ml_s * (pumped_s + rules.drop_out_s)
    if look.forbidden is not None:
        return PumpTurn(
            AT_REST, over=Dosed(volume_ml, look.forbidden.words), hindrance=look.forbidden
        )
    # Not one tick too long: what lacks of a whole dose is still owed.
    if volume_ml + rules.flow_ml_s * rules.cycle_s > rules.dose_ml + _SLACK_ML:
        return PumpTurn(AT_REST, over=Dosed(volume_ml))
    return PumpTurn(PumpState(state.begun_s, look.now_s, pumped_s), runs=True)


def is_owed(rules: PumpRules, owed_ml: float) -> bool:
    """Whether what is owed, mL, is a whole dose."""
    return owed_ml >= rules.dose_ml - _SLACK_ML


def hindered(rules: PumpRules, look: PumpLook) -> Hindrance | None:
    """Why no dose may begin now; None if one may."""
    if not is_owed(rules, look.owed_ml):
        owed_ml = max(0.0, look.owed_ml)
        return Hindrance(f"{owed_ml:.3g} of {rules.dose_ml:.4g} mL are used up")
    if look.forbidden is not None:
        return look.forbidden
    last_s = max((each.ended_s for each in look.given), default=None)
    if last_s is not None and look.now_s - last_s < rules.pause_s:
        left_s = rules.pause_s - (look.now_s - last_s)
        return Hindrance(f"the last dose is left to mix for {left_s:.0f} s more")
    given_ml = look.in_a_day_ml()
    if given_ml + rules.dose_ml > rules.most_day_ml + _SLACK_ML:
        return Hindrance(
            f"{given_ml:.4g} mL were given in the last 24 h, and {rules.most_day_ml:.4g} mL "
            "is the most",
            DAYS_MOST,
        )
    return None


@dataclass(frozen=True, slots=True)
class HandRun:
    """A run of a pump that a person asked for, `for_s` long; the rest as in `PumpState`."""

    for_s: float
    last_s: float
    pumped_s: float = 0.0


@dataclass(frozen=True, slots=True)
class HandRunOver:
    """A person's run is over: for how long the pump ran, s, and what has cut it short, if so."""

    ran_s: float
    cut_short: str | None = None


@dataclass(frozen=True, slots=True)
class HandSeen:
    """What is seen of a person's runs: whether one is under way, and how the last one ended."""

    by_hand: bool
    ran: HandRunOver | None = None


def run_by_hand(
    run: HandRun, rules: PumpRules, now_s: float, forbidden: str | None
) -> tuple[HandRun | None, HandRunOver | None]:
    """A person's run at a tick: how it goes on, or how it ended; its drop-out is a part of it."""
    pumped_s = _pumped_s(run.pumped_s, run.last_s, now_s, rules.drop_out_s)
    ran_s = pumped_s + rules.drop_out_s
    if forbidden is not None or ran_s + rules.cycle_s > run.for_s + _SLACK_ML:
        return None, HandRunOver(ran_s, forbidden)
    return HandRun(run.for_s, now_s, pumped_s), None


def _pumped_s(before_s: float, last_s: float, now_s: float, drop_out_s: float) -> float:
    """For how long it has run by now: after a tick that came late it has stood meanwhile."""
    return before_s + min(now_s - last_s, drop_out_s)
