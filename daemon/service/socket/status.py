"""The daemon's word about itself, made from the situation when somebody asks."""

import math
from collections.abc import Callable
from datetime import datetime

from daemon.api.bath.due_words import due_status
from daemon.api.socket.messages import (
    DueStatus,
    MeterStatus,
    RippleStatus,
    RunStatus,
    ShareStatus,
    StageStatus,
    StateName,
    Status,
    ThermometerStatus,
)
from daemon.api.socket.pumps import PumpStatus
from daemon.bath.due import Dues
from daemon.chemistry.electrolysis import mass_g
from daemon.clock import Clock, to_ms
from daemon.control import interlocks
from daemon.control.charge import Count
from daemon.control.doubt import thickness_doubt
from daemon.control.forecast import walk
from daemon.control.panel import Panel
from daemon.control.situation import Progress, Run, Situation
from daemon.control.states import OPEN, PLATING, State
from daemon.record.writer import Writer
from daemon.service.cycle.loop import Loop, own_charge_ah
from daemon.service.devices.ripples import OVERDUE_S, RippleSeen
from daemon.service.socket.alarm_words import alarm_statuses
from drivers.channels.ripple import NotMeasured

STATE_NAMES: dict[State, StateName] = {
    State.IDLE: "idle",
    State.RUNNING: "running",
    State.HOLDING: "holding",
    State.HELD: "held",
    State.RESTARTING: "restarting",
    State.STOPPING: "stopping",
    State.STOPPED: "stopped",
    State.ABORTING: "aborting",
    State.ABORTED: "aborted",
    State.COMPLETE: "complete",
}


def run_status(situation: Situation, bath: str, started: datetime | None) -> RunStatus | None:
    """The run under way or the last one as of the situation; None when there was none."""
    run, count, progress = situation.run, situation.count, situation.progress
    if run is None or count is None or progress is None or started is None:
        return None
    best_ah = count.best_ah
    thickness = thickness_doubt(run, count)
    return RunStatus(
        run_id=run.run_id,
        title=run.plan.title,
        bath=bath,
        started_utc=started.isoformat(),
        running_s=progress.running_s,
        stage=progress.stage,
        stages=_stages(run, progress, situation.state),
        area_dm2=run.plan.area_dm2,
        charge_ah=best_ah,
        gap_charge_ah=count.gap_greatest_ah - count.gap_least_ah,
        thickness_um=thickness.value,
        thickness_u95_um=thickness.expanded(0.95),
        doubt=tuple(ShareStatus(name=share.name, u_um=share.u) for share in thickness.shares),
        target_um=run.plan.target_um,
        mass_g=mass_g(run.plan.metal, best_ah, run.plan.efficiency),
        metal=run.plan.metal.symbol,
        remaining_s=_remaining_s(situation, run, count, progress),
        set_current_a=situation.demand.current_a,
        set_voltage_v=situation.demand.voltage_v,
        reason=situation.reason,
    )


def _stages(run: Run, progress: Progress, state: State) -> tuple[StageStatus, ...]:
    found = []
    for index, stage in enumerate(run.plan.stages):
        if index < progress.stage or (index == progress.stage and state is State.COMPLETE):
            place = "done"
        elif index == progress.stage and state in OPEN:
            place = "under way"
        else:
            place = "to come"
        found.append(StageStatus(name=stage.name, current_a=stage.current_a, state=place))
    return tuple(found)


def _remaining_s(situation: Situation, run: Run, count: Count, progress: Progress) -> float | None:
    """Seconds of plating to the target at the plan's currents; None when nothing plates."""
    return _seconds_until(situation, run, count, progress, run.target_ah)


def _seconds_until(
    situation: Situation, run: Run, count: Count, progress: Progress, wanted_ah: float
) -> float | None:
    """Seconds of plating until the run's charge is `wanted_ah`; None when it does not get there."""
    if situation.state not in PLATING or situation.wind_down is not None:
        return None
    foreseen = walk(
        run.plan.stages[progress.stage :],
        run.um_per_ah,
        wanted_ah,
        done_ah=count.best_ah,
        elapsed_s=progress.stage_elapsed_s,
        from_a=progress.stage_from_a,
        stage_done_ah=count.best_ah - progress.stage_from_ah,
    )
    if not foreseen.reached or math.isinf(foreseen.duration_s):
        return None
    return foreseen.duration_s


def _output_on(situation: Situation) -> bool:
    """Whether the output is on by the supply's own word; where it has none, whether it should be.

    The last word holds however old it is: an output that was seen on is on until it is seen off.
    """
    reading = situation.reading
    if reading is None or reading.output_on is None:
        return situation.demand.output_on
    return reading.output_on


