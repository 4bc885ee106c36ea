"""From walks to the report: stages, ranges, curves, and why a plan would not work."""

from collections.abc import Sequence

from daemon.api.rounding import fixed
from daemon.api.sentence import duration
from daemon.api.socket.rehearsal import (
    BandRow,
    CurveMessage,
    RangeMessage,
    Rehearsal,
    StageForeseen,
)
from daemon.bath.cost import SUPPLY_EFFICIENCY
from daemon.chemistry.electrolysis import mass_g, um_per_ah
from daemon.control import end_names
from daemon.control.plan import Plan
from daemon.control.protection.causes import VOLTAGE_CEILING
from daemon.control.situation import Carried
from daemon.control.states import State
from daemon.service.rehearsal.spread import Range, Spread, at_times, by_charge, range_of
from daemon.service.rehearsal.walked import Point, Walked

TIMES = 96
"""Times at which curves are given."""

ROWS = 12
"""Rows of the band in each stage."""

BURNS = 0.99
"""Of the mass by Faraday's law: with less, the current makes hydrogen, and the deposit burns."""

SHORT_OF = 0.95
"""Of a stage's current: with less, the voltage ceiling holds it."""

KWH_PER_WH = 1e-3


def composed(plan: Plan, bath: str, spread: Spread, carried: Carried) -> Rehearsal:
    """The rehearsal of a plan that can be begun; what falls due and mishaps are left out."""
    walks = spread.walks
    growth = um_per_ah(plan.metal, plan.area_dm2, plan.efficiency)
    done = [walk for walk in walks if walk.state is State.COMPLETE]
    because = reasons(plan, spread.nominal, carried)
    energy = spread.range(lambda walk: walk.energy_wh * KWH_PER_WH)
    hottest = max(spread.nominal.points, key=lambda point: point.temperature_c)
    times_s = _times(walks)
    warnings = _warnings(plan, spread, done, works=not because)
    return Rehearsal(
        title=plan.title,
        bath=bath,
        target_um=plan.target_um,
        area_dm2=plan.area_dm2,
        because=because,
        warnings=warnings,
        draws=len(walks),
        completes=len(done),
        duration_s=_message(range_of([walk.duration_s for walk in done or walks])),
        charge_ah=_message(spread.range(lambda walk: walk.charge_ah - carried.charge_ah)),
        thickness_um=_message(spread.range(lambda walk: walk.charge_ah * growth)),
        energy_kwh=_message(energy),
        mains_kwh=energy.middle / SUPPLY_EFFICIENCY,
        hottest_c=_message(
            spread.range(lambda walk: max(point.temperature_c for point in walk.points))
        ),
        hottest_at_s=hottest.at_s,
        stages=tuple(_stages(plan, spread, carried.stage)),
        times_s=times_s,
        curves=_curves(walks, times_s, growth),
        band=band(plan, walks, carried.stage),
    )


def reasons(plan: Plan, nominal: Walked, carried: Carried) -> tuple[str, ...]:
    """Why the likeliest tank does not come to the target; nothing where it does."""
    if nominal.state is State.COMPLETE:
        return () if not _burns(plan, nominal, carried) else (_burning(plan, nominal, carried),)
    growth = um_per_ah(plan.metal, plan.area_dm2, plan.efficiency)
    um = fixed(nominal.charge_ah * growth, 1, below=plan.target_um)
    at = duration(nominal.duration_s)
    what = nominal.reason
    if nominal.state is State.HELD:
        what = f"tankhand holds the run after {at}, at {um} of {plan.target_um:g} µm: {what}"
    elif nominal.state is State.ABORTED:
        what = f"tankhand aborts the run after {at}, at {um} of {plan.target_um:g} µm: {what}"
    elif nominal.state is not State.STOPPED:
        what = f"no end after {at}, at {um} of {plan.target_um:g} µm"
    else:
        what = f"{what}, after {at}"
    held = _held_by_ceiling(plan, nominal)
    return (what,) if held is None else (what, held)


