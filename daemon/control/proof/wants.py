"""What a walk through a proof test and whoever leads it say to each other. Pure."""

from collections.abc import Generator, Mapping
from dataclasses import dataclass, field
from enum import Enum

from daemon.control.dosing_pump import HandSeen
from daemon.control.situation import Situation


class Deed(Enum):
    """What a walk has done for it: acts on run and pump, the heartbeat withheld, a message."""

    START = "start"
    HOLD = "hold"
    RESUME = "resume"
    STOP = "stop"
    RESET = "reset"
    WITHHOLD = "withhold"
    SEND = "send"
    RUN_PUMP = "run pump"
    STOP_PUMP = "stop pump"


@dataclass(frozen=True, slots=True)
class Finding:
    """What came of a step: what was to be seen, what was, and whether that is good."""

    name: str
    expected: str
    seen: str
    passed: bool


@dataclass(frozen=True, slots=True)
class Want:
    """What is wanted before the next look, at the step of this index.

    do: a deed; for_s: for how long a pump is to run, s. todo: what a person is to do at the tank,
    question: what they are asked; empty while nobody is waited for, and else until_s is when that
    ends, real s. doing: what goes on meanwhile, in words. findings: those so far.
    """

    step: int
    findings: tuple[Finding, ...]
    do: Deed | None = None
    for_s: float = 0.0
    todo: str = ""
    question: str = ""
    until_s: float | None = None
    doing: str = ""


@dataclass(frozen=True, slots=True)
class Look:
    """The tank as it is: at `now_s` on the daemon's clock, at `real_s` of the machine's.

    refused: why the deed that was wanted is not done, None if it is. answer: what the person has
    answered to the question that was wanted, None while they have not. pumps: each by its additive.
    """

    situation: Situation
    now_s: float
    real_s: float
    refused: str | None = None
    answer: bool | None = None
    pumps: Mapping[str, HandSeen] = field(default_factory=dict)


class ProofEndedError(Exception):
    """The walk cannot go on: why, in one sentence."""


Walk = Generator[Want, Look, tuple[Finding, ...]]

Way = Generator[Want, Look, tuple[str, bool]]
"""The way through one step: it returns what was seen, and whether that is good."""