def _ripple_status(look: RippleSeen | None, now_s: float) -> RippleStatus | None:
    """A look, as long as the next one is not overdue: then it says nothing of the current now."""
    if look is None or now_s - look.monotonic_s > OVERDUE_S:
        return None
    age_s = now_s - look.monotonic_s
    if isinstance(look.found, NotMeasured):
        return RippleStatus(not_measured=look.found.value, age_s=age_s)
    return RippleStatus(
        rms_percent=look.found.rms_percent,
        peak_to_peak_percent=look.found.peak_to_peak_percent,
        age_s=age_s,
    )


def due_statuses(
    situation: Situation, dues: Dues, charge_ah: float, utc: datetime
) -> tuple[DueStatus, ...]:
    """What falls due of a bath that has seen `charge_ah`, A·h; and when, by the run under way."""
    return tuple(
        due_status(due, _plating_s(situation, due.in_ah)) for due in dues.at(charge_ah, to_ms(utc))
    )


def _plating_s(situation: Situation, in_ah: float | None) -> float | None:
    """How long the run under way takes for so much more charge; None if it ends before."""
    run, count, progress = situation.run, situation.count, situation.progress
    if in_ah is None or in_ah <= 0 or run is None or count is None or progress is None:
        return None
    wanted_ah = count.best_ah + in_ah
    if wanted_ah > run.target_ah:
        return None
    return _seconds_until(situation, run, count, progress, wanted_ah)


class Speaker:
    """Makes a `Status` whenever it is asked, in any thread, from what the loop last let be seen."""

    def __init__(
        self,
        loop: Loop,
        panel: Panel,
        clock: Clock,
        writer: Writer,
        supply: str,
        bath: str,
        proving: Callable[[], str | None],
        dues: Callable[[], Dues] = Dues,
        unsettled: Callable[[], tuple[int, ...]] = tuple,
        pumps: Callable[[], tuple[PumpStatus, ...]] = tuple,
    ) -> None:
        self._pumps = pumps
        self._dues = dues
        self._unsettled = unsettled
        self._loop = loop
        self._panel = panel
        self._clock = clock
        self._writer = writer
        self._proving = proving
        self._supply = supply
        self._bath = bath

    def status(self) -> Status:
        """How the daemon and the tank are now."""
        view, now_s, utc = self._loop.view, self._clock.monotonic_s(), self._clock.utc()
        situation = view.situation
        reading = situation.reading
        run_ah = own_charge_ah(situation) if situation.state in OPEN else 0.0
        charge_ah = view.bath_charge_ah + run_ah
        return Status(
            state=STATE_NAMES[situation.state],
            utc=utc.isoformat(),
            monotonic_s=now_s,
            rate=self._clock.rate,
            current_a=reading.current_a if reading is not None else None,
            voltage_v=reading.voltage_v if reading is not None else None,
            reading_age_s=now_s - reading.monotonic_s if reading is not None else None,
            mode=reading.mode.value if reading is not None and reading.mode else None,
            output_on=_output_on(situation),
            supply=self._supply,
            run=run_status(situation, self._bath, view.started),
            bath=self._bath,
            bath_charge_ah=charge_ah,
            meters=self._meters(now_s, plating=situation.state in PLATING),
            thermometers=tuple(
                ThermometerStatus(
                    name=name, temperature_c=seen.temperature_c, age_s=now_s - seen.monotonic_s
                )
                for name, seen in list(self._loop.temperatures.items())
            ),
            alarms=alarm_statuses(situation.alarms, now_s, utc),
            proving=self._proving(),
            unrecorded=self._writer.unrecorded,
            notice=self._notice(),
            off_rehearsal=self._loop.off_rehearsal,
            dues=due_statuses(situation, self._dues(), charge_ah, utc),
            unsettled=self._unsettled(),
            pumps=self._pumps(),
        )

    def _meters(self, now_s: float, *, plating: bool) -> tuple[MeterStatus, ...]:
        raw = dict(self._panel.raw)
        looks = dict(self._loop.ripples) if plating else {}
        return tuple(
            MeterStatus(
                name=name,
                counts=name == self._panel.counting,
                current_a=reading.current_a,
                raw_current_a=raw[name].current_a,
                voltage_v=reading.voltage_v,
                age_s=now_s - reading.monotonic_s,
                explained_a=self._panel.explained_a(name),
                step_a=self._panel.step_a(name),
                ripple=_ripple_status(looks.get(name), now_s),
            )
            for name, reading in list(self._panel.newest.items())
        )

    def _notice(self) -> str | None:
        """What is not well besides the run, in words."""
        fault, situation = self._writer.fault, self._loop.situation
        found = [] if fault is None else [f"The record cannot be written: {fault}"]
        open_loops = interlocks.words(situation.open_loops)
        if open_loops is not None:
            found.append(open_loops)
        return "; ".join(found) or None
