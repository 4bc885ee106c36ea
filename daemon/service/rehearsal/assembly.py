"""A rehearsal by the settings and the record alone: no device is opened, nothing is written."""

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass

from sqlalchemy import Connection

from daemon.api.errors import InputError
from daemon.api.explain import read_toml
from daemon.api.plans.file import PlanFile, read_plan
from daemon.api.plans.known import NOTHING_KNOWN, known_of
from daemon.api.socket.rehearsal import Rehearsal, Taught
from daemon.bath import book, expected
from daemon.bath.anodes import anodes_left
from daemon.bath.components import COPPER, SULFURIC_ACID
from daemon.bath.description import Description
from daemon.bath.due import Dues, dues
from daemon.clock import to_ms
from daemon.control.panel import MeterFacts
from daemon.control.plan import Plan
from daemon.control.situation import NOTHING_CARRIED, Carried
from daemon.record.calibrations import newest_of_all
from daemon.record.charge_at import ChargeHistory
from daemon.record.errors import RecordMissingError
from daemon.record.store import open_reader
from daemon.service.devices.assembly import Meters, make_meters, make_supply
from daemon.service.keeping.calibration import known_meters
from daemon.service.rehearsal.composed import composed
from daemon.service.rehearsal.learning import Learned, Past, learn
from daemon.service.rehearsal.past_runs import past_runs
from daemon.service.rehearsal.spread import Spread
from daemon.service.rehearsal.supposed import Facts
from daemon.service.rehearsal.walked import Rules
from daemon.service.settings.file import Settings
from daemon.service.starts.foretelling import anode_notes, due_notes
from daemon.service.starts.going_on import unfinished
from daemon.service.starts.known import known_by
from drivers.contracts import Rating
from drivers.simulator.parameters import SupplyParameters

FINE = 1e-6
"""A or V: steps of the simulated meter, which is none."""

RATED_TO = 10_000.0
"""A; what the simulated supply can be rated at, and a tenth of it in V."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What shall be rehearsed: a plan's text, where it comes from, and on what.

    goes_on_from: the run whose part it goes on with. read_c: the bath's temperature now, °C.
    copies: how many parts hang, where the plan does not say it.
    """

    text: str
    where: str
    goes_on_from: int | None = None
    read_c: float | None = None
    copies: int | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """What settings and record know of the tank."""

    facts: Facts
    learned: Learned
    due: Dues
    bath_ah: float
    utc_ms: int
    meter: MeterFacts
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stage:
    """A plan on this tank, ready to be rehearsed: what all parts of a rehearsal begin with."""

    plan: Plan
    copies: int
    carried: Carried
    known: Known
    rules: Rules
    supply: SupplyParameters
    rating: Rating
    read_c: float | None


def prepared(settings: Settings, asked: Asked) -> Stage:
    """Read plan and record. Raises InputError, RecordError, DescriptionError."""
    clock = settings.clock()
    _, rating = make_supply(settings, clock)
    meters = make_meters(settings, clock, rating)
    with ExitStack() as stack:
        try:
            engine = open_reader(settings.record.path)
        except RecordMissingError:
            engine = None
        if engine is None:
            plan, copies, carried = _read(asked, None, settings, stack, [])
            known = _known(settings, None, meters, ())
        else:
            stack.callback(engine.dispose)
            told: list[str] = []
            with engine.connect() as connection:
                plan, copies, carried = _read(asked, connection, settings, stack, told)
                known = _known(settings, connection, meters, tuple(told))
    limits = meters.limits(settings, rating)
    thresholds = settings.chosen_thresholds().plain.of_meter(limits.gone_a)
    rating = meters.narrowed(rating)
    return Stage(
        plan, copies, carried, known, Rules(limits, thresholds, known.meter.doubt),
        _supply(rating), rating, asked.read_c,
    )  # fmt: skip


def impossible(settings: Settings, stage: Stage, because: tuple[str, ...]) -> Rehearsal:
    """The report of a plan that cannot be begun."""
    plan = stage.plan
    return Rehearsal(
        title=plan.title,
        bath=settings.bath.name,
        target_um=plan.target_um,
        area_dm2=plan.area_dm2,
        because=because,
        notes=stage.known.notes,
        taught=_taught(stage),
    )


def reported(settings: Settings, stage: Stage, made: Spread) -> Rehearsal:
    """The report of a plan that was rehearsed, and what falls due meanwhile; without mishaps."""
    plan, carried, known = stage.plan, stage.carried, stage.known
    due = anode_notes(known.due, plan) + due_notes(
        known.due, known.bath_ah, known.utc_ms, plan, known.meter.doubt, carried
    )
    report = composed(plan, settings.bath.name, made, carried)
    return report.model_copy(update={"dues": due, "notes": known.notes, "taught": _taught(stage)})


