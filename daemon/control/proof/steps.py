"""The steps of a proof test as data: what is there to be proved, and what each step expects. Pure.

Interlocks that sound the siren come late, and the contactor last, so that the alarm with which
beacon, siren and button are proved stands when it is their turn.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import Enum

from daemon.control.dosing_pump import LONGEST_BY_HAND_S
from daemon.control.protection.causes import CONTACTOR_FAULT, INTERLOCK, OPEN_CIRCUIT
from daemon.control.protection.effects import Effects, Stop
from daemon.control.situation import Limits

OPENED = (CONTACTOR_FAULT, OPEN_CIRCUIT)
"""Causes that tell that a contactor has opened: by its auxiliary contact, or by the meter."""


GIVES_WITHIN = 0.1
"""What a pump gives may be off what its calibration says, as a share of it; beyond that it is
calibrated anew. Our own: a glass is read to a few per cent."""

TRIP_S = 30.0
"""s for which a pump runs at most, or for as long as a dose takes, until its level's loop opens."""


@dataclass(frozen=True, slots=True)
class PumpThere:
    """A dosing pump: its additive, mL that it gives at a time, mL/s, and its level's interlock."""

    additive: str
    dose_ml: float
    flow_ml_s: float
    level: str


@dataclass(frozen=True, slots=True)
class Cabinet:
    """What there is to be proved, by the settings.

    loops: each interlock's name. limits: what control works with; a contactor is there if it has
    a time to drop out. pumps: what doses. addresses: the names of those that messages go to.
    """

    loops: tuple[str, ...]
    limits: Limits
    beacon: bool = False
    siren: bool = False
    button: bool = False
    pumps: tuple[PumpThere, ...] = ()
    addresses: tuple[str, ...] = ()

    @property
    def has_contactor(self) -> bool:
        """Whether a contactor is there."""
        return self.limits.drop_out_s > 0

    def row(self, loop: str) -> Effects:
        """What the open loop brings about."""
        return self.limits.table.row(INTERLOCK + loop)


class Kind(Enum):
    """What a step proves."""

    SUPPLY = "supply"
    LOOP = "loop"
    CONTACTOR = "contactor"
    BEACON = "beacon"
    SIREN = "siren"
    BUTTON = "button"
    PUMP = "pump"
    MESSAGE = "message"


UNDER_CURRENT = frozenset({Kind.SUPPLY, Kind.LOOP, Kind.CONTACTOR})
"""What is proved while the proof's current flows."""


@dataclass(frozen=True, slots=True)
class Step:
    """One way to stop or to be told, and how it is proved.

    name: as the record keeps it. happens: what tankhand will do. todo: what a person does at the
    tank; undo: and puts back afterwards. question: what only a person can see or hear. Each may be
    empty. subject: the loop's, the additive's or the address' name. stop: what becomes of the run,
    and within_s: how soon the current has to be gone, s. runs_s: for how long a pump runs, s;
    questions: what is asked between, loop: its level's.
    """

    kind: Kind
    name: str
    happens: str
    expected: str
    todo: str = ""
    undo: str = ""
    question: str = ""
    subject: str = ""
    stop: Stop = Stop.NOTHING
    within_s: float = 0.0
    runs_s: tuple[float, ...] = ()
    questions: tuple[str, ...] = ()
    loop: str = ""


def steps_of(cabinet: Cabinet) -> tuple[Step, ...]:
    """What a proof test of this cabinet walks through, in this order."""
    return tuple(_steps(cabinet))


def not_proved(cabinet: Cabinet) -> tuple[str, ...]:
    """What is there and cannot be proved, each with the reason."""
    last = _last_alarm(cabinet)
    if not last:
        why = "no step raises an alarm to prove it with"
        found = [s.step.name for s in _SIGNALS if s.is_there(cabinet)]
        return tuple(f"{name}: {why}" for name in found)
    return tuple(
        f"{signal.step.name}: the alarm that stands last, by the settings, does not want it"
        for signal in _SIGNALS
        if signal.is_there(cabinet) and not all(map(signal.wanted, last))
    )


def _steps(cabinet: Cabinet) -> Iterator[Step]:
    limits = cabinet.limits
    within_s = limits.down_s + limits.off_s
    yield Step(
        Kind.SUPPLY, "supply off by command",
        "The run is held: the supply brings the current down and switches its output off.",
        _gone(limits, within_s, Stop.HOLD), stop=Stop.HOLD, within_s=within_s,
    )  # fmt: skip
    for loop in _in_order(cabinet):
        yield _loop(cabinet, loop)
    if cabinet.has_contactor:
        within_s = limits.drop_out_s + limits.period_s
        yield Step(
            Kind.CONTACTOR, "contactor without its heartbeat",
            "The heartbeat ends while the supply goes on: the contactor has to open by itself.",
            f"{_below(limits, within_s)}, by the contactor", within_s=within_s,
        )  # fmt: skip
    yield from _signals(cabinet)
    yield from map(_pump, cabinet.pumps)
    for name in cabinet.addresses:
        yield Step(
            Kind.MESSAGE, f"message to {name}", "A test message is sent.", "it arrives",
            question=f"Has the test message to {name!r} arrived?", subject=name,
        )  # fmt: skip


