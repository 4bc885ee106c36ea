"""Everything that there is to tell of a run, read out of the record at one moment.

No reading is unpacked that a chart would not: of a long run hours and minutes are read. So the
figures have no share of noise and of what came between two readings, which average out over a run.
"""

from dataclasses import dataclass

from pydantic import ValidationError
from sqlalchemy import Connection

from daemon.api.errors import InputError
from daemon.api.plans.file import read_plan
from daemon.api.plans.known import known_of
from daemon.api.socket.rehearsal import Rehearsal
from daemon.bath import account, kinds, run_charge, weighings
from daemon.bath.account import Standing
from daemon.bath.cost import Energy, energy_by_means
from daemon.bath.description import Description
from daemon.bath.errors import WeighingError
from daemon.bath.weighings import KeptWeighing
from daemon.chemistry.electrolysis import g_per_ah, um_per_ah
from daemon.chemistry.metals import metal_named
from daemon.chemistry.uncertainty import Budget, thickness_budget
from daemon.control.plan import Plan
from daemon.record import (
    alarms,
    bath_entries,
    calibrations,
    close_ups,
    foretold,
    interruptions,
    queries,
)
from daemon.record.alarms import Alarm
from daemon.record.calibrations import Calibration
from daemon.record.close_ups import CloseUp
from daemon.record.errors import CodecError
from daemon.record.interruptions import Interruption
from daemon.record.queries import Event, Run, StageResult
from daemon.record.recovery import RUNNING
from daemon.record.series import Series, series

POINTS = 400
"""Of the drawn curves: one for every two pixels of a page, or three to a millimetre of paper."""

MOST_ALARMS, MOST_CLOSE_UPS, MOST_EVENTS = 100, 8, 300
"""What is told of each at most; the first of them, since they tell how it came to the rest."""


@dataclass(frozen=True, slots=True)
class Deposit:
    """What lies on the part, of all its runs together; None where the record cannot tell.

    charge: A·h. why_not: why no charge can be told. earlier: the runs before this one, oldest
    first. sure: whether anything is known of the doubt of what counted, and of the area. metal: its
    name.
    """

    charge: Budget | None
    mass_g: Budget | None
    thickness_um: Budget | None
    earlier: tuple[int, ...]
    sure: bool
    metal: str
    um_per_ah: float | None
    why_not: str = ""

    def before_ah(self, run: Run) -> float:
        """The charge that the part had from its earlier runs when this one began, A·h."""
        if self.charge is None or not self.earlier:
            return 0.0
        return self.charge.value - run.charge_ah


@dataclass(frozen=True, slots=True)
class RunReport:
    """A run. plan: None where it cannot be read any more. `close_ups` are by the alarm's number.

    damaged: alarms whose close-up cannot be unpacked. energy: of the cell, by means over the
    points of `series`. more_alarms, more_events: there are more than are here.
    """

    run: Run
    plan: Plan | None
    deposit: Deposit
    stages: tuple[StageResult, ...]
    series: Series
    rehearsal: Rehearsal | None
    alarms: tuple[Alarm, ...]
    more_alarms: bool
    close_ups: dict[int, CloseUp]
    damaged: frozenset[int]
    events: tuple[Event, ...]
    more_events: bool
    entries: tuple[Standing, ...]
    additives: tuple[str, ...]
    weighings: tuple[KeptWeighing, ...]
    description: Description
    energy: Energy
    calibration: Calibration | None
    interruption: Interruption | None

    @property
    def is_open(self) -> bool:
        """Whether it has no end in the record."""
        return self.run.state == RUNNING