def _read(
    asked: Asked,
    connection: Connection | None,
    settings: Settings,
    stack: ExitStack,
    told: list[str],
) -> tuple[Plan, int, Carried]:
    """The plan, how many parts hang, and what is on them."""
    text, carried = asked.text, NOTHING_CARRIED
    known = NOTHING_KNOWN
    if connection is not None:
        known = known_by(settings.record.path, settings.bath.name, stack)(told.append)
    if asked.goes_on_from is not None:
        if connection is None:
            raise InputError(f"run {asked.goes_on_from}", ("there is no record yet",))
        before = unfinished(connection, asked.goes_on_from)
        carried = before.carried
        if not text:
            text, known = before.run.plan, known_of(before.run)
    plan = read_plan(text, asked.where, known)
    if plan.metal.symbol != "Cu" or plan.metal.valence != 2:
        raise InputError(
            asked.where,
            (f"metal: {plan.metal.name} cannot be rehearsed: the simulated tank is acid copper",),
        )
    copies = asked.copies or read_toml(text, asked.where, PlanFile).copies or 1
    return plan, copies, carried


def _known(
    settings: Settings,
    connection: Connection | None,
    meters: Meters,
    told: tuple[str, ...],
) -> Known:
    utc_ms = to_ms(settings.clock().utc())
    described = settings.bath.description()
    doubts = meters.doubts()
    if connection is None:
        facts, notes = _facts(described, None, None)
        meter = known_meters(doubts, {})[meters.counting]
        note = "there is no record yet: nothing is known of this bath but its description"
        return Known(facts, learn(facts, ()), Dues(), 0.0, utc_ms, meter, (note, *notes))
    kept = book.read(connection, described, utc_ms)
    passed = list(ChargeHistory(connection, described.name).passed(utc_ms))
    contents = expected.expected(kept.holding, passed, described, utc_ms)
    anode_dm2 = anodes_left(kept.holding, passed, described).area_dm2
    facts, notes = _facts(described, contents, anode_dm2)
    past: Sequence[Past] = past_runs(connection, described.name)
    meter = known_meters(doubts, newest_of_all(connection))[meters.counting]
    return Known(
        facts, learn(facts, past), dues(kept), kept.charge_ah, utc_ms, meter, (*told, *notes)
    )


def _facts(
    described: Description, contents: expected.Expected | None, anode_dm2: float | None
) -> tuple[Facts, tuple[str, ...]]:
    """What is known of the bath, and what had to be supposed, in words."""
    volume_l = described.volume_l if contents is None else contents.volume_l
    values = {}
    if contents is not None:
        values = {each.name: each.value for each in contents.components}
    for name in (COPPER, SULFURIC_ACID):
        window = described.window.get(name)
        if name not in values and window is not None and window.target is not None:
            values[name] = window.target
    notes = []
    if volume_l is None:
        notes.append("the settings tell no volume: 12 L are supposed")
    missing = [name for name in (COPPER, SULFURIC_ACID) if name not in values]
    if missing:
        notes.append(f"nothing tells the bath's {' and '.join(missing)}: usual values are supposed")
    area_dm2 = described.anodes.area_dm2 if anode_dm2 is None else anode_dm2
    if area_dm2 is None:
        notes.append("the settings tell no anode area: 1.5 times the parts' is supposed")
    return Facts(volume_l, values.get(COPPER), values.get(SULFURIC_ACID), area_dm2), tuple(notes)


def _taught(stage: Stage) -> Taught:
    learned = stage.known.learned
    if stage.read_c is not None:
        start_c, by = stage.read_c, "as it is now"
    elif learned.start_c is not None:
        start_c, by = learned.start_c, "as it was when it was last read"
    else:
        start_c, by = learned.ambient_c, "supposed"
    return Taught(
        runs=learned.runs, warm_runs=learned.warm_runs, start_c=round(start_c, 1), start_by=by
    )


def _supply(rating: Rating) -> SupplyParameters:
    """The simulated supply: this one's set-points, and a meter without steps and noise."""
    return SupplyParameters(
        current_a=min(RATED_TO, 1.1 * rating.current_a),
        voltage_v=min(RATED_TO / 10.0, rating.voltage_v),
        current_step_a=min(10.0, rating.current_step_a / 10.0),
        voltage_step_v=min(10.0, rating.voltage_step_v),
        measured_current_step_a=FINE,
        measured_voltage_step_v=FINE,
        current_noise_a=0.0,
        voltage_noise_v=0.0,
    )
