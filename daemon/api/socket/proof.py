"""What is said over the control socket of the proof test, which the daemon leads."""

from typing import Literal

from pydantic import Field

from daemon.api.socket.message import Message, PersonsAct


class ProofRequest(Message):
    """How is it with the proof test? Needs no right, changes nothing."""

    ask: Literal["proof"] = "proof"


class BeginProofRequest(PersonsAct):
    """Begin a proof test with this current, A, below this voltage, V."""

    ask: Literal["begin proof"] = "begin proof"
    current_a: float = Field(gt=0, allow_inf_nan=False)
    ceiling_v: float = Field(gt=0, allow_inf_nan=False)


class AnswerProofRequest(PersonsAct):
    """Say what was seen or heard: the answer to the question of a walk's step."""

    ask: Literal["answer proof"] = "answer proof"
    walk: str
    step: int
    yes: bool


class EndProofRequest(PersonsAct):
    """Give a walk up, which takes the current away."""

    ask: Literal["end proof"] = "end proof"
    walk: str


class ProofStepStatus(Message):
    """One step: what will happen, what a person has to do, what is expected, what was seen."""

    name: str
    happens: str
    todo: str
    expected: str
    state: Literal["to come", "under way", "passed", "failed", "not reached"] = "to come"
    seen: str = ""


class ProofEnd(Message):
    """How a walk ended, why, if not at its end, and the number that the record keeps it by."""

    how: Literal["passed", "failed", "given up"]
    why: str = ""
    kept: int | None = None


class ProofWalkStatus(Message):
    """A walk: under way, or the last one.

    step: the index of the one under way. todo, question: what a person is waited for, for `left_s`
    more real seconds; empty while nobody is, and then `doing` is what goes on. ended: None while it
    is under way.
    """

    id: str
    who: str
    began_utc: str
    step: int
    steps: tuple[ProofStepStatus, ...]
    todo: str = ""
    question: str = ""
    doing: str = ""
    left_s: float | None = None
    ended: ProofEnd | None = None


class ProofStatus(Message):
    """How it is with the proof test.

    wanted: there is something to be proved. required: no run starts while it is overdue. due_utc:
    when the next has to be done by, None if none was ever passed. overdue: why one is due now, in
    words, None if it is not. steps: what the next would walk through; not_proved: what is there and
    has no step. refusal: why none can be begun now, None if one can.
    """

    wanted: bool
    required: bool
    every_s: float
    due_utc: str | None
    overdue: str | None
    steps: tuple[ProofStepStatus, ...]
    not_proved: tuple[str, ...]
    refusal: str | None
    walk: ProofWalkStatus | None = None