def read_report(connection: Connection, run_id: int, points: int = POINTS) -> RunReport:
    """The run with this number. Raises RecordError: no such run, or a record that is damaged."""
    run = queries.one_run(connection, run_id)
    plan = plan_of(run)
    seen = series(connection, run_id, 0.0, max(run.elapsed_s, 1.0) + 1.0, points)
    raised = alarms.of_run(connection, run_id, limit=MOST_ALARMS + 1)
    found = raised[:MOST_ALARMS]
    pictures, damaged = _close_ups(connection, found[:MOST_CLOSE_UPS])
    events = queries.events_of_run(connection, run_id, limit=MOST_EVENTS + 1)
    entries = bath_entries.all_of(connection, run.bath)
    by_id = run.counted_by.calibration_id
    return RunReport(
        run=run,
        plan=plan,
        deposit=deposit_of(connection, run, plan),
        stages=tuple(queries.stages(connection, run_id)),
        series=seen,
        rehearsal=rehearsal_of(connection, run_id),
        alarms=tuple(found),
        more_alarms=len(raised) > MOST_ALARMS,
        close_ups=pictures,
        damaged=damaged,
        events=tuple(events[:MOST_EVENTS]),
        more_events=len(events) > MOST_EVENTS,
        entries=tuple(each for each in account.holding(entries) if _belongs(each, run)),
        additives=account.additives_ever(entries),
        weighings=tuple(each for each in weighings.kept(entries) if each.run_id == run_id),
        description=account.description_on(entries) or Description(run.bath),
        energy=energy_by_means(seen),
        calibration=None if by_id is None else calibrations.one(connection, by_id),
        interruption=interruptions.of_run(connection, run_id),
    )


def plan_of(run: Run) -> Plan | None:
    """The plan that a run went by; None where it cannot be read any more."""
    try:
        return read_plan(run.plan, f"the plan of run {run.id}", known_of(run))
    except InputError:
        return None


def deposit_of(connection: Connection, run: Run, plan: Plan | None) -> Deposit:
    """What the charge of the part's runs has deposited, by the plan, else by the run's own row."""
    efficiency, area_u, efficiency_u = 1.0, 0.0, 0.0
    if plan is not None:
        metal, efficiency = plan.metal, plan.efficiency
        area_u, efficiency_u = plan.area_u, plan.efficiency_u
    else:
        try:
            metal = metal_named(run.metal)
        except ValueError:
            return Deposit(None, None, None, (), False, run.metal, None)
        if run.reckoning is not None:
            efficiency, area_u = run.reckoning.efficiency, run.reckoning.area_u
            efficiency_u = run.reckoning.efficiency_u
    growth = um_per_ah(metal, run.area_dm2, efficiency) if run.area_dm2 > 0 else None
    try:
        part = run_charge.of_part(connection, run.id, so_far=True)
    except WeighingError as error:
        return Deposit(None, None, None, (), False, metal.symbol, growth, str(error))
    charge = part.charge
    return Deposit(
        charge=charge,
        mass_g=thickness_budget(charge, g_per_ah(metal, efficiency), 0.0, efficiency_u),
        thickness_um=None
        if growth is None
        else thickness_budget(charge, growth, area_u, efficiency_u),
        earlier=tuple(each.id for each in part.runs[:-1]),
        sure=all(each.counted_by.doubt is not None for each in part.runs)
        and (plan is not None or run.reckoning is not None),
        metal=metal.symbol,
        um_per_ah=growth,
    )


def rehearsal_of(connection: Connection, run_id: int) -> Rehearsal | None:
    """What was foretold of a run; None where nothing was, or in another version's words."""
    text = foretold.foretold(connection, run_id)
    try:
        return None if text is None else Rehearsal.model_validate_json(text)
    except ValidationError:
        return None


def _close_ups(
    connection: Connection, raised: list[Alarm]
) -> tuple[dict[int, CloseUp], frozenset[int]]:
    found, damaged = {}, set()
    for each in raised:
        try:
            close_up = close_ups.of_alarm(connection, each.number)
        except CodecError:
            damaged.add(each.number)
            continue
        if close_up is not None:
            found[each.number] = close_up
    return found, frozenset(damaged)


def _belongs(each: Standing, run: Run) -> bool:
    """Whether an entry is about the run, or happened while it was under way."""
    if each.kind in (kinds.WEIGHING, kinds.DESCRIPTION):
        return False
    if each.run_id is not None:
        return each.run_id == run.id
    end_ms = run.ended_utc_ms
    if end_ms is None:
        end_ms = run.started_utc_ms + round(1000 * run.elapsed_s)
    return run.started_utc_ms <= each.at_utc_ms <= end_ms