def _loop(cabinet: Cabinet, loop: str) -> Step:
    row, limits = cabinet.row(loop), cabinet.limits
    within_s = row.after_s + limits.down_s + limits.off_s
    stops = row.stop is not Stop.NOTHING
    return Step(
        Kind.LOOP, f"interlock {loop}",
        _HAPPENS[row.stop], _gone(limits, within_s, row.stop) if stops else "an alarm",
        todo=f"Open the loop of {loop!r} now, at the contact itself.",
        undo=f"Close the loop of {loop!r} again.",
        subject=loop, stop=row.stop, within_s=within_s,
    )  # fmt: skip


def _pump(pump: PumpThere) -> Step:
    measured_s = min(LONGEST_BY_HAND_S, pump.dose_ml / pump.flow_ml_s)
    trip_s = max(TRIP_S, measured_s)
    given_ml, of = pump.flow_ml_s * measured_s, f"the pump of {pump.additive}"
    least, most = (f"{given_ml * (1 + share):.3g}" for share in (-GIVES_WITHIN, GIVES_WITHIN))
    return Step(
        Kind.PUMP, f"pump of {pump.additive}",
        f"The pump gives a measured {given_ml:.3g} mL, and then until the loop of {pump.level!r} "
        "opens.",
        f"{least} to {most} mL in {measured_s:.3g} s, and none with the loop open",
        todo=f"The pump runs: open the loop of {pump.level!r} now, at the contact itself.",
        undo=f"Close the loop of {pump.level!r} again, and put the outlet of {of} back.",
        question=f"Does the outlet of {of} hang in an empty measuring glass, not over the bath?",
        subject=pump.additive, runs_s=(measured_s, trip_s), loop=pump.level,
        questions=(
            f"Are {least} to {most} mL in the glass, and does {of} stand?",
            f"It runs once more, up to {pump.flow_ml_s * trip_s:.3g} mL. Is there room for that, "
            f"and somebody at the loop of {pump.level!r}?",
            f"Has {of} stopped with the loop, and does it stand still now?",
        ),
    )  # fmt: skip


def _signals(cabinet: Cabinet) -> Iterator[Step]:
    last = _last_alarm(cabinet)
    for signal in _SIGNALS:
        if signal.is_there(cabinet) and last and all(map(signal.wanted, last)):
            yield signal.step


@dataclass(frozen=True, slots=True)
class _Signal:
    """How a signal is proved with the alarm that stands last."""

    step: Step
    is_there: Callable[[Cabinet], bool]
    wanted: Callable[[Effects], bool]


_SIGNALS = (
    _Signal(
        Step(
            Kind.BEACON, "beacon", "The last alarm still stands: the beacon is on.", "it lights",
            question="Does the beacon light now?",
        ),
        lambda cabinet: cabinet.beacon, lambda row: row.beacon,
    ),
    _Signal(
        Step(
            Kind.SIREN, "siren", "Nobody has acknowledged the last alarm: the siren is on.",
            "it sounds", question="Does the siren sound now?",
        ),
        lambda cabinet: cabinet.siren, lambda row: row.siren,
    ),
    _Signal(
        Step(
            Kind.BUTTON, "acknowledge button", "A press acknowledges all alarms.",
            "all alarms acknowledged by it", todo="Press the acknowledge button at the tank now.",
        ),
        lambda cabinet: cabinet.button, lambda _: True,
    ),
)  # fmt: skip

_HAPPENS = {
    Stop.NOTHING: "The open loop raises an alarm; the current goes on.",
    Stop.HOLD: "The open loop holds the run: current down, output off.",
    Stop.STOP: "The open loop ends the run: current down, output off.",
    Stop.ABORT: "The open loop aborts the run: output off at once.",
}

_REST = {Stop.HOLD: "held", Stop.STOP: "stopped", Stop.ABORT: "aborted"}


def _below(limits: Limits, within_s: float) -> str:
    return f"below {limits.gone_a:.3f} A within {within_s:.1f} s"


def _gone(limits: Limits, within_s: float, stop: Stop) -> str:
    return f"{_below(limits, within_s)}, then {_REST[stop]}"


def _in_order(cabinet: Cabinet) -> list[str]:
    def loudness(loop: str) -> tuple[bool, bool, bool]:
        row = cabinet.row(loop)
        return row.stop is not Stop.NOTHING, row.siren, row.beacon

    return sorted(cabinet.loops, key=loudness)


def _last_alarm(cabinet: Cabinet) -> tuple[Effects, ...]:
    """What the alarm that stands at the end of the walk may bring about; none if none stands."""
    if cabinet.has_contactor:
        return tuple(cabinet.limits.table.row(cause) for cause in OPENED)
    return tuple(cabinet.row(loop) for loop in _in_order(cabinet)[-1:])
