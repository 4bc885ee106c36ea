"""What the loop has seen and done, as entries for the record."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from daemon.api.sentence import duration
from daemon.chemistry.electrolysis import mass_g
from daemon.clock import to_ms
from daemon.control.panel import Panel
from daemon.control.protection.alarms import AGAIN, RAISED, SHELVED, STOPPED, Change, Figures
from daemon.control.situation import Command, Event, Happening, Run, RunOver, Situation, StageOver
from daemon.record.entries import (
    AlarmChanged,
    AlarmRaised,
    Audited,
    CountedBy,
    Entry,
    Noted,
    Reckoning,
    RunEnded,
    RunOpened,
    Sample,
    StageEnded,
)
from daemon.service.cycle.close_ups import CloseUps
from drivers.contracts import Reading


@dataclass(frozen=True, slots=True)
class Origin:
    """What this daemon's runs come from: its bath, the machine's boot, and how its clock is set."""

    bath: str
    boot_id: str
    clock_synchronised: Callable[[], bool | None]


@dataclass(frozen=True, slots=True)
class Start:
    """What a start needs besides the person's act: the plan's text, and the run it goes on from."""

    command: Command
    text: str
    goes_on_from: int | None = None


class Scribe:
    """Makes entries and hands them on to `put`, which never waits. Used by the loop's thread."""

    def __init__(self, put: Callable[[Entry], None], origin: Origin, panel: Panel) -> None:
        self._put = put
        self._origin = origin
        self._panel = panel
        self._close_ups = CloseUps(panel.counting)

    def heard(self, meter: str, reading: Reading, set_current_a: float | None) -> None:
        """Remember a meter's reading for close-ups; `set_current_a` is None for other meters."""
        self._close_ups.take(meter, reading, set_current_a)

    def looked(self, now_s: float) -> None:
        """Hand on the close-ups that are complete by now."""
        for taken in self._close_ups.due(now_s):
            self._put(taken)

    def finish(self, now_s: float) -> None:
        """Hand on what there is of every close-up: the daemon ends."""
        for taken in self._close_ups.finish(now_s):
            self._put(taken)

    def started(self, run: Run, start: Start, utc: datetime) -> None:
        """A run begins."""
        self._put(
            RunOpened(
                run_id=run.run_id,
                bath=self._origin.bath,
                title=run.plan.title,
                plan=start.text,
                metal=run.plan.metal.symbol,
                area_dm2=run.plan.area_dm2,
                target_um=run.plan.target_um,
                who=start.command.who,
                utc_ms=to_ms(utc),
                monotonic_s=run.started_s,
                boot_id=self._origin.boot_id,
                clock_synchronised=self._origin.clock_synchronised(),
                counted_by=self._counted_by(),
                goes_on_from=start.goes_on_from,
                reckoning=Reckoning(run.plan.area_u, run.plan.efficiency, run.plan.efficiency_u),
            )
        )

    def _counted_by(self) -> CountedBy:
        facts = self._panel.facts
        correction = facts.correction
        return CountedBy(
            self._panel.counting,
            correction.gain,
            correction.offset_a,
            facts.calibration_id,
            facts.doubt,
        )

    def counted(
        self,
        situation: Situation,
        reading: Reading,
        set_current_a: float,
        temperature_c: float | None,
    ) -> None:
        """A reading was counted, taken while this current was set."""
        run, count = situation.run, situation.count
        if run is None or count is None or reading.monotonic_s < run.started_s:
            return
        self._put(
            Sample(
                run.run_id,
                reading.monotonic_s - run.started_s,
                reading.current_a,
                reading.voltage_v,
                set_current_a,
                count.charge_ah - run.carried.charge_ah,
                temperature_c,
            )
        )

    def asked(
        self, who: str, where: str, what: str, detail: str, refused: str | None, utc: datetime
    ) -> None:
        """Somebody asked for something, from somewhere; `refused` says why it was not done."""
        self._put(Audited(to_ms(utc), who, where, what, detail, refused))

    def happened(
        self, happening: Happening, situation: Situation, run: Run | None, utc: datetime
    ) -> None:
        """Something happened; `run` is the one that it belongs to, None at rest."""
        now_s = situation.now_s
        run_id = None if run is None else run.run_id
        if isinstance(happening, Event):
            self._put(
                Noted(run_id, happening.kind, happening.text, to_ms(utc), now_s, happening.data)
            )
        elif isinstance(happening, Change):
            self._alarm(happening, run_id, utc, now_s)
        elif run is None:
            return
        elif isinstance(happening, StageOver):
            self._put(_stage_entry(happening, run, now_s))
        else:
            self._put(_end_entry(happening, run, situation, utc))

    def _alarm(self, change: Change, run_id: int | None, utc: datetime, now_s: float) -> None:
        alarm = change.alarm
        if change.what != RAISED:
            text, data = _what_else(change, now_s)
            self._put(
                AlarmChanged(alarm.number, change.what, change.who, to_ms(utc), now_s, text, data)
            )
            return
        self._put(
            AlarmRaised(
                number=alarm.number,
                run_id=run_id,
                cause=alarm.cause,
                priority=alarm.priority.value,
                seen=alarm.seen,
                figures=alarm.figures,
                utc_ms=to_ms(utc),
                monotonic_s=now_s,
                boot_id=self._origin.boot_id,
            )
        )
        self._put(self._close_ups.raised(alarm.number, now_s))


def _what_else(change: Change, now_s: float) -> tuple[str, Figures]:
    """What there is to say of a change besides its word, in words and in figures."""
    alarm = change.alarm
    if change.what == AGAIN:
        return alarm.seen, alarm.figures
    if change.what == STOPPED:
        return alarm.stopped.value, {"first_out": alarm.first_out}
    if change.what == SHELVED and alarm.shelved_until_s is not None:
        for_s = alarm.shelved_until_s - now_s
        return f"for {duration(for_s)}", {"for_s": for_s}
    return "", {}


def _stage_entry(stage: StageOver, run: Run, now_s: float) -> StageEnded:
    return StageEnded(
        run_id=run.run_id,
        index=stage.index,
        name=stage.name,
        started_s=stage.started_s - run.started_s,
        ended_s=now_s - run.started_s,
        charge_ah=stage.charge_ah,
        ended_by=stage.ended_by,
    )


def _end_entry(over: RunOver, run: Run, situation: Situation, utc: datetime) -> RunEnded:
    count, progress = situation.count, situation.progress
    if count is None or progress is None:
        raise ValueError("a run that ends has a count and a progress")
    best_ah, carried = count.best_ah, run.carried
    return RunEnded(
        run_id=run.run_id,
        state=over.state.value,
        reason=over.reason,
        utc_ms=to_ms(utc),
        elapsed_s=situation.now_s - run.started_s,
        running_s=progress.running_s,
        charge_ah=count.charge_ah - carried.charge_ah,
        gap_least_ah=count.gap_least_ah - carried.gap_least_ah,
        gap_greatest_ah=count.gap_greatest_ah - carried.gap_greatest_ah,
        mass_g=mass_g(run.plan.metal, best_ah, run.plan.efficiency),
        thickness_um=best_ah * run.um_per_ah,
    )