def _held_by_ceiling(plan: Plan, walked: Walked) -> str | None:
    """Where the voltage ceiling keeps the current below the plan's, the last such stage's words."""
    for index in reversed(range(len(plan.stages))):
        stage = plan.stages[index]
        own = [p for p in walked.points if p.stage == index and not p.ramping]
        low = [p for p in own if p.current_a < SHORT_OF * stage.current_a]
        at_ceiling = [p for p in low if p.voltage_v >= 0.98 * stage.voltage_ceiling_v]
        if at_ceiling and len(at_ceiling) > len(own) / 2:
            point = at_ceiling[len(at_ceiling) // 2]
            return (
                f"in stage {index + 1}, {stage.name}, {stage.voltage_ceiling_v:g} V let "
                f"{point.current_a:.3g} A through where {stage.current_a:.3g} A is asked for"
            )
    return None


def _deposit_share(plan: Plan, walked: Walked, carried: Carried) -> float:
    """The copper on the simulated part over that by Faraday's law from its own charge."""
    charge_ah = walked.true_ah
    lawful_g = mass_g(plan.metal, charge_ah)
    if lawful_g <= 0.0:
        return 1.0
    carried_ah = carried.charge_ah + (carried.gap_least_ah + carried.gap_greatest_ah) / 2
    return (walked.deposited_g - mass_g(plan.metal, carried_ah)) / lawful_g


def _burns(plan: Plan, walked: Walked, carried: Carried) -> bool:
    return _deposit_share(plan, walked, carried) < BURNS


def _burning(plan: Plan, walked: Walked, carried: Carried) -> str:
    most_a = max(stage.current_a for stage in plan.stages)
    density = most_a / plan.area_dm2
    share = 100.0 * (1.0 - _deposit_share(plan, walked, carried))
    return (
        f"at {density:.3g} A/dm² the bath does not bring copper fast enough: {share:.0f} % of the "
        "charge makes hydrogen, and the deposit burns"
    )


def _warnings(
    plan: Plan, spread: Spread, done: Sequence[Walked], *, works: bool
) -> tuple[str, ...]:
    found = []
    draws = len(spread.walks)
    if works and len(done) < draws:
        why = {walk.reason.split(" reached")[0].split(":")[0] for walk in spread.walks}
        why -= {end_names.TARGET}
        found.append(
            f"in {draws - len(done)} of {draws} tanks that are as likely it does not reach its "
            f"target: {', '.join(sorted(why))}"
        )
    held = sum(
        any(change.alarm.cause == VOLTAGE_CEILING for _, change in walk.raised)
        for walk in spread.walks
    )
    if held:
        found.append(
            f"in {held} of {draws} tanks a voltage ceiling holds the current below the plan's for "
            "more than five minutes, which is an alarm"
        )
    if works and (said := _held_by_ceiling(plan, spread.nominal)) is not None:
        found.append(said)
    return tuple(found)


def _stages(plan: Plan, spread: Spread, first: int) -> list[StageForeseen]:
    found = []
    for index in range(first, len(plan.stages)):
        stage = plan.stages[index]
        ended = [
            (walk, at_s, over)
            for walk in spread.walks
            for at_s, over in walk.stages
            if over.index == index
        ]
        if not ended:
            continue
        begins = [_begins_s(walk, index) for walk, _, _ in ended]
        by = [over.ended_by for _, _, over in ended]
        found.append(
            StageForeseen(
                name=stage.name,
                current_a=stage.current_a,
                begins_s=_message(range_of(begins)),
                ends_s=_message(range_of([at_s for _, at_s, _ in ended])),
                charge_ah=_message(range_of([over.charge_ah for _, _, over in ended])),
                voltage_v=_voltage([walk for walk, _, _ in ended], index),
                ended_by=max(set(by), key=by.count),
                draws=len(ended),
            )
        )
    return found


def _begins_s(walk: Walked, index: int) -> float:
    return next((at_s for at_s, over in walk.stages if over.index == index - 1), 0.0)


def _voltage(walks: Sequence[Walked], index: int) -> RangeMessage | None:
    """The voltage halfway between the first and the last reading at the stage's full current."""
    found = []
    for walk in walks:
        steady = [p for p in walk.points if p.stage == index and not p.ramping and p.current_a > 0]
        if steady:
            half_ah = (steady[0].charge_ah + steady[-1].charge_ah) / 2
            found.append(min(steady, key=lambda p: abs(p.charge_ah - half_ah)).voltage_v)
    return _message(range_of(found)) if found else None


def _times(walks: Sequence[Walked]) -> tuple[float, ...]:
    end_s = max(walk.duration_s for walk in walks)
    return tuple(end_s * k / (TIMES - 1) for k in range(TIMES))


def _curves(
    walks: Sequence[Walked], times_s: Sequence[float], growth: float
) -> tuple[CurveMessage, ...]:
    quantities = (
        ("Current", "A", lambda p: p.current_a),
        ("Voltage", "V", lambda p: p.voltage_v),
        ("Bath", "°C", lambda p: p.temperature_c),
        ("Thickness", "µm", lambda p: p.charge_ah * growth),
    )
    found = []
    for name, unit, value in quantities:
        ranges = at_times(walks, times_s, value)
        found.append(
            CurveMessage(
                name=name,
                unit=unit,
                middle=tuple(None if each is None else _short(each.middle) for each in ranges),
                least=tuple(None if each is None else _short(each.least) for each in ranges),
                greatest=tuple(None if each is None else _short(each.greatest) for each in ranges),
            )
        )
    return tuple(found)


def band(plan: Plan, walks: Sequence[Walked], first: int) -> tuple[BandRow, ...]:
    """Between what voltage and temperature lie at charges within each stage."""
    rows = []
    for index in range(first, len(plan.stages)):
        most_ah = max((_stage_ah(walk, index) for walk in walks), default=0.0)
        if most_ah <= 0.0:
            continue
        charges = [most_ah * k / (ROWS - 1) for k in range(ROWS)]
        volts = by_charge(walks, index, charges, lambda p: p.voltage_v)
        warm = by_charge(walks, index, charges, lambda p: p.temperature_c)
        for charge_ah, voltage, temperature in zip(charges, volts, warm, strict=True):
            if voltage is not None and temperature is not None:
                rows.append(
                    BandRow(
                        stage=index,
                        charge_ah=_short(charge_ah),
                        voltage_v=_message(voltage),
                        temperature_c=_message(temperature),
                    )
                )
    return tuple(rows)


def _stage_ah(walk: Walked, index: int) -> float:
    own: list[Point] = [point for point in walk.points if point.stage == index]
    return own[-1].charge_ah - own[0].charge_ah if own else 0.0


def _message(found: Range) -> RangeMessage:
    return RangeMessage(
        least=_short(found.least), middle=_short(found.middle), greatest=_short(found.greatest)
    )


def _short(value: float) -> float:
    """Five digits: more are nobody's, and the record keeps them."""
    return float(f"{value:.5g}")
